"""The trail: who did what to which car and job, in words. Append-only, at the instance and at the queryset."""

from typing import Any, NoReturn

from django.db import models


class AppendOnlyError(TypeError):
    """Somebody tried to change or delete a row that is there for good."""


class AppendOnlyQuerySet(models.QuerySet["TrailEntry"]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError("trail entries are never changed")

    def delete(self) -> NoReturn:
        raise AppendOnlyError("trail entries are never deleted")


class TrailEntry(models.Model):
    """`kind` is a dotted verb (`job.opened`, `check.struck`); `words` one sentence; `link` an address or ''.

    `became`: the stage that a job came to, or what began to hold it (Hold), for who counts how long that took.
    """

    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    car = models.ForeignKey("shop.Car", on_delete=models.PROTECT, related_name="trail", null=True, blank=True)
    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="trail", null=True, blank=True)
    kind = models.CharField(max_length=40)
    words = models.TextField()
    link = models.CharField(max_length=200, blank=True)
    became = models.CharField(max_length=10, blank=True)

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name_plural = "trail entries"
        indexes = [models.Index(fields=["car", "-at"]), models.Index(fields=["job", "-at"])]

    def __str__(self) -> str:
        return f"{self.kind}: {self.words}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise AppendOnlyError("trail entries are never changed")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError("trail entries are never deleted")
