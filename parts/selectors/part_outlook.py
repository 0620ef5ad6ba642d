"""What the newest shelf plan says of one part: what will be asked for, and which cars will need it."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Max
from django.utils.translation import gettext as _

from diagnostics.charts.svg import svg_for_page
from diagnostics.charts.words import range_phrase
from diagnostics.engine.faults import mode_words
from diagnostics.models import ProductionRange
from diagnostics.selectors.learning import snapshot_of
from diagnostics.selectors.ranges import SHOWN
from parts.forecast_chart import demand_figure
from parts.models import Movement, Part, PlanLine, ShelfPlan
from parts.selectors.asked import asked_by_month
from parts.selectors.plan import LineShown, line_shown
from shop.models import Car

PAST = 24
"""Months of the ledger beside the forecast."""
CARS = 50
"""As many as the plan keeps of a part (parts.planning.demand.who_will_need)."""


@dataclass(frozen=True, slots=True)
class Planned:
    """The line of the newest `plan` that a part is planned by; `by`: the part that supersedes it where that one is
    planned instead; `moved`: something has moved since."""

    plan: ShelfPlan
    line: LineShown
    by: Part | None
    moved: bool


@dataclass(frozen=True, slots=True)
class MonthRow:
    """`asked`: pieces in a month that is over; `mean`, `low`, `high` of one that comes."""

    month: dt.date
    asked: int | None = None
    mean: float | None = None
    low: int | None = None
    high: int | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    planned: Planned
    rows: tuple[MonthRow, ...]
    svg: str


@dataclass(frozen=True, slots=True)
class NeederRow:
    """`pieces`: the chance that this unit fails and its car comes, which is what it asks for on average."""

    car: Car
    position: str
    made: str
    fails: float
    comes: float
    quarters: tuple[float, ...]

    @property
    def pieces(self) -> float:
        return self.fails * self.comes


@dataclass(frozen=True, slots=True)
class RangeGroup:
    """Cars of one production range (`range` None: of none that is known), the likeliest first; `quarters` what they ask
    for in each three months from the plan on."""

    range: ProductionRange | None
    words: str
    rows: tuple[NeederRow, ...]

    @property
    def pieces(self) -> float:
        return sum(row.pieces for row in self.rows)

    @property
    def quarters(self) -> tuple[float, ...]:
        return tuple(
            sum(chance * row.comes for chance, row in zip(column, self.rows, strict=True))
            for column in zip(*(row.quarters for row in self.rows), strict=True)
        )


@dataclass(frozen=True, slots=True)
class CarsThatNeed:
    """`left`: pieces that known cars ask for beyond those that are listed; None where the plan goes by the ledger and
    does not tell. `begins`: the first day of each three months."""

    planned: Planned
    groups: tuple[RangeGroup, ...]
    begins: tuple[dt.date, ...]
    left: float | None


def planned(part: Part) -> Planned | None:
    """None while no plan was made or it says nothing of the part. Five queries at most."""
    plan = ShelfPlan.objects.order_by("-made_at", "-pk").first()
    if plan is None:
        return None
    lines = plan.lines.select_related("part", "order_line__order", "decided_by")
    row = lines.filter(part=part).first() or _line_of_newer(lines, part)
    if row is None:
        return None
    last = Movement.objects.filter(part=part).aggregate(last=Max("at"))["last"]
    return Planned(
        plan, line_shown(row), row.part if row.part_id != part.pk else None, last is not None and last > plan.made_at
    )


def forecast(part: Part) -> Forecast | None:
    found = planned(part)
    if found is None:
        return None
    told = found.line.told
    asked = asked_by_month([(told["part"], *told["supersedes"])], found.plan.as_of)[0][-PAST:]
    first = found.plan.as_of.year * 12 + found.plan.as_of.month - 1 - len(asked)
    past = [MonthRow(_first_day(first + at), asked=round(pieces)) for at, pieces in enumerate(asked)]
    coming = [
        MonthRow(dt.date.fromisoformat(f"{one['month']}-01"), mean=one["mean"], low=one["low"], high=one["high"])
        for one in told["months"]
    ]
    return Forecast(found, (*past, *coming), _picture(told, past))


def cars_that_need(part: Part) -> CarsThatNeed | None:
    """None where nothing is planned, or the plan was made before plans kept their cars."""
    found = planned(part)
    if found is None or "cars" not in found.line.told:
        return None
    told = found.line.told
    ranges = _ranges_of((told["part"], *told["supersedes"]))
    rows = _rows(told["cars"])
    groups: dict[int, list[NeederRow]] = {}
    for system, row in rows:
        covering = next((one for one in ranges if _covers(one, system, row)), None)
        groups.setdefault(covering.pk if covering else 0, []).append(row)
    by_key = {one.pk: one for one in ranges}
    made = [RangeGroup(by_key.get(key), _range_words(by_key.get(key)), tuple(mine)) for key, mine in groups.items()]
    made.sort(key=lambda one: -one.pieces)
    known = told["sources"]["known"]
    listed = sum(one.pieces for one in made)
    left = max(known * len(told["months"]) / 12 - listed, 0.0) if known is not None else None
    now = found.plan.as_of.year * 12 + found.plan.as_of.month - 1
    count = max((len(row.quarters) for _system, row in rows), default=0)
    return CarsThatNeed(found, tuple(made), tuple(_first_day(now + 3 * at) for at in range(count)), left)


def _line_of_newer(lines: Any, part: Part) -> PlanLine | None:
    """A superseded part is planned with the last of its chain."""
    return next((row for row in lines.all() if part.number in row.document["supersedes"]), None)


def _picture(told: Mapping[str, Any], past: Sequence[MonthRow]) -> str:
    came = [(f"{row.month:%Y-%m}", float(row.asked or 0)) for row in past]
    coming = [(one["month"], one["mean"], one["low"], one["high"]) for one in told["months"]]
    words = _("{asked} pieces asked for in the last {months} months; {expected} expected in the next {more}.").format(
        asked=round(sum(pieces for _month, pieces in came)), months=len(came),
        expected=round(sum(one[1] for one in coming), 1), more=len(coming),
    )  # fmt: skip
    title = _("Pieces of {part} by month").format(part=told["part"])
    return svg_for_page(demand_figure(came, coming), prefix="demand", title=title, description=words)


def _rows(told: Iterable[Mapping[str, Any]]) -> list[tuple[str, NeederRow]]:
    """(system, row); a car that was found to be written down twice is the one that was kept."""
    cars = Car.objects.select_related("merged_into").in_bulk([one["car"] for one in told])
    found = []
    for one in told:
        car = cars.get(one["car"])
        if car is None:
            continue
        shown = car.merged_into or car
        row = NeederRow(shown, one["position"], one["made"], one["fails"], one["comes"], tuple(one["quarters"]))
        found.append((one["system"], row))
    return found


def _ranges_of(numbers: Sequence[str]) -> list[ProductionRange]:
    """Confirmed ones first, then the likeliest."""
    wanted = {number.casefold() for number in numbers}
    found = [one for one in ProductionRange.objects.filter(state__in=SHOWN) if one.part.casefold() in wanted]
    return sorted(found, key=lambda one: (one.state != "confirmed", -one.probability, one.pk))


def _covers(one: ProductionRange, system: str, row: NeederRow) -> bool:
    """A car of which only the year is known lies in a range that holds its whole year."""
    year_only = len(row.made) == 4
    first = dt.date.fromisoformat(f"{row.made}-01-01" if year_only else f"{row.made}-01")
    last = first.replace(month=12) if year_only else first
    return one.system == system and row.position in one.positions and one.first <= first and last <= one.last


def _range_words(one: ProductionRange | None) -> str:
    if one is None:
        return _("Outside any known production range")
    _model, found = snapshot_of(one)
    return _("Made {months}: {mode}").format(months=range_phrase(found), mode=mode_words(one.mode))


def _first_day(month: int) -> dt.date:
    return dt.date(month // 12, month % 12 + 1, 1)
