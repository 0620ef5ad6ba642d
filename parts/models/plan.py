"""The shelf plan: what to order, when, how many, why; and what somebody decided of it."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from parts.models.catalogue import Part
from parts.models.orders import OrderLine


class ShelfPolicy(models.Model):
    """What the shop wants of its shelf; one row. `ready_rate`: share of pieces asked for that are to be there when they
    are asked for. `holding_rate`: cost of holding a piece for a year, as a share of its price. `order_cost`: what one
    order costs. `budget`: the sum that a plan may spend at most, null for none. `review_days`: days between two looks
    at the plan."""

    ready_rate = models.FloatField(default=0.95, validators=[MinValueValidator(0.5), MaxValueValidator(0.999)])
    holding_rate = models.FloatField(default=0.2, validators=[MinValueValidator(0.01), MaxValueValidator(2.0)])
    order_cost = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("12.00"))
    budget = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    review_days = models.PositiveSmallIntegerField(default=7, validators=[MinValueValidator(1), MaxValueValidator(90)])

    class Meta:
        verbose_name_plural = "shelf policy"
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="shelfpolicy_one_row"),
            models.CheckConstraint(
                condition=Q(ready_rate__gte=0.5) & Q(ready_rate__lte=0.999), name="shelfpolicy_ready_rate_within"
            ),
            models.CheckConstraint(
                condition=Q(holding_rate__gte=0.01) & Q(holding_rate__lte=2.0), name="shelfpolicy_holding_rate_within"
            ),
            models.CheckConstraint(
                condition=Q(order_cost__gte=0) & (Q(budget__isnull=True) | Q(budget__gte=0)),
                name="shelfpolicy_money_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(review_days__gte=1) & Q(review_days__lte=90), name="shelfpolicy_review_within"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.ready_rate:.0%}"


class ShelfPlan(models.Model):
    """One plan as of a day, over `months`. `document`: the policy it was made by and its totals."""

    as_of = models.DateField()
    months = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    fingerprint = models.CharField(max_length=64)
    document = models.JSONField(default=dict)

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.as_of:%Y-%m-%d}"


class Decision(models.TextChoices):
    OPEN = "open", _("Not decided")
    ACCEPTED = "accepted", _("Accepted")
    CHANGED = "changed", _("Changed")
    LEFT = "left", _("Left out")


class PlanLine(models.Model):
    """What the plan says of one part: `suggested` pieces to order now, `reorder_point` and `up_to`; `document`: the
    forecast and the reasons (parts/planning). `quantity`: what somebody decided; a change or leaving out says why."""

    plan = models.ForeignKey(ShelfPlan, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="plan_lines")
    suggested = models.PositiveIntegerField()
    reorder_point = models.IntegerField()
    up_to = models.IntegerField()
    document = models.JSONField(default=dict)
    decision = models.CharField(max_length=8, choices=Decision, default=Decision.OPEN)
    quantity = models.PositiveIntegerField(null=True, blank=True)
    why = models.CharField(max_length=200, blank=True)
    decided_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    order_line = models.ForeignKey(
        OrderLine, on_delete=models.SET_NULL, related_name="plan_lines", null=True, blank=True
    )

    class Meta:
        ordering = ["plan", "part"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "part"], name="planline_part_once"),
            models.CheckConstraint(condition=Q(decision__in=Decision.values), name="planline_decision_known"),
            models.CheckConstraint(
                condition=Q(decision="open", decided_at__isnull=True)
                | (~Q(decision="open") & Q(decided_at__isnull=False)),
                name="planline_decided_has_time",
            ),
            models.CheckConstraint(
                condition=~Q(decision__in=["changed", "left"]) | ~Q(why=""), name="planline_change_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_id}: {self.suggested}"
