"""Customers and their cars."""

from django.db import models
from django.db.models.functions import Upper
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class Climate(models.TextChoices):
    HOT = "hot", _("Hot")
    TEMPERATE = "temperate", _("Temperate")
    COLD = "cold", _("Cold")


class Customer(models.Model):
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "pk"]
        indexes = [models.Index(fields=["name"])]

    def __str__(self) -> str:
        return self.name


class Car(models.Model):
    """One vehicle. `made_on` is the first day of its production month (with `year_only`: January of the year, the
    month is not known); `system` the slug of its top system. `known_from`: the day its history begins where failures
    before that day were not written down anywhere; null: all that matters is known, as far as anybody can tell.

    The slug is a natural key: a car whose system nobody has declared yet can be taken in all the same (blank).
    `merged_into`: this row was the same car written down twice; everything of it hangs on the other one now.
    """

    vin = models.CharField(_("VIN"), max_length=17, unique=True)
    plate = models.CharField(max_length=16, blank=True)
    maker = models.CharField(max_length=60)
    model = models.CharField(max_length=60)
    made_on = models.DateField(_("production month"))
    year_only = models.BooleanField(default=False)
    known_from = models.DateField(null=True, blank=True)
    climate = models.CharField(max_length=10, choices=Climate, default=Climate.TEMPERATE)
    system = models.SlugField(_("top system"), max_length=60, blank=True)
    owner = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="cars", null=True, blank=True)
    merged_into = models.ForeignKey("self", on_delete=models.PROTECT, related_name="doubles", null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["maker", "model", "vin"]
        indexes = [models.Index(fields=["system", "made_on"]), models.Index(Upper("plate"), name="car_plate_upper")]
        constraints = [
            models.CheckConstraint(condition=models.Q(vin__regex=r"^[A-HJ-NPR-Z0-9]{17}$"), name="car_vin_iso3779"),
            models.CheckConstraint(condition=models.Q(made_on__day=1), name="car_made_on_first_of_month"),
            models.CheckConstraint(condition=models.Q(climate__in=Climate.values), name="car_climate_known"),
            models.CheckConstraint(
                condition=models.Q(year_only=False) | models.Q(made_on__month=1), name="car_year_only_is_january"
            ),
            models.CheckConstraint(
                condition=models.Q(known_from__isnull=True) | models.Q(known_from__gte=models.F("made_on")),
                name="car_known_from_after_made",
            ),
            models.CheckConstraint(
                condition=models.Q(merged_into__isnull=True) | ~models.Q(merged_into=models.F("id")),
                name="car_not_merged_into_itself",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.model}"

    def get_absolute_url(self) -> str:
        return reverse("shop:car", args=[self.pk])


class OdometerReading(models.Model):
    car = models.ForeignKey(Car, on_delete=models.CASCADE, related_name="odometer")
    read_on = models.DateField()
    km = models.PositiveIntegerField(_("kilometres"))
    entered_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["read_on", "pk"]
        constraints = [models.UniqueConstraint(fields=["car", "read_on"], name="odometer_once_a_day")]

    def __str__(self) -> str:
        return f"{self.km} km, {self.read_on}"


class OwnerChange(models.Model):
    """The car went from one owner to the next on a day. What came before belongs to the earlier owner: the car's
    technical history goes along, prices, words and addresses do not."""

    car = models.ForeignKey(Car, on_delete=models.CASCADE, related_name="owner_changes")
    earlier = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    later = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    on = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["on", "pk"]

    def __str__(self) -> str:
        return f"{self.car_id}: {self.on}"
