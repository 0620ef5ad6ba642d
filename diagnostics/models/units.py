"""What is fitted where, and what was done to it."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Unit(models.Model):
    """One physical thing fitted at a position of a car for a while. The part is named by number, a natural key.

    `fitted_on` null: the original part, there since the car was made.
    """

    car = models.ForeignKey("shop.Car", on_delete=models.PROTECT, related_name="units")
    position = models.CharField(max_length=12)
    part = models.CharField(_("part number"), max_length=40)
    revision = models.CharField(max_length=12, blank=True)
    serial = models.CharField(max_length=40, blank=True)
    fitted_on = models.DateField(null=True, blank=True)
    fitted_job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    removed_job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    removed_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["car", "position", "fitted_on"]
        indexes = [models.Index(fields=["part", "position"])]
        constraints = [
            models.UniqueConstraint(
                fields=["car", "position"], condition=models.Q(removed_on__isnull=True), name="unit_one_per_position"
            ),
            models.UniqueConstraint(
                fields=["part", "serial"],
                condition=models.Q(removed_on__isnull=True) & ~models.Q(serial=""),
                name="unit_serial_fitted_once",
            ),
            models.CheckConstraint(
                condition=models.Q(removed_on__isnull=True)
                | models.Q(fitted_on__isnull=True)
                | models.Q(removed_on__gte=models.F("fitted_on")),
                name="unit_removed_after_fitted",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}: {self.part}"


class WorkKind(models.TextChoices):
    REPLACE = "replace", _("Replaced")
    ADJUST = "adjust", _("Adjusted the trigger")
    PLUG = "plug-in", _("Plugged in")
    WIRE = "mend-wire", _("Mended the wire")
    TRIM = "trim", _("Trimmed or freed")
    REFILL = "refill", _("Sealed, bled or refilled")
    CHARGE = "charge", _("Charged or supplied")


class Work(models.Model):
    """Work on a position. It voids the proof of that path: only checks after `at` prove it again.

    `mode`: the fault that it took away, PRECAUTION where nothing was wrong there, '' where nobody said.
    """

    PRECAUTION = "precaution"

    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="work")
    position = models.CharField(max_length=12)
    kind = models.CharField(max_length=10, choices=WorkKind)
    mode = models.CharField(max_length=24, blank=True)
    words = models.CharField(max_length=200, blank=True)
    old_unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    new_unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        verbose_name_plural = "work"
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=WorkKind.values), name="work_kind_known"),
            models.CheckConstraint(
                condition=models.Q(kind="replace", new_unit__isnull=False)
                | (~models.Q(kind="replace") & models.Q(new_unit__isnull=True, old_unit__isnull=True)),
                name="work_replace_has_new_unit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position} {self.kind}"
