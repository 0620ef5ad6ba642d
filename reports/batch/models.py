"""A batch of certificates: who asked for which jobs, and what became of each."""

from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class ItemState(models.TextChoices):
    WAITING = "waiting", _("Not begun")
    ISSUED = "issued", _("Issued")
    UNCHANGED = "unchanged", _("Nothing has changed")
    FAILED = "failed", _("Not issued")


class CertificateBatch(models.Model):
    """`key` comes with the form that asked for it: sent twice, it is one batch."""

    key = models.UUIDField(unique=True)
    run = models.OneToOneField("shop.TaskRun", on_delete=models.SET_NULL, related_name="batch", null=True, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name_plural = "certificate batches"

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M}"

    def get_absolute_url(self) -> str:
        return reverse("reports:batch", args=[self.pk])


class BatchItem(models.Model):
    """A job of a batch. `certificate`: the one that was issued, or that stands since nothing has changed; `words`: why
    none was."""

    batch = models.ForeignKey(CertificateBatch, on_delete=models.CASCADE, related_name="items")
    number = models.PositiveSmallIntegerField()
    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=ItemState, default=ItemState.WAITING)
    certificate = models.ForeignKey(
        "reports.Certificate", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    words = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["batch", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="batchitem_number_once"),
            models.UniqueConstraint(fields=["batch", "job"], name="batchitem_job_once"),
            models.CheckConstraint(condition=Q(state__in=ItemState.values), name="batchitem_state_known"),
            models.CheckConstraint(
                condition=Q(state="waiting", certificate__isnull=True, words="")
                | Q(state__in=["issued", "unchanged"], certificate__isnull=False, words="")
                | (Q(state="failed", certificate__isnull=True) & ~Q(words="")),
                name="batchitem_says_what_became_of_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.state}"
