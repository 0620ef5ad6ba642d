"""What is on its way from suppliers, and when a job's missing part will be there."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import F

from parts.models import Need, NeedState, OrderLine, OrderState, Part
from shop.models import Stage


@dataclass(frozen=True, slots=True)
class Coming:
    """Pieces of one part still to come with one order; `on` None: no day is known."""

    line: OrderLine
    pieces: int
    on: dt.date | None


@dataclass(frozen=True, slots=True)
class Arrival:
    """What is known of the missing pieces of a need: whether all of them are ordered, and the day when the last of them
    is expected, None where no day is known."""

    ordered: bool
    on: dt.date | None


def coming(parts: Iterable[Part]) -> dict[int, tuple[Coming, ...]]:
    """Part key -> what is ordered and not here, the soonest first; one query."""
    lines = (
        OrderLine.objects.filter(part__in=list(parts), order__state=OrderState.SENT)
        .filter(quantity__gt=F("received") + F("given_up"))
        .select_related("order__supplier")
        .order_by(F("order__expected_on").asc(nulls_last=True), "pk")
    )
    found: dict[int, list[Coming]] = {}
    for line in lines:
        found.setdefault(line.part_id, []).append(Coming(line, line.open, line.order.expected_on))
    return {key: tuple(rows) for key, rows in found.items()}


def waiting(parts: Iterable[Part]) -> list[Need]:
    """Needs of open jobs that miss pieces of these parts, in the order in which they are served: what is surely needed
    first, then who asked first."""
    missing = Need.objects.filter(part__in=list(parts), state=NeedState.OPEN, quantity__gt=F("held") + F("issued"))
    open_jobs = missing.exclude(job__stage__in=[Stage.DONE, Stage.GONE])
    return list(open_jobs.select_related("job", "part", "task_part").order_by("-chance", "asked_at", "pk"))


def arrivals(parts: Iterable[Part]) -> dict[int, Arrival]:
    """Need key -> what is known of its missing pieces, for all needs that miss pieces of these parts; two queries."""
    parts = list(parts)
    orders, by_part = coming(parts), dict[int, list[Need]]()
    for need in waiting(parts):
        by_part.setdefault(need.part_id, []).append(need)
    return {key: arrival for part, needs in by_part.items() for key, arrival in _arrivals(needs, orders.get(part, ()))}


def _arrivals(needs: Sequence[Need], orders: Sequence[Coming]) -> Iterable[tuple[int, Arrival]]:
    """Of one part: pieces still to come are dealt out to the needs in the order in which they are served."""
    pieces = iter([one.on for one in orders for _piece in range(one.pieces)])
    for need in needs:
        mine = [day for _piece, day in zip(range(need.missing), pieces, strict=False)]
        known = [day for day in mine if day is not None]
        ordered = len(mine) == need.missing
        yield need.pk, Arrival(ordered, max(known) if ordered and len(known) == len(mine) else None)
