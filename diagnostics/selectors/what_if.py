"""What more checks would teach of a production range: how sure twenty more cars would make, and which cars on the floor
tell most."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.core.cache import cache
from django.utils import timezone

from diagnostics.charts.words import percent_words, ratio_words
from diagnostics.engine.faults import MODE_BITS
from diagnostics.learning.priors import GENERIC
from diagnostics.learning.records import CLIMATES, Floats, Population, Spells, age_of, month_of
from diagnostics.learning.spells import groups_of, spells_of
from diagnostics.learning.whatif import CARS, Belief, MoreCars, Sureness, belief_of, more_cars, most_telling
from diagnostics.models import ProductionRange, Sighting, Unit
from diagnostics.selectors.computed import shop_priors
from diagnostics.selectors.learning import newest_learning, snapshot_of
from diagnostics.selectors.sightings import observations
from shop.models import Car, Job, Stage

KEPT = 3600
SHOWN = 8
TELLS = 0.005
"""Bits below which looking at a car would teach nothing worth saying."""


@dataclass(frozen=True, slots=True)
class SureRow:
    """How sure one is: of the range, of its ends (months that hold nine tenths), of its ratio (upper over lower end of
    the interval), in words."""

    probability: str
    first_months: str
    last_months: str
    ratio_factor: str


@dataclass(frozen=True, slots=True)
class Telling:
    """A car on the floor that was not looked at for this part on its job; `percent` of the most telling one's bits."""

    job: Job
    car: Car
    positions: str
    percent: int


@dataclass(frozen=True, slots=True)
class WhatIf:
    """`alike`: after CARS more like those seen, if the range is real; `chosen`: after as many that tell most; `…_none`:
    how probable the range would still be thought if there is none."""

    cars: int
    now: SureRow
    alike: SureRow
    chosen: SureRow
    alike_none: str
    chosen_none: str
    telling: tuple[Telling, ...]


def what_if(row: ProductionRange) -> WhatIf | None:
    """None where too little was seen to weigh anything."""
    newest = newest_learning()
    key = f"what-if:{row.pk}:{row.version}:{newest.fingerprint if newest else ''}"
    found: tuple[Belief, MoreCars, MoreCars, Population] | None = cache.get(key)
    if found is None:
        spells = _spells(row)
        belief = _belief(row, spells) if spells is not None else None
        if spells is None or belief is None:
            return None
        found = belief, more_cars(belief, spells), more_cars(belief, spells, chosen=True), spells.population
        cache.set(key, found, KEPT)
    belief, alike, chosen, population = found
    return WhatIf(
        cars=CARS,
        now=_said(alike.now),
        alike=_said(alike.if_real),
        chosen=_said(chosen.if_real),
        alike_none=percent_words(alike.if_none),
        chosen_none=percent_words(chosen.if_none),
        telling=_on_the_floor(row, belief, population, timezone.localdate()),
    )


def _said(value: Sureness) -> SureRow:
    return SureRow(
        percent_words(value.probability),
        f"{value.first_months:.0f}",
        f"{value.last_months:.0f}",
        ratio_words(value.ratio_factor),
    )


def _spells(row: ProductionRange) -> Spells | None:
    """The lives that the range was found in, as they stand today."""
    model, _found = snapshot_of(row)
    for group in groups_of(observations(system=row.system, part=row.part)):
        for spells in spells_of(group, row.mode):
            if spells.population.original and spells.population.revision == model.population.revision:
                return spells
    return None


def _belief(row: ProductionRange, spells: Spells) -> Belief | None:
    model, found = snapshot_of(row)
    held = [(one.first, one.last) for one in model.used if one is not found]
    prior = shop_priors().get((row.system, spells.population.positions[0], row.mode), GENERIC)
    return belief_of(spells, prior, held)


def _on_the_floor(row: ProductionRange, belief: Belief, population: Population, today: date) -> tuple[Telling, ...]:
    """Open jobs on cars with the original part there, not looked at for it on this job; four queries."""
    jobs = Job.objects.filter(car__system=row.system).exclude(stage__in=[Stage.DONE, Stage.GONE])
    jobs_by_car = {job.car_id: job for job in jobs.select_related("car").order_by("pk")}
    about = {"car__in": list(jobs_by_car), "position__in": row.positions}
    later = set(
        Unit.objects.filter(**about, removed_on=None, fitted_on__isnull=False).values_list("car_id", "position")
    )
    good: dict[tuple[int, str], date] = {}
    out: set[tuple[int, str]] = set(later)
    seen = Sighting.objects.filter(**about, since=None).values_list(
        "car_id", "position", "on", "good", "failed", "sheet__job_id"
    )
    for key, position, on, fine, failed, job in seen:
        if failed == row.mode or job == jobs_by_car[key].pk:
            out.add((key, position))
        elif fine & MODE_BITS.get(row.mode, 0):
            good[key, position] = max(on, good.get((key, position), on))
    units = [
        (job.car, position, good.get((job.car_id, position)))
        for job in jobs_by_car.values()
        for position in row.positions
        if (job.car_id, position) not in out and position in population.positions
    ]
    if not units:
        return ()
    bits = most_telling(belief, _candidates(population, units, today))
    by_car: dict[int, float] = {}
    for (car, _position, _good), one in zip(units, bits, strict=True):
        by_car[car.pk] = by_car.get(car.pk, 0.0) + float(one)
    best = max(by_car.values())
    if best < TELLS:
        return ()
    ranked = [pk for pk in sorted(by_car, key=lambda pk: (-by_car[pk], pk)) if by_car[pk] >= best / 100][:SHOWN]
    return tuple(
        Telling(
            job=jobs_by_car[pk],
            car=jobs_by_car[pk].car,
            positions=", ".join(position for car, position, _good in units if car.pk == pk),
            percent=round(100 * by_car[pk] / best),
        )
        for pk in ranked
    )


def _candidates(population: Population, units: Sequence[tuple[Car, str, date | None]], today: date) -> Spells:
    n = len(units)
    return Spells(
        population,
        entry=_ages([(car, day) for car, _position, day in units]),
        good=_ages([(car, today) for car, _position, _day in units]),
        failed=np.full(n, np.inf),
        month=np.array([month_of(car.made_on) for car, _position, _day in units]),
        year_only=np.array([car.year_only for car, _position, _day in units]),
        climate=np.array([CLIMATES.index(car.climate) for car, _position, _day in units]),
        position=np.array([population.positions.index(position) for _car, position, _day in units]),
        car=np.array([car.pk for car, _position, _day in units]),
        count=np.ones(n),
    )


def _ages(when: Sequence[tuple[Car, date | None]]) -> Floats:
    """Years from the middle of the production month or year; 0 for a unit that was never seen."""
    ages = [age_of(car.made_on, day, year_only=car.year_only) if day else 0.0 for car, day in when]
    return np.maximum(ages, 0.0)
