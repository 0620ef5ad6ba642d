"""Who works here, and whose shop it is."""

import datetime as dt
from decimal import Decimal

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    TECHNICIAN = "technician", _("Technician")
    COUNTER = "counter", _("Counter")
    PARTS = "parts", _("Parts")
    OWNER = "owner", _("Owner")


class User(AbstractUser):
    """A person of the shop; what they may do follows from the role (shop/permissions.py). `second_factor_waived`: one
    of the demo's invented people, whose passwords are printed for everybody anyway."""

    role = models.CharField(max_length=12, choices=Role, default=Role.TECHNICIAN)
    tour_dismissed_at = models.DateTimeField(null=True, blank=True)
    second_factor_waived = models.BooleanField(default=False)

    class Meta(AbstractUser.Meta):
        constraints = [models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_known")]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class ShopProfile(models.Model):
    """The one row that says who issues papers here, when people work and at what rates. `work_days`: a digit a day from
    Monday, 1 where the shop is open. `inspection_fee`: with tax, of an inspection that an outside buyer
    commissions; null: the shop takes no commissions from outside."""

    name = models.CharField(max_length=120)
    address = models.TextField()
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    opens_at = models.TimeField(default=dt.time(8, 0))
    closes_at = models.TimeField(default=dt.time(17, 0))
    break_minutes = models.PositiveSmallIntegerField(default=60)
    work_days = models.CharField(max_length=7, default="1111100")
    hourly_rate = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("90.00"))
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, default=Decimal("20.00"))
    currency = models.CharField(max_length=3, default="EUR")
    inspection_fee = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    inspection_terms = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="shopprofile_single_row"),
            models.CheckConstraint(
                condition=models.Q(inspection_fee__isnull=True)
                | (models.Q(inspection_fee__gte=0) & ~models.Q(inspection_terms="")),
                name="shopprofile_fee_with_terms",
            ),
            models.CheckConstraint(
                condition=models.Q(closes_at__gt=models.F("opens_at")), name="shopprofile_closes_after_opening"
            ),
            models.CheckConstraint(
                condition=models.Q(work_days__regex=r"^[01]{7}$") & ~models.Q(work_days="0000000"),
                name="shopprofile_work_days",
            ),
            models.CheckConstraint(
                condition=models.Q(hourly_rate__gte=0, tax_percent__gte=0, tax_percent__lt=100),
                name="shopprofile_rates",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Invitation(models.Model):
    """Somebody is asked to join with a role. Only the hash of the secret in the address is kept."""

    name = models.CharField(max_length=120)
    email = models.EmailField()
    role = models.CharField(max_length=12, choices=Role)
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="invitation", null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="invitation_role_known"),
            models.CheckConstraint(
                condition=models.Q(accepted_at__isnull=True, user__isnull=True)
                | models.Q(accepted_at__isnull=False, user__isnull=False),
                name="invitation_accepted_by_somebody",
            ),
            models.UniqueConstraint(
                Lower("email"),
                condition=models.Q(accepted_at__isnull=True, revoked_at__isnull=True),
                name="invitation_one_open",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def has_run_out(self) -> bool:
        return self.expires_at <= timezone.now()


class SecondFactor(models.Model):
    """A time-based code beside the password (RFC 6238). `secret` is encrypted with this installation's key;
    `last_step`: the time step of the newest code that was taken, so that none is taken twice."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="second_factor")
    secret = models.CharField(max_length=255)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_step = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.user_id}"


class RecoveryCode(models.Model):
    """A code for the day on which the telephone is lost; good once."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="recovery_codes")
    code_hash = models.CharField(max_length=255)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.user_id}"


class SignedIn(models.Model):
    """Where a person is signed in. `key` is a hash of the session's key, which nobody else needs to know."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="signed_in")
    key = models.CharField(max_length=64, unique=True)
    agent = models.CharField(max_length=200, blank=True)
    address = models.GenericIPAddressField(null=True, blank=True)
    since = models.DateTimeField()
    seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-seen_at", "-pk"]
        indexes = [models.Index(fields=["user", "-seen_at"])]

    def __str__(self) -> str:
        return f"{self.user_id}: {self.since}"
