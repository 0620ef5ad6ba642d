"""The ledger of the shelf: append-only movements, and the balance that they add up to.

A movement changes up to three counts of a part at once: pieces on the `shelf`, how many of those are `reserved` for a
job, and `cores` that wait to be rebuilt. It carries the three balances after it and its place in the part's row of
movements, so that the database itself refuses a balance below nought, more reserved than there is, and two movements
that both believe to be the next one.
"""

from typing import Any, NoReturn

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from parts.models.catalogue import Part, Supplier
from parts.models.orders import OrderLine
from shop.models.trail import AppendOnlyError


class Stock(models.Model):
    """The balances of a part: always those after its last movement, `moves` of them so far. Its row is locked while a
    movement is written."""

    part = models.OneToOneField(Part, on_delete=models.PROTECT, related_name="stock", primary_key=True)
    shelf = models.IntegerField(default=0)
    reserved = models.IntegerField(default=0)
    cores = models.IntegerField(default=0)
    moves = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(shelf__gte=0), name="stock_shelf_not_negative"),
            models.CheckConstraint(
                condition=Q(reserved__gte=0) & Q(reserved__lte=F("shelf")), name="stock_reserved_within_shelf"
            ),
            models.CheckConstraint(condition=Q(cores__gte=0), name="stock_cores_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.part_id}: {self.shelf}"

    @property
    def free(self) -> int:
        return self.shelf - self.reserved


class Lot(models.Model):
    """A batch of a part, or one piece with its serial number: `quantity` of it on the shelf. `barred`: why it is not to
    be fitted any more; '' while nothing stands against it."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=60)
    serial = models.BooleanField(default=False)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="lots", null=True, blank=True)
    received_on = models.DateField()
    quantity = models.IntegerField(default=0)
    barred = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["received_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["part", "number"], name="lot_number_once_a_part"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="lot_quantity_not_negative"),
            models.CheckConstraint(condition=Q(serial=False) | Q(quantity__lte=1), name="lot_serial_one_piece"),
        ]

    def __str__(self) -> str:
        return self.number


class MovementKind(models.TextChoices):
    RECEIVED = "received", _("Received")
    ISSUED = "issued", _("Issued to a job")
    RETURNED = "returned", _("Returned from a job")
    COUNTED = "counted", _("Counted")
    SCRAPPED = "scrapped", _("Scrapped")
    CORE = "core", _("Core taken back")
    REBUILT = "rebuilt", _("Rebuilt")
    RESERVED = "reserved", _("Reserved")
    RELEASED = "released", _("Released")
    UNDONE = "undone", _("Taken back")


class AppendOnlyMovements(models.QuerySet["Movement"]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError("movements are never changed")

    def delete(self) -> NoReturn:
        raise AppendOnlyError("movements are never deleted")


_SIGNS = (
    Q(kind="received", shelf__gt=0, reserved=0, cores=0)
    | Q(kind="issued", shelf__lt=0, reserved__lte=0, cores=0)
    | Q(kind="returned", shelf__gt=0, reserved=0, cores=0)
    | Q(kind="counted", reserved=0)
    | Q(kind="scrapped", shelf__lte=0, reserved=0, cores__lte=0)
    | Q(kind="core", shelf=0, reserved=0, cores__gt=0)
    | Q(kind="rebuilt", shelf__gt=0, reserved=0, cores__lt=0, shelf=-F("cores"))
    | Q(kind="reserved", shelf=0, reserved__gt=0, cores=0)
    | Q(kind="released", shelf=0, reserved__lt=0, cores=0)
    | Q(kind="undone", undoes__isnull=False)
)


class Movement(models.Model):
    """`price`: paid net a piece, of what was received. `unit`: what was fitted from it. `undoes`: the movement that
    this one takes back; a movement is taken back once."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="movements")
    seq = models.PositiveIntegerField()
    kind = models.CharField(max_length=8, choices=MovementKind)
    shelf = models.IntegerField(default=0)
    reserved = models.IntegerField(default=0)
    cores = models.IntegerField(default=0)
    shelf_after = models.IntegerField()
    reserved_after = models.IntegerField()
    cores_after = models.IntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements", null=True, blank=True)
    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="movements", null=True, blank=True)
    need = models.ForeignKey("parts.Need", on_delete=models.PROTECT, related_name="movements", null=True, blank=True)
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="receipts", null=True, blank=True)
    unit = models.ForeignKey("diagnostics.Unit", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    why = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    undoes = models.OneToOneField("self", on_delete=models.PROTECT, related_name="undone_by", null=True, blank=True)

    objects = AppendOnlyMovements.as_manager()

    class Meta:
        ordering = ["part", "-seq"]
        indexes = [
            models.Index(fields=["part", "at"]),
            models.Index(fields=["kind", "at"]),
            models.Index(fields=["-at", "-id"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["part", "seq"], name="movement_one_after_the_other"),
            models.CheckConstraint(condition=_SIGNS, name="movement_kind_and_signs"),
            models.CheckConstraint(condition=~Q(shelf=0, reserved=0, cores=0), name="movement_moves_something"),
            models.CheckConstraint(
                condition=Q(shelf_after__gte=0)
                & Q(cores_after__gte=0)
                & Q(reserved_after__gte=0)
                & Q(reserved_after__lte=F("shelf_after")),
                name="movement_balances_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(job__isnull=False) | ~Q(kind__in=["issued", "returned", "reserved", "released"]),
                name="movement_of_a_job_names_it",
            ),
            models.CheckConstraint(
                condition=~Q(why="") | ~Q(kind__in=["counted", "scrapped", "undone"]), name="movement_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id} #{self.seq} {self.kind}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise AppendOnlyError("movements are never changed")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise AppendOnlyError("movements are never deleted")
