"""What stood at each position of a car over its life, and which production ranges the car falls in."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from diagnostics.charts.lives import Life, LifeChart, Place, life_chart
from diagnostics.charts.words import made_in_words
from diagnostics.engine.faults import mode_words
from diagnostics.models import Unit, Work
from diagnostics.selectors.history import PositionUnits, units_of_car
from diagnostics.selectors.ranges import FoundHere, ranges_shown
from shop.models import Car, Job


@dataclass(frozen=True, slots=True)
class LifeRow:
    """One unit of the table beside the chart: `part` its number, `start` None where nobody knows, `km` what the car had
    run at most by then (None: not read before), `age` whole years at the place."""

    position: str
    name: str
    part: str
    original: bool
    start: date | None
    end: date | None
    why: str
    km: int | None
    age: int


@dataclass(frozen=True, slots=True)
class Failure:
    position: str
    on: date
    words: str
    job: Job
    km: int | None


@dataclass(frozen=True, slots=True)
class CarLives:
    """`rows` of positions where something was exchanged, `failures` newest last; the chart has every position."""

    chart: LifeChart
    rows: tuple[LifeRow, ...]
    failures: tuple[Failure, ...]


def lives_of_car(car: Car, today: date | None = None) -> CarLives:
    """Four queries. A fault is told by the work that took it away; a part changed as a precaution did not fail."""
    today = today or timezone.localdate()
    readings = sorted(car.odometer.values_list("read_on", "km"))
    units = units_of_car(car)
    failures = _failures(car, readings)
    failed: dict[str, list[date]] = defaultdict(list)
    for one in failures:
        failed[one.position].append(one.on)
    places = [Place(one.position, _lives(one, car), tuple(failed.pop(one.position, ()))) for one in units]
    places += [Place(position, (), tuple(days)) for position, days in sorted(failed.items())]
    rows = tuple(_life_row(place, unit, car, readings, today) for place in units for unit in place.units)
    return CarLives(life_chart(places, readings, car.made_on, today), rows, failures)


def ranges_of_car(car: Car) -> list[tuple[FoundHere, str, bool]]:
    """Production ranges that are shown and that the car was made in, each with its words and whether an original unit
    of them is still fitted. None where the car's month is not known: a year may lie half inside."""
    if car.year_only or not car.system:
        return []
    within = [one for one in ranges_shown(car.system) if one.row.first <= car.made_on <= one.row.last]
    exchanged = set(Unit.objects.filter(car=car).exclude(fitted_on=None).values_list("position", flat=True))
    return [(one, made_in_words(one.range), not exchanged.issuperset(one.row.positions)) for one in within]


def _lives(place: PositionUnits, car: Car) -> tuple[Life, ...]:
    if not place.units:  # never touched here: the original is there
        return (Life(car.made_on),)
    return tuple(Life(unit.fitted_on or car.made_on, unit.removed_on) for unit in place.units)


def _failures(car: Car, readings: Sequence[tuple[date, int]]) -> tuple[Failure, ...]:
    rows = Work.objects.filter(job__car=car).exclude(mode__in=["", Work.PRECAUTION]).select_related("job")
    found = []
    for one in rows.order_by("at", "pk"):
        on = timezone.localdate(one.at)
        found.append(Failure(one.position, on, mode_words(one.mode), one.job, _km(readings, on)))
    return tuple(found)


def _life_row(place: PositionUnits, unit: Unit, car: Car, readings: Sequence[tuple[date, int]], today: date) -> LifeRow:
    start, end = unit.fitted_on or car.made_on, unit.removed_on
    return LifeRow(
        position=place.position,
        name=place.name,
        part=unit.part or place.original_part,
        original=unit.fitted_on is None,
        start=unit.fitted_on,
        end=end,
        why=unit.removed_why,
        km=_km(readings, end or today),
        age=((end or today) - start).days // 365,
    )


def _km(readings: Sequence[tuple[date, int]], on: date) -> int | None:
    """The newest reading up to that day."""
    at = bisect_right(readings, on, key=lambda one: one[0])
    return readings[at - 1][1] if at else None
