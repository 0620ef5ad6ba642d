"""Commissions of outside buyers, and the private links by which they follow them."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class CommissionState(models.TextChoices):
    ASKED = "asked", _("Asked for")
    TAKEN = "taken", _("Taken on")
    DECLINED = "declined", _("Declined")
    DONE = "done", _("Certificate issued")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class TopKind(models.TextChoices):
    """What a buyer can tell from a picture of the car."""

    HARD = "hard", _("A hard roof that folds away")
    SOFT = "soft", _("A soft top of cloth")
    UNKNOWN = "unknown", _("I do not know")


_NOBODY = {
    "name": "", "email": "", "phone": "", "wanted": "", "place": "", "seller_phone": "", "seller_consent_by": "",
    "maker": "", "model": "", "vin": "", "declined_reason": "", "digest": "",
}  # fmt: skip
WORDS_OF_THE_BUYER = tuple(_NOBODY)
"""What is emptied when the buyer is erased."""


class Commission(models.Model):
    """An inspection that somebody wants before buying a car. `terms`: fee and terms word by word as they were accepted;
    `year`: of production, as the buyer puts it; `from_on` to `until_on`: the days on which the car can be seen.

    The telephone of the seller is kept with the name of who gave their consent only, and until the commission ends.
    `customer_made`: the customer's record came into the book by this commission, and goes with it.
    `digest` holds what was sent against sending it twice. Once erased nothing of the buyer is left but days and terms.
    """

    maker = models.CharField(max_length=60, blank=True)
    model = models.CharField(max_length=60, blank=True)
    vin = models.CharField(_("VIN"), max_length=17, blank=True)
    year = models.PositiveSmallIntegerField()
    top = models.CharField(max_length=8, choices=TopKind, default=TopKind.UNKNOWN)
    place = models.CharField(max_length=200, blank=True)
    seller_phone = models.CharField(max_length=40, blank=True)
    seller_consent_by = models.CharField(max_length=120, blank=True)
    wanted = models.TextField(blank=True)
    from_on = models.DateField()
    until_on = models.DateField()
    name = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    fee = models.DecimalField(max_digits=8, decimal_places=2)
    currency = models.CharField(max_length=3)
    terms = models.TextField()
    accepted_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=CommissionState, default=CommissionState.ASKED)
    job = models.OneToOneField("shop.Job", on_delete=models.PROTECT, related_name="commission", null=True, blank=True)
    customer = models.ForeignKey(
        "shop.Customer", on_delete=models.PROTECT, related_name="commissions", null=True, blank=True
    )
    customer_made = models.BooleanField(default=False)
    appointment_on = models.DateField(null=True, blank=True)
    declined_reason = models.CharField(max_length=300, blank=True)
    mail_failed = models.BooleanField(default=False)
    ended_at = models.DateTimeField(null=True, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["-accepted_at", "-pk"]
        indexes = [models.Index(fields=["state", "accepted_at"])]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=CommissionState.values), name="commission_state_known"),
            models.CheckConstraint(condition=models.Q(top__in=TopKind.values), name="commission_top_known"),
            models.CheckConstraint(
                condition=models.Q(state__in=["taken", "done"], job__isnull=False, appointment_on__isnull=False)
                | models.Q(state__in=["asked", "declined"], job__isnull=True)
                | models.Q(state="withdrawn"),
                name="commission_taken_has_job",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["asked", "taken"], ended_at__isnull=True)
                | models.Q(state__in=["declined", "done", "withdrawn"], ended_at__isnull=False, seller_phone=""),
                name="commission_ended_keeps_no_seller",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="declined", declined_reason="", erased_at__isnull=True),
                name="commission_declined_says_why",
            ),
            models.CheckConstraint(
                condition=models.Q(seller_phone="") | ~models.Q(seller_consent_by=""),
                name="commission_seller_consents",
            ),
            models.CheckConstraint(
                condition=models.Q(until_on__gte=models.F("from_on")), name="commission_days_in_order"
            ),
            models.CheckConstraint(condition=models.Q(fee__gte=0) & ~models.Q(terms=""), name="commission_terms_kept"),
            models.CheckConstraint(
                condition=models.Q(erased_at__isnull=True) & ~models.Q(name="") & ~models.Q(email="")
                | models.Q(erased_at__isnull=False, customer__isnull=True, **_NOBODY),
                name="commission_nobody_once_erased",
            ),
            models.UniqueConstraint(
                fields=["digest"],
                condition=models.Q(state="asked") & ~models.Q(digest=""),
                name="commission_sent_once",
            ),
        ]

    def __str__(self) -> str:
        return f"commission {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("reports:commission-one", args=[self.pk])

    @property
    def number(self) -> str:
        return f"C{self.pk:05d}"

    @property
    def is_movable(self) -> bool:
        """Whether its appointment may be put on another day."""
        return self.state == CommissionState.TAKEN and self.job is not None and self.job.is_open


class CommissionLink(models.Model):
    """By what address the buyer follows a commission; only the hash of its secret is kept. Each mail has its own."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="links")
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.commission_id}: {self.made_at}"
