"""The units behind a number of the failure patterns: the same that the learning counts (learning/spells.py)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

from django.db.models import Case, F, IntegerField, Min, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from diagnostics.engine.faults import MODE_BITS
from diagnostics.learning.records import MIDDLE_OF_MONTH, MIDDLE_OF_YEAR, first_day
from diagnostics.learning.spells import TINY_DAYS
from diagnostics.models import Sighting

Units = QuerySet[Sighting, dict[str, Any]]
_UNIT = ("car_id", "position", "part", "revision")
_CAR = tuple(f"car__{name}" for name in ("maker", "model", "plate", "vin", "made_on", "year_only", "known_from"))


@dataclass(frozen=True, slots=True)
class Counted:
    """Which units a number counts, all of them fitted when the car was made.

    `mode` '': of all modes together. `first`, `last`: production months, both included; a car of which only the year is
    known stands in its January. `window`: months (first, last) of a production range, of which the number counts the
    `inside` or what is outside; there a car of a known year is where most of its months are. `failed`: only those that
    failed so, or only those that did not. `part`, `revision`: None for every one.
    """

    system: str
    positions: tuple[str, ...]
    mode: str = ""
    part: str | None = None
    revision: str | None = None
    first: date | None = None
    last: date | None = None
    window: tuple[int, int] | None = None
    inside: bool = True
    failed: bool | None = None

    @property
    def modes(self) -> tuple[str, ...]:
        return (self.mode,) if self.mode else tuple(MODE_BITS)


@dataclass(frozen=True, slots=True)
class UnitTold:
    """One row of a list: `unit` as units_behind gives it, the last day it was seen good before it failed, what it
    failed in and when, and the sheet that tells it."""

    unit: Mapping[str, Any]
    last_good: date | None
    failures: Mapping[str, date]
    sheet: int


def units_behind(counted: Counted) -> Units:
    """One row a unit, failed ones first: car_id, car__maker, …model, …plate, …vin, …made_on, …year_only, …known_from,
    position, part, revision, first_failed (a day or None)."""
    units = _telling(counted).order_by().values(*_UNIT, *_CAR)
    units = units.annotate(first_failed=Min("on", filter=Q(broke__gt=0)))
    if counted.failed is not None:
        units = units.filter(first_failed__isnull=not counted.failed)
    found: Units = units.order_by(F("first_failed").asc(nulls_last=True), "car__made_on", *_UNIT)
    return found


def cars_behind(counted: Counted) -> int:
    return units_behind(counted).order_by().values("car_id").distinct().count()


def failures_behind(counted: Counted) -> int:
    """Failures of the units: of all modes together one unit may have failed in several."""
    if counted.failed is False:
        return 0
    failures = _telling(counted).order_by().values(*_UNIT, "failed", "broke")
    return int(failures.filter(Q(broke__gt=0)).distinct().count())


def units_told(counted: Counted, units: Sequence[Mapping[str, Any]]) -> list[UnitTold]:
    """What the sheets say of a page of units_behind. One query."""
    rows: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    of_cars = _telling(counted).filter(car__in={unit["car_id"] for unit in units}).order_by("on", "sheet_id")
    for row in of_cars.values(*_UNIT, "on", "failed", "fine", "broke", "sheet_id"):
        rows.setdefault(tuple(row[name] for name in _UNIT), []).append(row)
    return [_told(unit, rows[tuple(unit[name] for name in _UNIT)]) for unit in units]


def _told(unit: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> UnitTold:
    """What was seen of it after its failure is of a mended unit, and what before its car's history is not counted."""
    failures: dict[str, date] = {}
    for row in rows:
        if row["broke"]:
            failures.setdefault(row["failed"], row["on"])
    failed, known = unit["first_failed"] or date.max, unit["car__known_from"] or date.min
    good = [row["on"] for row in rows if row["fine"] and known < row["on"] < failed]
    telling = next((row for row in rows if row["broke"]), rows[-1])
    return UnitTold(unit, max(good, default=None), failures, telling["sheet_id"])


def _telling(counted: Counted) -> QuerySet[Sighting, Any]:
    """Sightings of units that the number counts which say something of its modes. `fine`, `broke`: bits of these
    modes that the row saw good, and failed."""
    rows = Sighting.objects.filter(system=counted.system, position__in=counted.positions, since__isnull=True)
    rows = rows.filter(_made(counted))
    if counted.part is not None:
        rows = rows.filter(part=counted.part)
    if counted.revision is not None:
        rows = rows.filter(revision=counted.revision)
    asked = sum(MODE_BITS[mode] for mode in counted.modes)
    rows = rows.annotate(counts=Value(asked) - _lost(counted.modes))
    counts: Any = F("counts")  # an expression does as well as the number that the stubs ask for
    rows = rows.annotate(fine=F("good").bitand(counts), broke=_bit(counted.modes).bitand(counts))
    return rows.filter(Q(fine__gt=0) | Q(broke__gt=0))


def _made(counted: Counted) -> Q:
    made = Q()
    if counted.first is not None:
        made &= Q(car__made_on__gte=counted.first.replace(day=1))
    if counted.last is not None:
        made &= Q(car__made_on__lte=counted.last.replace(day=1))
    if counted.window is None:
        return made
    first, last = counted.window
    within = Q(car__year_only=False, car__made_on__range=(first_day(first), first_day(last)))
    if last - first >= 5:  # six months of the year at least, as learning.ranges.tallies has it
        years = (first_day(first - 6), first_day(last - 5))
        within |= Q(car__year_only=True, car__made_on__range=years)
    return made & (within if counted.inside else ~within)


def _bit(modes: Sequence[str]) -> Case:
    bits = (When(failed=mode, then=Value(MODE_BITS[mode])) for mode in modes)
    return Case(*bits, default=Value(0), output_field=IntegerField())


def _lost(modes: Sequence[str]) -> Case:
    """Bits of the modes that the unit had failed in when the history of its car began: no life of it is counted.

    A day that is no later than a day after the middle of the month (year) of production is before nobody's time.
    """
    same = {name: OuterRef(name) for name in ("car", "system", "position", "part", "revision")}
    failed = Sighting.objects.filter(**same, since__isnull=True, failed__in=modes, on__lte=OuterRef("car__known_from"))
    bits = failed.order_by().values("car").annotate(bits=Sum(_bit(modes), distinct=True)).values("bits")
    late = Q()
    for year_only, middle in ((False, MIDDLE_OF_MONTH), (True, MIDDLE_OF_YEAR)):
        begins = F("car__made_on") + timedelta(days=ceil(middle + TINY_DAYS))
        late |= Q(car__year_only=year_only, car__known_from__gte=begins)
    then = Coalesce(Subquery(bits), 0, output_field=IntegerField())
    return Case(When(late, then=then), default=Value(0), output_field=IntegerField())
