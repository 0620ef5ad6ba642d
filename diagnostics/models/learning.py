"""What sheets say of units, what was learned of it, and the production ranges with what the owner decided."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class Sighting(models.Model):
    """What one bench sheet says of one unit: modes it was seen good in, and the one it was found failed in.

    Derived from checks and work, made anew for a sheet whenever those change (`BenchSheet.sighted`); the learning reads
    nothing else of the bench. `since`: the day the unit was fitted, null for the original. `good`: bits of
    `engine.faults.MODE_BITS`. `failed`: a mode, '' for none; `mended`: the unit stayed, so that its clock in that mode
    starts anew on this day. `observations`: checks behind it.
    """

    sheet = models.ForeignKey("diagnostics.BenchSheet", on_delete=models.CASCADE, related_name="sightings")
    car = models.ForeignKey("shop.Car", on_delete=models.PROTECT, related_name="sightings")
    system = models.SlugField(max_length=60)
    position = models.CharField(max_length=12)
    part = models.CharField(max_length=40)
    revision = models.CharField(max_length=12, blank=True)
    since = models.DateField(null=True, blank=True)
    on = models.DateField()
    good = models.PositiveIntegerField(default=0)
    failed = models.CharField(max_length=24, blank=True)
    mended = models.BooleanField(default=False)
    observations = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(fields=["system", "part", "position"]),
            models.Index(fields=["car", "position"]),
            models.Index(fields=["system", "position", "failed"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["sheet", "position", "failed"],
                condition=models.Q(since__isnull=True),
                name="sighting_once_of_original",
            ),
            models.UniqueConstraint(
                fields=["sheet", "position", "since", "failed"],
                condition=models.Q(since__isnull=False),
                name="sighting_once",
            ),
            models.CheckConstraint(
                condition=models.Q(good__gt=0) | ~models.Q(failed=""), name="sighting_says_something"
            ),
            models.CheckConstraint(
                condition=models.Q(since__isnull=True) | models.Q(on__gte=models.F("since")),
                name="sighting_after_fitted",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position} on {self.on}: {self.failed or 'good'}"


class Learning(models.Model):
    """One finished learning: from which data, by whom (null: by itself, at night or after new checks)."""

    learned_at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    run = models.ForeignKey("shop.TaskRun", on_delete=models.SET_NULL, related_name="+", null=True, blank=True)
    whole = models.BooleanField(default=True)
    fingerprint = models.CharField(max_length=64)
    seed = models.PositiveIntegerField()
    cars = models.PositiveIntegerField()
    units = models.PositiveIntegerField()
    sheets = models.PositiveIntegerField()
    checks = models.PositiveIntegerField()
    changed = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-learned_at", "-pk"]

    def __str__(self) -> str:
        return f"learned {self.learned_at:%Y-%m-%d %H:%M}"


class FailureModel(models.Model):
    """The newest model of one population (learning.records.PartModel, as `document`), and the learning that made it."""

    learning = models.ForeignKey(Learning, on_delete=models.PROTECT, related_name="models")
    system = models.SlugField(max_length=60)
    part = models.CharField(max_length=40)
    revision = models.CharField(max_length=12, blank=True)
    original = models.BooleanField()
    mode = models.CharField(max_length=24, blank=True)
    units = models.PositiveIntegerField()
    failed = models.PositiveIntegerField()
    range_probability = models.FloatField()
    fingerprint = models.CharField(max_length=64)
    document = models.JSONField()

    class Meta:
        ordering = ["system", "part", "revision", "-original", "mode"]
        constraints = [
            models.UniqueConstraint(
                fields=["system", "part", "revision", "original", "mode"], name="failuremodel_one_a_population"
            ),
            models.CheckConstraint(
                condition=models.Q(range_probability__gte=0, range_probability__lte=1),
                name="failuremodel_probability_is_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system} {self.part} {self.mode}"


class RangeState(models.TextChoices):
    PROPOSED = "proposed", _("Proposed")
    CONFIRMED = "confirmed", _("Confirmed")
    DISMISSED = "dismissed", _("Dismissed")
    GONE = "gone", _("No longer seen")


class ProductionRange(models.Model):
    """A production range as it was found, with the data it was found in (`document`: the Range, its curves, its
    months, the fingerprint), and what the owner decided of it. `first` and `last`: first days of months."""

    system = models.SlugField(max_length=60)
    part = models.CharField(max_length=40)
    positions = models.JSONField(default=list)
    mode = models.CharField(max_length=24)
    first = models.DateField()
    last = models.DateField()
    probability = models.FloatField()
    state = models.CharField(max_length=10, choices=RangeState, default=RangeState.PROPOSED)
    note = models.CharField(max_length=500, blank=True)
    found_at = models.DateTimeField()
    learning = models.ForeignKey(Learning, on_delete=models.PROTECT, related_name="ranges")
    document = models.JSONField()
    decided_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["system", "part", "mode", "first"]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=RangeState.values), name="productionrange_state_known"),
            models.CheckConstraint(condition=models.Q(last__gte=models.F("first")), name="productionrange_in_order"),
            models.CheckConstraint(
                condition=models.Q(first__day=1, last__day=1), name="productionrange_first_days_of_months"
            ),
            models.CheckConstraint(
                condition=models.Q(probability__gte=0, probability__lte=1), name="productionrange_probability_is_one"
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["proposed", "gone"], decided_at__isnull=True)
                | (
                    models.Q(state__in=["confirmed", "dismissed"], decided_at__isnull=False, decided_by__isnull=False)
                    & ~models.Q(note="")
                ),
                name="productionrange_decided_with_who_and_why",
            ),
            models.UniqueConstraint(
                fields=["system", "part", "mode", "first", "last"],
                condition=models.Q(state__in=["proposed", "confirmed"]),
                name="productionrange_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system} {self.part} {self.mode}: {self.first:%Y-%m} to {self.last:%Y-%m}"

    def get_absolute_url(self) -> str:
        return reverse("diagnostics:range", args=[self.pk])
