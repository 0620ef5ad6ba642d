"""All cars of a top system as columns, and the hazards of their units from what was learned: what parts are planned by.

Days are counted in halves of months here, from the year 0: an original unit is as old as if it was made in the middle
of its month (of its year, where only that is known), a later one counts from the half month in which it was fitted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from diagnostics.learning.predict import Parameters, kinds_of_cars, log_ratios, own_parameters
from diagnostics.learning.records import Bools, Floats, Ints, PartModel, Population
from diagnostics.learning.weibull import cumulative_hazard

HALVES = 24
"""In a year."""
NEVER = 0
DRAWS = 100


class Draws:
    """The draws of every model, made once; `count` of each."""

    def __init__(self, count: int = DRAWS) -> None:
        self.count = count
        self._made: dict[tuple[Population, str, bool], Parameters] = {}

    def __call__(self, model: PartModel) -> Parameters:
        key = model.population, model.fingerprint, bool(model.ranges)
        if key not in self._made:
            self._made[key] = own_parameters(model, self.count)
        return self._made[key]


def half_of(day: date) -> int:
    """The half month of a day."""
    return (day.year * 12 + day.month - 1) * 2 + (day.day > 15)


def half_made(month: Ints, year_only: Bools) -> Ints:
    """The half month in the middle of which cars were made; `month`, `year_only` as in records.Spells."""
    return np.asarray(month * 2 + np.where(year_only, 12, 1))


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which a unit fails: its model, and in which share of such failures a new part is fitted."""

    model: PartModel
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Cohort:
    """Units at one position that share part, revision and models. `ways`: all in which they fail. Arrays (n,): `car`,
    an index into the fleet's cars; `until`, the half month in which the unit was taken off, NEVER while it is fitted.
    `since` (ways, n): the half month from which its age counts in each way."""

    position: str
    part: str
    revision: str
    original: bool
    ways: tuple[Way, ...]
    car: Ints
    since: Ints
    until: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Cars:
    """Arrays (cars,). `key`: of the database. `month`, `year_only`, `climate` as in records.Spells. `first`, `last`:
    half months of the first and the last visit (of when the car was written down, where none is), `came` whether there
    was one; `visits`: later ones than the first. `brought`: failures seen at later visits."""

    key: Ints
    month: Ints
    year_only: Bools
    climate: Ints
    first: Ints
    last: Ints
    came: Bools
    visits: Ints
    brought: Ints

    def __len__(self) -> int:
        return len(self.key)


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """The cars of one top system as known in the half month `now`. `fitted`: units that are there, `past`: those that
    were. `at_first`: pieces fitted at each position on first visits; `begins`: half month of the shop's first job."""

    system: str
    now: int
    begins: int
    cars: Cars
    fitted: tuple[Cohort, ...]
    past: tuple[Cohort, ...]
    at_first: dict[str, int]


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Units of a cohort that the models cannot tell apart: `which` (n,) the group of each; of the groups `kinds` (as in
    predict.log_ratios) with `kind` (groups,), and `since` (ways, groups)."""

    which: Ints
    kinds: Ints
    kind: Ints
    since: Ints

    def __len__(self) -> int:
        return len(self.kind)


def groups_of(cohort: Cohort, cars: Cars) -> Groups:
    """By climate, the half months from which ages count and, where the models have ranges, by production month."""
    kinds, kind = _kinds(cohort, cars)
    mark = kind
    for place, since in enumerate(cohort.since):
        if place and np.array_equal(since, cohort.since[place - 1]):
            continue  # as mostly: nothing was mended in place
        _values, mark = np.unique(mark * (since.max(initial=0) + 1) + since, return_inverse=True)
    _marks, first = np.unique(mark, return_index=True)
    return Groups(mark, kinds, kind[first], cohort.since[:, first])


def _kinds(cohort: Cohort, cars: Cars) -> tuple[Ints, Ints]:
    of_car = cohort.car
    month, year_only, climate = cars.month[of_car], cars.year_only[of_car], cars.climate[of_car]
    if not any(way.model.used for way in cohort.ways):
        month, year_only = np.zeros_like(month), np.zeros_like(year_only)
    return kinds_of_cars(month, year_only, climate)


def hazards(cohort: Cohort, groups: Groups, now: int, months: Sequence[int], drawn: Draws) -> Floats:
    """(draws, months, groups): cumulative hazard, from `now` until so many months later, of a failure for which a new
    part is fitted; in all ways together, of a unit that is good now."""
    later = 2 * np.asarray(months, dtype=np.int64)
    found = np.zeros((1, len(later), len(groups)))
    for way, since in zip(cohort.ways, groups.since, strict=True):
        believed = drawn(way.model)
        age = np.maximum(now - since, 0)
        table = _by_age(believed, int(age.max(initial=0) + later.max(initial=0)))
        more = table[:, later[:, None] + age]
        more -= table[:, None, age]
        more *= way.share * np.exp(log_ratios(believed, cohort.position, groups.kinds))[:, None, groups.kind]
        found = found + more
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Lived:
    """Stretches of the lives of a cohort's units in sight of the shop: (n,) half months `begin` to `end`, weighed by
    `weight`, the chance that the car was still one of the shop's."""

    cohort: Cohort
    begin: Ints
    end: Ints
    weight: Floats


def expected(lived: Lived, cars: Cars, drawn: Draws) -> tuple[Floats, Floats]:
    """How many failures, of whatever way, the models expect in these stretches: of all units in each draw (draws,), and
    of each unit over the draws (n,)."""
    cohort = lived.cohort
    kinds, kind = _kinds(cohort, cars)
    by_draw: Floats | float = 0.0
    by_unit = np.zeros(len(cohort.car))
    for way, since in zip(cohort.ways, cohort.since, strict=True):
        believed = drawn(way.model)
        begin, end = (np.maximum(one - since, 0) for one in (lived.begin, np.maximum(lived.end, lived.begin)))
        ages = int(end.max(initial=0)) + 1
        table = _by_age(believed, ages - 1)
        ratio = np.exp(log_ratios(believed, cohort.position, kinds))
        # Units of one kind that come to the same age count together.
        passed = np.zeros((kinds.shape[1], ages))
        for age, sign in ((end, 1.0), (begin, -1.0)):
            passed += np.bincount(kind * ages + age, sign * lived.weight, passed.size).reshape(passed.shape)
        by_draw = by_draw + np.einsum("dk,dk->d", ratio, table @ passed.T)
        mean = ratio.T @ table / len(table)
        by_unit += lived.weight * (mean[kind, end] - mean[kind, begin])
    return np.asarray(by_draw), by_unit


def _by_age(believed: Parameters, last: int) -> Floats:
    """(draws, last + 1): cumulative baseline hazard at every age in half months."""
    ages = np.arange(last + 1) / HALVES
    return cumulative_hazard(ages, believed.log_scale[:, None], believed.log_shape[:, None])
