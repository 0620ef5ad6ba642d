"""Orders to suppliers."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from parts.models.catalogue import Part, Supplier


class OrderState(models.TextChoices):
    DRAFT = "draft", _("Draft")
    SENT = "sent", _("Sent")
    CLOSED = "closed", _("All here")
    CANCELLED = "cancelled", _("Cancelled")


class Order(models.Model):
    """An order to one supplier; one draft a supplier. `expected_on`: the day that the supplier confirmed, or that was
    reckoned when it was sent. `their_reference`: what the supplier calls it."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=10, choices=OrderState, default=OrderState.DRAFT)
    made_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    expected_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    their_reference = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]
        indexes = [models.Index(fields=["state", "expected_on"])]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=OrderState.values), name="order_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "cancelled"]) | Q(sent_at__isnull=False), name="order_sent_has_day"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "sent"], ended_at__isnull=True)
                | Q(state__in=["closed", "cancelled"], ended_at__isnull=False),
                name="order_ended_when_over",
            ),
            models.UniqueConstraint(fields=["supplier"], condition=Q(state="draft"), name="order_one_draft_a_supplier"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def number(self) -> str:
        return f"P{self.pk:05d}"


class OrderLine(models.Model):
    """`received` of `quantity` pieces are here; more than that only with `surplus_why`. `given_up`: pieces that will
    not come any more. `price`: net a piece as ordered."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.PositiveIntegerField()
    received = models.PositiveIntegerField(default=0)
    given_up = models.PositiveIntegerField(default=0)
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    why = models.CharField(max_length=240, blank=True)
    surplus_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["order", "part"], name="orderline_part_once"),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="orderline_one_or_more"),
            models.CheckConstraint(
                condition=Q(received__lte=F("quantity") - F("given_up")) | ~Q(surplus_why=""),
                name="orderline_surplus_says_why",
            ),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=Decimal(0)), name="orderline_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.part_id}"

    @property
    def open(self) -> int:
        """Pieces still to come."""
        return max(self.quantity - self.given_up - self.received, 0)
