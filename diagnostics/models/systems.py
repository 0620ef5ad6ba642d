"""Published revisions of top systems. A published revision never changes; a bench sheet points at the one it used."""

from typing import Any

from django.db import models

from shop.models import AppendOnlyError


class SystemRevision(models.Model):
    """`text` is the YAML file as published, `sha256` its digest; the parsed form comes from selectors.system_of()."""

    slug = models.SlugField(max_length=60)
    revision = models.PositiveIntegerField()
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=40)
    text = models.TextField()
    sha256 = models.CharField(max_length=64)
    published_at = models.DateTimeField()
    published_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["slug", "-revision"]
        constraints = [models.UniqueConstraint(fields=["slug", "revision"], name="systemrevision_once")]

    def __str__(self) -> str:
        return f"{self.slug} r{self.revision}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise AppendOnlyError("a published revision never changes; publish the next one")
        super().save(*args, **kwargs)
