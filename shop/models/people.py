"""Who works here, and whose shop it is."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    TECHNICIAN = "technician", _("Technician")
    COUNTER = "counter", _("Counter")
    PARTS = "parts", _("Parts")
    OWNER = "owner", _("Owner")


class User(AbstractUser):
    """A person of the shop; what they may do follows from the role (shop/permissions.py)."""

    role = models.CharField(max_length=12, choices=Role, default=Role.TECHNICIAN)
    tour_dismissed_at = models.DateTimeField(null=True, blank=True)

    class Meta(AbstractUser.Meta):
        constraints = [models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_known")]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class ShopProfile(models.Model):
    """The one row that says who issues papers here."""

    name = models.CharField(max_length=120)
    address = models.TextField()
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="shopprofile_single_row")]

    def __str__(self) -> str:
        return self.name
