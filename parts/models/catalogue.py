"""The catalogue: which part there is, where it fits, and who delivers it."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _


class Supplier(models.Model):
    """Who delivers parts. `lead_days`: calendar days from order to goods in as they state them; null: nobody said."""

    name = models.CharField(max_length=80)
    email = models.EmailField(blank=True)
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(Lower("name"), name="supplier_name_once")]

    def __str__(self) -> str:
        return self.name


class Tracking(models.TextChoices):
    """What is known of a single piece of a part."""

    NONE = "none", _("Not followed")
    BATCH = "batch", _("By batch")
    SERIAL = "serial", _("By serial number")


class Part(models.Model):
    """`superseded_by`: the part that replaces it; `old_usable`: whether what is left of this one may still be fitted.
    `rebuildable`: taken off, it is a core that can be rebuilt. `minimum`: pieces that are always to be there, whatever
    the forecast says. `place`: where it lies."""

    number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    revision = models.CharField(max_length=12, blank=True)
    superseded_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="supersedes", null=True, blank=True
    )
    old_usable = models.BooleanField(default=True)
    tracking = models.CharField(max_length=8, choices=Tracking, default=Tracking.NONE)
    rebuildable = models.BooleanField(default=False)
    minimum = models.PositiveSmallIntegerField(default=0)
    place = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(superseded_by__isnull=True) | ~Q(superseded_by=F("pk")),
                name="part_not_superseded_by_itself",
            ),
            models.CheckConstraint(condition=Q(tracking__in=Tracking.values), name="part_tracking_known"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Fit(models.Model):
    """A part fits a position of a top system."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="fits")
    system = models.SlugField(max_length=60)
    position = models.CharField(max_length=12)

    class Meta:
        ordering = ["system", "position"]
        constraints = [models.UniqueConstraint(fields=["part", "system", "position"], name="fit_once")]

    def __str__(self) -> str:
        return f"{self.part_id} fits {self.system} {self.position}"


class Offer(models.Model):
    """A part as one supplier delivers it: `price` net of a piece in the shop's currency, null while nobody asked;
    `pack` pieces are the least that can be ordered; `lead_days` where it is other than the supplier's."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    their_number = models.CharField(max_length=60, blank=True)
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    pack = models.PositiveSmallIntegerField(default=1)
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)
    preferred = models.BooleanField(default=False)

    class Meta:
        ordering = ["-preferred", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["part", "supplier"], name="offer_once_a_supplier"),
            models.UniqueConstraint(fields=["part"], condition=Q(preferred=True), name="offer_one_preferred"),
            models.CheckConstraint(condition=Q(pack__gte=1), name="offer_pack_one_or_more"),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=Decimal(0)), name="offer_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} from {self.supplier_id}"


class PartCode(models.Model):
    """A barcode on a bag or box that names a part."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="barcodes")
    barcode = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["barcode"]

    def __str__(self) -> str:
        return self.barcode
