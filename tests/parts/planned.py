"""A kept shelf plan for tests of its pages, from documents as parts/plan_document.py makes them."""

import datetime as dt
from typing import Any

from parts.models import Offer, Part, PlanLine, ShelfPlan, Supplier
from parts.services.plan import computed, plan_keep
from shop.models import Car

DAY = dt.date(2026, 6, 1)


def offered(part: Part, *, price: str = "30.00", pack: int = 1, days: int | None = 5) -> Offer:
    supplier, _made = Supplier.objects.get_or_create(name="Ostermark Parts", defaults={"lead_days": days})
    return Offer.objects.create(part=part, supplier=supplier, price=price, pack=pack, preferred=True)


def a_plan(*wanted: tuple[Part, int], as_of: dt.date = DAY, **more: Any) -> ShelfPlan:
    """A plan that suggests so many of each part, whatever the shop's record says."""
    whole, lines = computed(as_of, 12)
    pieces = {part.pk: count for part, count in wanted}
    for line in lines:
        line |= {"quantity": pieces.get(line["key"], 0), "wanted": pieces.get(line["key"], 0), **more}
    return plan_keep(as_of=as_of, months=12, whole=whole, lines=lines, by=None)


def line_of(plan: ShelfPlan, part: Part) -> PlanLine:
    return plan.lines.get(part=part)


def needing(car: Car, **more: Any) -> dict[str, Any]:
    """A car as a plan keeps it of a part that it may need."""
    return {
        "car": car.pk, "system": "rht-trio", "position": "BG3", "made": "2009-03",
        "fails": 0.2, "comes": 0.5, "quarters": [0.08, 0.06, 0.04, 0.02],
    } | more  # fmt: skip
