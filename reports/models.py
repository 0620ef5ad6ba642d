"""Certificates as issued: the content and the file, kept byte for byte."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from reports.batch.models import BatchItem, CertificateBatch, ItemState
from reports.commission.models import Commission, CommissionLink, CommissionState, TopKind
from reports.inspection.models import Inspection, InspectionAnswer
from reports.instruments.models import Calibration, Instrument, InstrumentKind, InstrumentUse

__all__ = [
    "BatchItem",
    "Calibration",
    "Certificate",
    "CertificateBatch",
    "CertificateState",
    "Commission",
    "CommissionLink",
    "CommissionState",
    "ImportState",
    "ImportedFile",
    "Inspection",
    "InspectionAnswer",
    "Instrument",
    "InstrumentKind",
    "InstrumentUse",
    "ItemState",
    "SigningRoot",
    "SuspectHit",
    "TopKind",
]


class CertificateState(models.TextChoices):
    ISSUING = "issuing", _("Being issued")
    ISSUED = "issued", _("Issued")
    WITHDRAWN = "withdrawn", _("Withdrawn")
    REPLACED = "replaced", _("Replaced")


class SigningRoot(models.Model):
    """A root certificate under which the shop has signed: what it issued then can be checked after a change of keys.

    `fingerprint`: SHA-256 of the certificate's DER, hex; `pem`: the certificate, without any key.
    """

    fingerprint = models.CharField(max_length=64, unique=True)
    pem = models.TextField()
    first_used_at = models.DateTimeField()

    class Meta:
        ordering = ["-first_used_at", "-pk"]

    def __str__(self) -> str:
        return self.fingerprint


class Certificate(models.Model):
    """`content` is the frozen content model as JSON (reports.document.content); `sha256` that of the signed file,
    `unsigned_sha256` of its first bytes, as they were before they were signed, `data_sha256` of the embedded data.

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
    unsigned_sha256 = models.CharField(max_length=64, blank=True)
    data_sha256 = models.CharField(max_length=64, blank=True)
    root = models.ForeignKey(SigningRoot, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    pages = models.PositiveIntegerField(default=0)
    asked_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    asked_at = models.DateTimeField()
    issued_at = models.DateTimeField(null=True, blank=True)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True)
    run = models.ForeignKey("shop.TaskRun", on_delete=models.SET_NULL, related_name="+", null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

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
            models.CheckConstraint(
                condition=~models.Q(state="withdrawn", withdrawn_reason="")
                & (
                    models.Q(state="withdrawn", withdrawn_at__isnull=False, withdrawn_by__isnull=False)
                    | (~models.Q(state="withdrawn") & models.Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True))
                ),
                name="certificate_withdrawn_says_why",
            ),
            models.CheckConstraint(
                condition=models.Q(root__isnull=True, unsigned_sha256="", data_sha256="")
                | (models.Q(root__isnull=False) & ~models.Q(unsigned_sha256="") & ~models.Q(data_sha256="")),
                name="certificate_signed_wholly",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        return reverse("reports:certificate", args=[self.number])


class ImportState(models.TextChoices):
    SENT = "uploaded", _("To be matched")
    JUDGED = "judged", _("Looked at, nothing brought yet")
    DONE = "done", _("Brought")
    DROPPED = "dropped", _("Dropped")


class ImportedFile(models.Model):
    """A table of old records that was sent in. `matching`: field -> heading; `order`: what comes first in days such as
    03/04/2014; `fates`: rows by fate; `remarks`: what was found out about the file, in sentences.

    `file` and `fates_file` (a CSV: every row with its fate) are kept until `RECORDS_KEPT` after `at`, the file no
    longer than until it is brought.
    """

    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    file = models.FileField(upload_to="records/brought", blank=True)
    fates_file = models.FileField(upload_to="records/fates", blank=True)
    sheet = models.CharField(max_length=60, blank=True)
    kind = models.CharField(max_length=10, blank=True)
    matching = models.JSONField(default=dict, blank=True)
    order = models.CharField(max_length=3, blank=True)
    state = models.CharField(max_length=10, choices=ImportState, default=ImportState.SENT)
    fates = models.JSONField(default=dict, blank=True)
    remarks = models.JSONField(default=list, blank=True)
    run = models.ForeignKey("shop.TaskRun", on_delete=models.SET_NULL, related_name="+", null=True, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=ImportState.values), name="importedfile_state_known"),
            models.CheckConstraint(
                condition=models.Q(state__in=["done", "dropped"], ended_at__isnull=False, file="")
                | (models.Q(state__in=["uploaded", "judged"], ended_at__isnull=True) & ~models.Q(file="")),
                name="importedfile_file_until_it_ends",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("reports:import", args=[self.pk])


class SuspectHit(models.Model):
    """How the suspects of a job stood when its work was begun (`at`), against what the work found to be wrong: counted
    once, since it takes an inference. `place` of the first of what was found among the suspects (1: the first one, 0:
    not among them) and `brier` (reports.figures.records.Hit); both null where it cannot be said."""

    job = models.OneToOneField("shop.Job", on_delete=models.CASCADE, related_name="suspect_hit")
    at = models.DateTimeField()
    place = models.PositiveSmallIntegerField(null=True, blank=True)
    brier = models.FloatField(null=True, blank=True)
    counted_at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(place__isnull=True, brier__isnull=True)
                | models.Q(place__isnull=False, brier__gte=0),
                name="suspecthit_both_or_none",
            )
        ]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.place}"
