"""What the shop measures with, when each of it was calibrated, and which of it was used on which job."""

from decimal import Decimal

from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.models.taken_back import taken_back_says_why


class InstrumentKind(models.TextChoices):
    MULTIMETER = "multimeter", _("Multimeter")
    STOPWATCH = "stopwatch", _("Stopwatch")
    GAUGE = "pressure-gauge", _("Pressure gauge")
    THERMOMETER = "thermometer", _("Thermometer")


def plain(value: Decimal) -> str:
    """Without the noughts that the database puts behind it."""
    return f"{value.normalize():f}"


class Instrument(models.Model):
    """`name` as the shop calls it; `serial` as written on it, or the shop's own number where its maker gave none.
    `accuracy_percent` of the reading + `accuracy_volts`: of a multimeter, as its maker states it; null where nobody
    looked it up."""

    kind = models.CharField(_("Kind"), max_length=16, choices=InstrumentKind)
    name = models.CharField(max_length=60)
    serial = models.CharField(max_length=40)
    accuracy_percent = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    accuracy_volts = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    retired_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["kind", "name", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=InstrumentKind.values), name="instrument_kind_known"),
            models.CheckConstraint(condition=~models.Q(name="") & ~models.Q(serial=""), name="instrument_named"),
            models.CheckConstraint(
                condition=models.Q(accuracy_percent__isnull=True, accuracy_volts__isnull=True)
                | (
                    models.Q(kind="multimeter", accuracy_percent__gte=0, accuracy_volts__gte=0)
                    & (models.Q(accuracy_percent__gt=0) | models.Q(accuracy_volts__gt=0))
                ),
                name="instrument_accuracy_whole",
            ),
            taken_back_says_why("retired", "retired_reason", name="instrument_retired_says_why"),
            models.UniqueConstraint(
                "kind", Lower("serial"), condition=models.Q(retired_at__isnull=True), name="instrument_serial_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.serial})"

    def get_absolute_url(self) -> str:
        return reverse("reports:instrument", args=[self.pk])

    @property
    def accuracy(self) -> tuple[str, str] | None:
        """Per cent of the reading and volts, as they are read."""
        if self.accuracy_percent is None or self.accuracy_volts is None:
            return None
        return plain(self.accuracy_percent), plain(self.accuracy_volts)


class Calibration(models.Model):
    """A calibration is never changed: one that was written down wrongly is struck out with a reason. It counts from
    `calibrated_on` to `valid_until`, both days included. `expanded_volts`: the expanded uncertainty of a multimeter's
    calibration in volts (k = 2), as its certificate `number` of the `laboratory` states it; null where it does not."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    valid_until = models.DateField()
    number = models.CharField(max_length=60)
    laboratory = models.CharField(max_length=120)
    expanded_volts = models.DecimalField(max_digits=7, decimal_places=5, null=True, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    struck_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-calibrated_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gt=models.F("calibrated_on")), name="calibration_days_in_order"
            ),
            models.CheckConstraint(
                condition=~models.Q(number="") & ~models.Q(laboratory=""), name="calibration_says_whose"
            ),
            models.CheckConstraint(
                condition=models.Q(expanded_volts__isnull=True) | models.Q(expanded_volts__gt=0),
                name="calibration_u_positive",
            ),
            taken_back_says_why("struck", "struck_reason", name="calibration_struck_says_why"),
            models.UniqueConstraint(
                fields=["instrument", "laboratory", "number"],
                condition=models.Q(struck_at__isnull=True),
                name="calibration_written_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.calibrated_on}"

    @property
    def expanded(self) -> str:
        return "" if self.expanded_volts is None else plain(self.expanded_volts)


class InstrumentUse(models.Model):
    """That an instrument was used on a job, as a person said it. Of each kind a job has one at a time: it stands for
    every reading of its kind. `undone_at`: another one was chosen instead, or none."""

    job = models.ForeignKey("shop.Job", on_delete=models.CASCADE, related_name="instrument_uses")
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="uses")
    kind = models.CharField(max_length=16, choices=InstrumentKind)
    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["by", "-at"])]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=InstrumentKind.values), name="use_kind_known"),
            models.CheckConstraint(
                condition=models.Q(undone_at__isnull=True, undone_by__isnull=True)
                | models.Q(undone_at__isnull=False, undone_by__isnull=False),
                name="use_undone_by_somebody",
            ),
            models.UniqueConstraint(
                fields=["job", "kind"], condition=models.Q(undone_at__isnull=True), name="use_one_of_a_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.instrument_id}"
