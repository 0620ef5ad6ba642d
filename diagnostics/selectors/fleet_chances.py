"""All cars of a top system with what is fitted in them and what was learned of it: where the planning of parts asks."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.db.models import Count, Max, QuerySet
from django.utils import timezone

from diagnostics.engine.faults import MODES, modes_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.learning.fleet import NEVER, Cars, Cohort, Fleet, Way, half_made, half_of
from diagnostics.learning.records import CLIMATES, Ints, month_of
from diagnostics.models import BenchSheet, Sighting, Unit, Work, WorkKind
from diagnostics.selectors.failure_model import Fits, Key, Learned
from diagnostics.selectors.sightings import AT_ONCE
from diagnostics.selectors.suspects import diagnosis_of_sheet
from shop.models import Car, Job, Stage

USUALLY, SELDOM = 0.95, 0.05
"""Shares of failures in which a new part is fitted: where that is the repair of the mode, and where another is."""
WEIGHT_OF_USUAL = 5.0
"""How many repairs weigh as much as that; common practice, no source."""
APART = 2
"""Half months between two visits from which on they are two: what is done in several jobs of one stay is one."""


@dataclass(frozen=True, slots=True)
class OpenFault:
    """A suspect of an open job's newest sheet. `needs`: the chance that it is there and a new part is fitted for it."""

    job: int
    car: int
    position: str
    needs: float


def fleet_of(system: TopSystem, learned: Learned, on: date) -> Fleet:
    """The fleet as it stood on a day, with the models of today. Six queries, however large it is.

    Cars count from their first visit on (from when they were written down, where none is known); what was merged into
    another car is gone.
    """
    reading = _Reading(system, learned, on)
    visits = _Visits(reading.rows(Job.objects.exclude(stage=Stage.BOOKED), "car_id", "opened_at", "pk"), on)
    cars = reading.cars(visits)
    units = reading.units(cars, visits)
    return Fleet(
        system=system.system,
        now=reading.now,
        begins=visits.begins or reading.now,
        cars=cars,
        fitted=tuple(reading.cohorts(cars, units, fitted=True)),
        past=tuple(reading.cohorts(cars, units, fitted=False)),
        at_first=units.at_first,
    )


def open_faults(system: TopSystem, shares: Mapping[Key, float]) -> list[OpenFault]:
    """Suspects of the newest sheet of every open job of the system, which may be many and each take three queries and
    a diagnosis that is mostly at hand already: for work in the background. `shares` as from `part_shares`."""
    newest = (
        BenchSheet.objects.filter(job__car__system=system.system, revision__isnull=False)
        .exclude(job__stage__in=[Stage.DONE, Stage.GONE])
        .select_related("car", "revision")
        .order_by("job", "-opened_at", "-pk")
    )
    found, seen = [], set()
    for sheet in newest:
        diagnosis = diagnosis_of_sheet(sheet) if sheet.job_id not in seen else None
        seen.add(sheet.job_id)
        for one in diagnosis.suspects if diagnosis else ():
            share = shares.get((one.fault.position, one.fault.mode), 0.0)
            found.append(OpenFault(sheet.job_id, sheet.car_id, one.fault.position, one.probability * share))
    return found


def part_shares(system: TopSystem) -> dict[Key, float]:
    """(position, mode) -> in which share of such failures a new part is fitted, as the shop's repairs on positions of
    the kind say, drawn towards what is usual. One query."""
    done = Work.objects.filter(job__car__system=system.system).exclude(mode__in=["", Work.PRECAUTION])
    new, every = Counter[tuple[str, str]](), Counter[tuple[str, str]]()
    for position, mode, kind, count in done.order_by().values_list("position", "mode", "kind").annotate(n=Count("pk")):
        if position in system.positions:
            key = system.positions[position].kind, mode
            every[key] += count
            new[key] += count * (kind == WorkKind.REPLACE)
    usual = {
        (kind, mode.name): USUALLY if mode.repair == WorkKind.REPLACE else SELDOM
        for kind, modes in MODES.items()
        for mode in modes
    }
    share = {key: (WEIGHT_OF_USUAL * usual[key] + new[key]) / (WEIGHT_OF_USUAL + every[key]) for key in usual}
    return {
        (code, mode): share[position.kind, mode]
        for code, position in system.positions.items()
        for mode in modes_of(system, code)
    }


class _Visits:
    """Stays of cars up to a day: of each car (key) its first and last half month, how often it came again, its first
    job."""

    def __init__(self, rows: Iterator[tuple[Any, ...]], on: date) -> None:
        days = ((car, timezone.localdate(at), job) for car, at, job in rows)
        told = sorted((car, day, job) for car, day, job in days if day <= on)
        self.first: dict[int, int] = {}
        self.last: dict[int, int] = {}
        self.again = Counter[int]()
        self.first_job: dict[int, int] = {}
        for car, day, job in told:
            half = half_of(day)
            if car not in self.first:
                self.first[car], self.first_job[car] = half, job
            elif half - self.last[car] >= APART:
                self.again[car] += 1
            self.last[car] = half
        self.begins = min(self.first.values(), default=0)


@dataclass(frozen=True, slots=True, eq=False)
class _Units:
    """(6, n) car (index), position, part, revision, half months since (NEVER: the original) and until; the numbers'
    names. `mended`: (car, position) -> mode -> half month from which its clock runs anew."""

    table: Ints
    positions: tuple[str, ...]
    names: tuple[tuple[str, ...], tuple[str, ...]]
    mended: dict[tuple[int, int], dict[str, int]]
    at_first: dict[str, int]


class _Reading:
    """Reads what belongs to the cars of one system."""

    def __init__(self, system: TopSystem, learned: Learned, on: date) -> None:
        self.system, self.learned, self.on, self.now = system, learned, on, half_of(on)
        self.shares = part_shares(system)

    def rows(self, query: QuerySet[Any], *names: str) -> Iterator[tuple[Any, ...]]:
        """Of the cars of the system, streamed."""
        of_system = query.filter(car__system=self.system.system, car__merged_into=None)
        return of_system.order_by().values_list(*names).iterator(chunk_size=AT_ONCE)

    def cars(self, visits: _Visits) -> Cars:
        rows = Car.objects.filter(system=self.system.system, merged_into=None, made_on__lte=self.on).order_by("pk")
        told = rows.values_list("pk", "made_on", "year_only", "climate", "created_at")
        table: list[tuple[int, ...]] = []
        for pk, made, year_only, climate, created in told.iterator(chunk_size=AT_ONCE):
            written = timezone.localdate(created)
            if pk in visits.first or written <= self.on:
                first = visits.first.get(pk, half_of(written))
                stay = first, visits.last.get(pk, first), pk in visits.first, visits.again[pk]
                table.append((pk, month_of(made), year_only, CLIMATES.index(climate), *stay))
        columns = np.array(table, dtype=np.int64).reshape(-1, 8).T
        key, month, by_year, zone, begun, ended, came, again = columns
        brought = self._brought(key, visits)
        return Cars(key, month, by_year > 0, zone, begun, ended, came > 0, again, brought)

    def _brought(self, key: Ints, visits: _Visits) -> Ints:
        """Failures that cars were seen with at later visits."""
        failed = Sighting.objects.exclude(failed="").filter(on__lte=self.on).distinct()
        of_car = Counter(
            car
            for car, job, _position, _mode in self.rows(failed, "car_id", "sheet__job_id", "position", "failed")
            if job != visits.first_job.get(car)
        )
        return np.array([of_car[one] for one in key.tolist()], dtype=np.int64)

    def units(self, cars: Cars, visits: _Visits) -> _Units:
        """What is and was fitted: booked units, and the original ones of positions that nobody ever touched."""
        index = {key: place for place, key in enumerate(cars.key.tolist())}
        codes = tuple(self.system.positions)
        number = {code: place for place, code in enumerate(codes)}
        parts = {one.part: place for place, one in enumerate(self.system.positions.values())}
        parts = {name: place for place, name in enumerate(parts)}
        revisions, at_first = {"": 0}, Counter[str]()
        touched = np.zeros((len(cars), len(codes)), dtype=bool)
        columns: list[tuple[int, ...]] = []
        names = ("car_id", "position", "part", "revision", "fitted_on", "removed_on", "fitted_job_id")
        for car, code, part, revision, fitted, removed, job in self.rows(Unit.objects.all(), *names):
            if car not in index or code not in number or (fitted and fitted > self.on):
                continue
            place, there = index[car], number[code]
            touched[place, there] = True
            at_first[code] += job is not None and job == visits.first_job.get(car)
            part = parts.setdefault(part or self.system.positions[code].part, len(parts))
            revision = revisions.setdefault(revision, len(revisions))
            until = half_of(removed) if removed and removed <= self.on else NEVER
            columns.append((place, there, part, revision, half_of(fitted) if fitted else NEVER, until))
        booked = np.array(columns, dtype=np.int64).reshape(-1, 6).T
        untouched = np.argwhere(~touched).T
        original = np.array([parts[one.part] for one in self.system.positions.values()], dtype=np.int64)
        others = np.zeros((6, untouched.shape[1]), dtype=np.int64)
        others[:3] = *untouched, original[untouched[1]]
        mended = self._mended(index, number)
        return _Units(np.hstack([booked, others]), codes, (tuple(parts), tuple(revisions)), mended, dict(+at_first))

    def _mended(self, index: Mapping[int, int], number: Mapping[str, int]) -> dict[tuple[int, int], dict[str, int]]:
        mended = Sighting.objects.filter(mended=True, on__lte=self.on, car__system=self.system.system)
        found: dict[tuple[int, int], dict[str, int]] = {}
        last = mended.order_by().values("car_id", "position", "failed").annotate(last=Max("on"))
        for car, position, mode, on in last.values_list("car_id", "position", "failed", "last"):
            if car in index and position in number:
                found.setdefault((index[car], number[position]), {})[mode] = half_of(on)
        return found

    def cohorts(self, cars: Cars, units: _Units, *, fitted: bool) -> Iterator[Cohort]:
        """Those that are there, or those that were."""
        table = units.table[:, (units.table[5] == NEVER) == fitted]
        made = half_made(cars.month, cars.year_only)
        keys = np.vstack([table[1:4], table[4] == NEVER])
        kinds, which = np.unique(keys, axis=1, return_inverse=True)
        order = np.argsort(which.ravel(), kind="stable")
        ends = np.cumsum(np.bincount(which.ravel(), minlength=kinds.shape[1]))
        for kind, rows in zip(kinds.T.tolist(), np.split(order, ends[:-1]), strict=False):
            for modes, some in self._alike(units, kind[0], table[:, rows]):
                yield self._cohort(units, kind, modes, some, made)

    def _alike(self, units: _Units, position: int, table: Ints) -> Iterator[tuple[frozenset[str], Ints]]:
        """Units that were mended in the same modes since they were fitted: those have clocks of their own."""
        marked: dict[frozenset[str], list[int]] = {}
        since = table[4].tolist()
        for place, car in enumerate(table[0].tolist()):
            clocks = units.mended.get((car, position))
            if clocks:
                modes = frozenset(mode for mode, half in clocks.items() if half >= since[place])
                marked.setdefault(modes, []).append(place)
        apart = [place for modes, places in marked.items() if modes for place in places]
        if len(apart) < table.shape[1]:
            yield frozenset(), np.delete(table, apart, axis=1)
        for modes in sorted(marked.keys() - {frozenset()}, key=sorted):
            yield modes, table[:, marked[modes]]

    def _cohort(self, units: _Units, kind: list[int], mended: frozenset[str], table: Ints, made: Ints) -> Cohort:
        position, part, revision = units.positions[kind[0]], units.names[0][kind[1]], units.names[1][kind[2]]
        original, car = bool(kind[3]), table[0]
        since = made[car] if original else table[4]
        ways, clocks = [], []
        for mode in modes_of(self.system, position):
            anew = mode in mended
            fits = Fits(part, revision, None if original and not anew else self.on)
            model = self.learned.model_of(position, mode, fits)
            if model is not None:
                ways.append(Way(model, self.shares[position, mode]))
                clocks.append(_clocks(units, kind[0], mode, car) if anew else since)
        clock = np.array(clocks, dtype=np.int64).reshape(len(ways), len(car))
        return Cohort(position, part, revision, original, tuple(ways), car, clock, table[5])


def _clocks(units: _Units, position: int, mode: str, cars: Ints) -> Ints:
    return np.array([units.mended[car, position][mode] for car in cars.tolist()], dtype=np.int64)
