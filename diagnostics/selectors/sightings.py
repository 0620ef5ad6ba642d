"""Reads of sightings: everything as columns for the learning, what is fitted in one car and was last seen good."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Any

import numpy as np
from django.db.models import Exists, Max, OuterRef, QuerySet, Sum

from diagnostics.engine.faults import MODE_BITS, modes_in
from diagnostics.learning.columns import UNKNOWN_SINCE, Observations
from diagnostics.learning.records import CLIMATES, Bools, Ints, month_of
from diagnostics.models import Sighting, Unit
from shop.models import Car

AT_ONCE = 20_000
"""Rows that are read before they become columns."""
_UNIT = ("car_id", "system", "position", "part", "revision", "since")
_NAMED = ("system", "position", "part", "revision")
_MODES = tuple(MODE_BITS)


def observations(*, system: str | None = None, part: str | None = None, until: date | None = None) -> Observations:
    """All sightings (of a system, of a part, up to and on a day) as columns, by unit and day, the failure of a day
    first. Three queries, streamed, the same on every database.

    Where nothing ever failed at a position of a car, what was seen good again and again comes as the last day of it:
    earlier days of the same modes tell nothing more.
    """
    rows = Sighting.objects.order_by()
    if system is not None:
        rows = rows.filter(system=system)
    if part is not None:
        rows = rows.filter(part=part)
    failures = Sighting.objects.filter(car=OuterRef("car"), position=OuterRef("position")).exclude(failed="")
    if until is not None:
        rows, failures = rows.filter(on__lte=until), failures.filter(on__lte=until)
    rows = rows.annotate(ever_failed=Exists(failures))
    whole = rows.filter(ever_failed=True).values_list(*_UNIT, "good", "failed", "mended", "on", "observations")
    sound = (
        rows.filter(ever_failed=False)
        .values(*_UNIT, "good", "failed", "mended")
        .annotate(day=Max("on"), checks=Sum("observations"))
        .values_list(*_UNIT, "good", "failed", "mended", "day", "checks")
    )
    columns = _Columns()
    for query in (whole, sound):
        stream = query.iterator(chunk_size=AT_ONCE)
        while some := tuple(islice(stream, AT_ONCE)):
            columns.add(some)
    return columns.observations(Car.objects.filter(pk__in=rows.values("car_id")))


class _Columns:
    """Rows made columns as they come; names are numbered as they appear, and in alphabetical order at the end."""

    def __init__(self) -> None:
        self.names: dict[str, dict[str, int]] = {name: {} for name in _NAMED}
        self.parts: list[Ints] = []

    def add(self, rows: Sequence[tuple[Any, ...]]) -> None:
        car, *named, since, good, failed, mended, day, checks = zip(*rows, strict=True)
        codes = [_numbered(self.names[name], values) for name, values in zip(_NAMED, named, strict=True)]
        fitted = [UNKNOWN_SINCE if one is None else one.toordinal() for one in since]
        modes = [_MODES.index(one) if one else -1 for one in failed]
        days = [one.toordinal() for one in day]
        columns = (car, *codes, fitted, good, modes, mended, days, checks)
        self.parts.append(np.array([np.array(one, dtype=np.int64) for one in columns]))

    def observations(self, cars: QuerySet[Car]) -> Observations:
        table = np.concatenate(self.parts, axis=1) if self.parts else np.empty((11, 0), dtype=np.int64)
        car, since, good, failed, mended, day, checks = (table[i] for i in (0, 5, 6, 7, 8, 9, 10))
        ordered = [self._alphabetical(name, table[1 + i]) for i, name in enumerate(_NAMED)]
        unit = _unit(np.array([car, *(codes for codes, _names in ordered), since]))
        order = np.lexsort((checks, good, failed < 0, day, unit))
        (month, year_only, climate, known), place = _facts(cars, car)
        return Observations(
            unit=unit[order],
            car=car[order],
            system_code=ordered[0][0][order],
            position_code=ordered[1][0][order],
            part_code=ordered[2][0][order],
            revision_code=ordered[3][0][order],
            month=month[place][order],
            year_only=year_only[place].astype(bool)[order],
            climate=climate[place][order],
            since_day=since[order],
            known_day=known[place][order],
            day=day[order],
            good=good[order],
            failed=failed[order],
            mended=mended.astype(bool)[order],
            checks=checks[order],
            row=np.zeros(len(order), dtype=np.int64),
            systems=ordered[0][1],
            positions=ordered[1][1],
            parts=ordered[2][1],
            revisions=ordered[3][1],
            modes=_MODES,
        )

    def _alphabetical(self, name: str, codes: Ints) -> tuple[Ints, tuple[str, ...]]:
        known = self.names[name]
        names = sorted(known)
        place = np.empty(len(names), dtype=np.int64)
        place[[known[one] for one in names]] = np.arange(len(names))
        return place[codes], tuple(names)


def _numbered(known: dict[str, int], values: Iterable[str]) -> list[int]:
    return [known.setdefault(value, len(known)) for value in values]


def _unit(keys: Ints) -> Ints:
    """(n,) one number for equal columns of `keys`."""
    order = np.lexsort(keys[::-1])
    changes: Bools = np.any(np.diff(keys[:, order], axis=1) != 0, axis=0)
    found = np.empty(keys.shape[1], dtype=np.int64)
    found[order] = np.concatenate([[0], np.cumsum(changes)])[: len(order)]
    return found


def _facts(cars: QuerySet[Car], wanted: Ints) -> tuple[Ints, Ints]:
    """(4, c) month, year only, climate, day from which the history is known of each car, and where each stands."""
    rows = cars.order_by("pk").values_list("pk", "made_on", "year_only", "climate", "known_from")
    facts = [
        (pk, month_of(made), year_only, CLIMATES.index(climate), known.toordinal() if known else 0)
        for pk, made, year_only, climate, known in rows.iterator(chunk_size=AT_ONCE)
    ]
    table = np.array(facts, dtype=np.int64).reshape(-1, 5).T
    return table[1:], np.searchsorted(table[0], wanted)


@dataclass(slots=True)
class Clock:
    """One mode of the unit that is fitted: the day from which its age in it counts (None: since the car was made; after
    a repair in place, the day of that), and the last day it was seen good since (None: never)."""

    since: date | None
    good: date | None = None


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is fitted in a car: units by position (none where the original was never taken off), clocks by position and
    mode."""

    units: Mapping[str, Unit]
    clocks: Mapping[tuple[str, str], Clock]

    def clock(self, position: str, mode: str) -> Clock:
        unit = self.units.get(position)
        return self.clocks.get((position, mode)) or Clock(unit.fitted_on if unit else None)


def fitted_in(car: Car, *, without_job: int | None = None) -> Fitted:
    """What is fitted now, or was before a job (its key) that is left out with all that was seen on it. Two queries."""
    units: dict[str, Unit] = {}
    for unit in Unit.objects.filter(car=car):
        removed = unit.removed_on is not None and (without_job is None or unit.removed_job_id != without_job)
        if not removed and (without_job is None or unit.fitted_job_id != without_job):
            units[unit.position] = unit
    clocks: dict[tuple[str, str], Clock] = {}
    rows = Sighting.objects.filter(car=car).exclude(sheet__job_id=without_job or 0)
    for row in sorted(rows, key=lambda one: (one.on, not one.failed, one.pk)):
        there = units.get(row.position)
        if there is not None and (row.since, row.part, row.revision) != (there.fitted_on, there.part, there.revision):
            continue
        for mode in modes_in(row.good):
            clocks.setdefault((row.position, mode), Clock(row.since)).good = row.on
        if row.failed:
            clocks[row.position, row.failed] = Clock(row.on if row.mended else row.since)
    return Fitted(units, clocks)
