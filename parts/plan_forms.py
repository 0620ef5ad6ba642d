"""What people type on the shelf plan's page."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from parts.models import ShelfPolicy
from parts.services.ledger import MOST


class PolicyForm(forms.Form):
    """Shares are typed in per cent."""

    ready = forms.FloatField(
        label=_("Pieces that are there when asked for, %"), min_value=50, max_value=99.9,
        widget=forms.NumberInput(attrs={"step": "0.1"}),
    )  # fmt: skip
    holding = forms.FloatField(
        label=_("Cost of holding a piece for a year, % of its price"), min_value=1, max_value=200,
        widget=forms.NumberInput(attrs={"step": "0.5"}),
    )  # fmt: skip
    order_cost = forms.DecimalField(
        label=_("What one order costs beside the pieces"), min_value=0, max_digits=8, decimal_places=2
    )
    budget = forms.DecimalField(
        label=_("At most to spend on a plan (empty: no limit)"), min_value=0, max_digits=10, decimal_places=2,
        required=False,
    )  # fmt: skip
    review_days = forms.IntegerField(label=_("Days between two looks at the plan"), min_value=1, max_value=90)

    @staticmethod
    def of(policy: ShelfPolicy) -> dict[str, Any]:
        """The form's values for a policy."""
        return {
            "ready": round(policy.ready_rate * 100, 3),
            "holding": round(policy.holding_rate * 100, 3),
            "order_cost": policy.order_cost,
            "budget": policy.budget,
            "review_days": policy.review_days,
        }

    def policy(self) -> ShelfPolicy:
        told = self.cleaned_data
        return ShelfPolicy(
            ready_rate=round(told["ready"] / 100, 6),
            holding_rate=round(told["holding"] / 100, 6),
            order_cost=told["order_cost"],
            budget=told["budget"],
            review_days=told["review_days"],
        )


class DecideForm(forms.Form):
    """One line: how many to order, and why another number than suggested."""

    quantity = forms.IntegerField(label=_("Pieces"), min_value=0, max_value=MOST)
    why = forms.CharField(label=_("Why another number"), max_length=200, required=False)
