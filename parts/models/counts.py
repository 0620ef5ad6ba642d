"""Stocktakes: what was counted, beside what the ledger expected at that moment."""

from django.db import models
from django.db.models import Q

from parts.models.catalogue import Part
from parts.models.ledger import Lot


class Stocktake(models.Model):
    """One count of the shelf or of a part of it; its differences are booked when it is closed."""

    begun_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=140, blank=True)

    class Meta:
        ordering = ["-begun_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.begun_at:%Y-%m-%d}"


class CountLine(models.Model):
    """`counted` pieces of a part (of one lot, where it is followed) beside the `expected` that the ledger had when they
    were counted: what moves after that changes the difference of neither."""

    stocktake = models.ForeignKey(Stocktake, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="count_lines")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="count_lines", null=True, blank=True)
    counted = models.PositiveIntegerField()
    expected = models.PositiveIntegerField()
    why = models.CharField(max_length=140, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["stocktake", "part", "lot"]
        constraints = [
            models.UniqueConstraint(
                fields=["stocktake", "part"], condition=Q(lot__isnull=True), name="countline_part_once"
            ),
            models.UniqueConstraint(
                fields=["stocktake", "lot"], condition=Q(lot__isnull=False), name="countline_lot_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id}: {self.counted}"

    @property
    def difference(self) -> int:
        return self.counted - self.expected
