"""How parts stand: what lies on the shelf, what is on its way, and when it runs out."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from parts.models import Part, PlanLine, ShelfPlan, Stock
from parts.selectors.coming import Coming, coming


@dataclass(frozen=True, slots=True)
class Standing:
    """`coming`: the soonest first. `runs_out_on` as the newest shelf plan says it, None where it says nothing."""

    stock: Stock
    coming: tuple[Coming, ...]
    runs_out_on: dt.date | None

    @property
    def on_order(self) -> int:
        """Pieces that are ordered and not here."""
        return sum(one.pieces for one in self.coming)

    @property
    def expected_on(self) -> dt.date | None:
        """The day of the first delivery, where one is known."""
        return next((one.on for one in self.coming if one.on is not None), None)


def standings(parts: Iterable[Part]) -> dict[int, Standing]:
    """Part key -> how it stands; two queries for parts that were read together with their `stock`."""
    parts = list(parts)
    orders, days = coming(parts), _runs_out(parts)
    return {
        part.pk: Standing(getattr(part, "stock", None) or Stock(part=part), orders.get(part.pk, ()), days.get(part.pk))
        for part in parts
    }


def _runs_out(parts: Iterable[Part]) -> dict[int, dt.date]:
    newest = ShelfPlan.objects.order_by("-made_at", "-pk").values("pk")[:1]
    lines = PlanLine.objects.filter(plan=newest, part__in=parts).values_list("part", "document")
    days = ((part, document.get("runs_out_on")) for part, document in lines)
    return {part: dt.date.fromisoformat(day) for part, day in days if day}
