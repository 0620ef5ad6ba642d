"""Background work that a person waits for: what it is, how far it is, how it ended."""

import uuid

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class RunState(models.TextChoices):
    QUEUED = "queued", _("Waiting for the worker")
    RUNNING = "running", _("Running")
    DONE = "done", _("Done")
    FAILED = "failed", _("Failed")
    CANCELLED = "cancelled", _("Cancelled")


KEEPS_PARTS = frozenset({"certificates"})
"""Kinds of runs whose parts are each kept by themselves."""


class TaskRun(models.Model):
    """One run of a Celery task. The worker writes it and the page reads it, so progress is the same on every broker."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=140)
    job = models.ForeignKey("shop.Job", on_delete=models.CASCADE, related_name="runs", null=True, blank=True)
    state = models.CharField(max_length=10, choices=RunState, default=RunState.QUEUED)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=1)
    words = models.CharField(max_length=200, blank=True)
    result_url = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    queued_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    cancel_asked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-queued_at"]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=RunState.values), name="taskrun_state_known"),
            models.CheckConstraint(condition=models.Q(done__lte=models.F("total")), name="taskrun_done_within_total"),
        ]

    def __str__(self) -> str:
        return f"{self.title}: {self.state}"

    def get_absolute_url(self) -> str:
        return reverse("shop:run", args=[self.pk])

    @property
    def keeps_parts(self) -> bool:
        """Each part of it is kept by itself: what was done before it ended early stands."""
        return self.kind in KEEPS_PARTS
