"""Published revisions of top systems, and what is drafted of the next. A published revision never changes; a bench
sheet points at the one it used."""

from typing import Any

from django.db import models
from django.urls import reverse

from shop.models import AppendOnlyError

NOTE_LENGTH = 500


class SystemRevision(models.Model):
    """`text` is the YAML file as published, `sha256` its digest; the parsed form comes from selectors.system_of().
    `note`: what changed and why, as the publisher put it; '' for one that came with the program."""

    slug = models.SlugField(max_length=60)
    revision = models.PositiveIntegerField()
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=40)
    text = models.TextField()
    sha256 = models.CharField(max_length=64)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
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


class SystemDraft(models.Model):
    """What will be the next revision of a system, or the first one: one draft for each, and whoever may draft works on
    it. It may hold mistakes. `base`: the newest revision when it was begun; `version` grows with each keeping, so that
    nobody writes over what they have not seen; `by` and `at`: who kept it last, and when."""

    slug = models.SlugField(max_length=60, unique=True)
    text = models.TextField()
    base = models.ForeignKey(SystemRevision, on_delete=models.PROTECT, related_name="drafts", null=True, blank=True)
    version = models.PositiveIntegerField(default=1)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["slug"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(text=""), name="systemdraft_not_empty"),
            models.CheckConstraint(condition=models.Q(version__gte=1), name="systemdraft_version_counts"),
        ]

    def __str__(self) -> str:
        return f"{self.slug} draft {self.version}"

    def get_absolute_url(self) -> str:
        return reverse("diagnostics:draft", args=[self.slug])
