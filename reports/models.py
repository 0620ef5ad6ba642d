"""Certificates as issued: the content and the file, kept byte for byte."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class CertificateState(models.TextChoices):
    ISSUING = "issuing", _("Being issued")
    ISSUED = "issued", _("Issued")
    WITHDRAWN = "withdrawn", _("Withdrawn")
    REPLACED = "replaced", _("Replaced")


class Certificate(models.Model):
    """`content` is the frozen content model as JSON (reports.document.content); `sha256` that of the file.

    `fingerprint` is the SHA-256 of what the content was made from: asking again for the same job with nothing changed
    gives the same certificate, not a second one.
    """

    number = models.CharField(max_length=24, unique=True)
    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="certificates")
    car = models.ForeignKey("shop.Car", on_delete=models.PROTECT, related_name="certificates")
    state = models.CharField(max_length=10, choices=CertificateState, default=CertificateState.ISSUING)
    fingerprint = models.CharField(max_length=64)
    content = models.JSONField(default=dict)
    file = models.FileField(upload_to="certificates/%Y", blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    pages = models.PositiveIntegerField(default=0)
    asked_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    asked_at = models.DateTimeField()
    issued_at = models.DateTimeField(null=True, blank=True)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True)
    run = models.ForeignKey("shop.TaskRun", on_delete=models.SET_NULL, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "fingerprint"], name="certificate_once_per_content"),
            models.CheckConstraint(
                condition=models.Q(state__in=CertificateState.values), name="certificate_state_known"
            ),
            models.CheckConstraint(
                condition=models.Q(state="issuing", issued_at__isnull=True)
                | (~models.Q(state="issuing") & models.Q(issued_at__isnull=False) & ~models.Q(sha256="")),
                name="certificate_issued_has_file",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        return reverse("reports:certificate", args=[self.number])
