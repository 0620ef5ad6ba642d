"""What a job will cost, as the customer saw and answered it, and what it cost. No ledger of invoices."""

from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.models.jobs import Job


class CostKind(models.TextChoices):
    LABOUR = "labour", _("Labour")
    PART = "part", _("Part")
    OUTSIDE = "outside", _("Outside work")


class Estimate(models.Model):
    """Number 1 is the estimate of the job; each later one a supplement for work that was found later."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="estimates")
    number = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=140)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["job", "number"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="estimate_number_once")]

    def __str__(self) -> str:
        return self.title


class VersionState(models.TextChoices):
    DRAFT = "draft", _("Draft")
    SENT = "sent", _("Sent")
    REPLACED = "replaced", _("Replaced")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class EstimateVersion(models.Model):
    """One version; a draft changes, what was sent does not. `text`: word for word what the private link shows, from the
    moment of sending on. Of the link only the hash of its secret is kept."""

    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="versions")
    version = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=VersionState, default=VersionState.DRAFT)
    words = models.TextField(blank=True)
    currency = models.CharField(max_length=3)
    text = models.TextField(blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    sent_to = models.EmailField(blank=True)
    token_hash = models.CharField(max_length=64, unique=True, null=True, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["estimate", "version"]
        constraints = [
            models.UniqueConstraint(fields=["estimate", "version"], name="estimateversion_once"),
            models.CheckConstraint(condition=Q(state__in=VersionState.values), name="estimateversion_state_known"),
            models.UniqueConstraint(
                fields=["estimate"], condition=Q(state=VersionState.DRAFT), name="estimateversion_one_draft"
            ),
            models.UniqueConstraint(
                fields=["estimate"], condition=Q(state=VersionState.SENT), name="estimateversion_one_sent"
            ),
            models.CheckConstraint(
                condition=Q(state=VersionState.DRAFT, sent_at__isnull=True)
                | (~Q(state=VersionState.DRAFT) & Q(sent_at__isnull=False)),
                name="estimateversion_sent_when_no_draft",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.estimate} {self.version}"

    def get_absolute_url(self) -> str:
        return reverse("shop:estimate", args=[self.pk])


class EstimateLine(models.Model):
    """`quantity` of `unit` (hours, pieces) at `unit_price` without tax."""

    version = models.ForeignKey(EstimateVersion, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=CostKind)
    words = models.CharField(max_length=240)
    quantity = models.DecimalField(max_digits=9, decimal_places=2)
    unit = models.CharField(max_length=12)
    unit_price = models.DecimalField(max_digits=10, decimal_places=2)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2)
    task = models.ForeignKey("shop.Task", on_delete=models.SET_NULL, related_name="lines", null=True, blank=True)

    class Meta:
        ordering = ["version", "number"]
        constraints = [
            models.UniqueConstraint(fields=["version", "number"], name="estimateline_number_once"),
            models.CheckConstraint(condition=Q(kind__in=CostKind.values), name="estimateline_kind_known"),
            models.CheckConstraint(condition=Q(quantity__gt=0, unit_price__gte=0), name="estimateline_not_negative"),
            models.CheckConstraint(condition=Q(tax_percent__gte=0, tax_percent__lt=100), name="estimateline_tax"),
        ]

    def __str__(self) -> str:
        return self.words


class Answer(models.TextChoices):
    APPROVED = "approved", _("Approved")
    DECLINED = "declined", _("Declined")


class LineAnswer(models.Model):
    """What the customer said of one line, once and for good: who, when, and the exact text of the line. `noted_by`: who
    of the shop wrote it down where it was said at the counter or on the telephone."""

    line = models.OneToOneField(EstimateLine, on_delete=models.PROTECT, related_name="answer")
    answer = models.CharField(max_length=10, choices=Answer)
    name = models.CharField(max_length=120)
    at = models.DateTimeField()
    text = models.TextField()
    noted_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [models.CheckConstraint(condition=Q(answer__in=Answer.values), name="lineanswer_known")]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.answer}"


class Outlay(models.Model):
    """What a part or outside work really cost on a job, without tax; labour is what the clocks say. A wrong one is
    struck, not changed."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="outlays")
    kind = models.CharField(max_length=10, choices=CostKind)
    words = models.CharField(max_length=240)
    quantity = models.DecimalField(max_digits=9, decimal_places=2)
    unit = models.CharField(max_length=12)
    unit_price = models.DecimalField(max_digits=10, decimal_places=2)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2)
    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[CostKind.PART, CostKind.OUTSIDE]), name="outlay_kind_known"),
            models.CheckConstraint(condition=Q(quantity__gt=0, unit_price__gte=0), name="outlay_not_negative"),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True) | Q(struck_at__gte=F("at")), name="outlay_struck_after"
            ),
        ]

    def __str__(self) -> str:
        return self.words
