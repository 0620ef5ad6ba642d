"""How many pieces of a part will be asked for, month by month, from what fails in which car.

Three sources, each told by itself: cars known here (chance that a unit fails in the month, given that it is good now,
times the chance that its car comes here), cars not yet seen, and jobs that are open now (a suspect's probability times
the part). Given one draw of what is believed, cars are independent of each other and the pieces Poisson-binomial; over
the draws they are not: what is not known of the part is wrong for all its cars alike. Within the horizon a unit fails
once at most, and a car that comes for the first time is not counted again when it comes back.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.fleet import Cohort, Draws, Fleet, Groups, groups_of, hazards
from diagnostics.learning.records import Floats
from parts.planning.coming import MOST_MONTHS, Coming
from parts.planning.counts import quantiles
from parts.planning.poisson_binomial import (
    SMALL,
    back,
    circle,
    counts_needed,
    pmf,
    power_of_two,
    powers,
    terms_needed,
    transform,
)

BAND = (0.1, 0.5, 0.9)
QUARTER = 3
"""Months."""
NOTHING = 1e-12
"""What is left of a tail below this is cut off."""


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What may ask for a part in one top system: the units of it, or of parts that it supersedes, where it fits.
    `places`: positions at which new cars ask for it."""

    fleet: Fleet
    coming: Coming
    cohorts: tuple[Cohort, ...]
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """`chances` of 0, 1, … pieces, their mean by source, and the counts that 10, 50 and 90 % of the chance lie at or
    below."""

    chances: Floats
    known: float
    unseen: float
    jobs: float
    low: int
    median: int
    high: int

    @property
    def mean(self) -> float:
        return self.known + self.unseen + self.jobs


@dataclass(frozen=True, slots=True)
class Demand:
    """`months`: each month from now on by itself. `whole`: all of them together; what is uncertain of the part is so in
    every month alike, so that this is wider than the months added up as if independent."""

    months: tuple[Pieces, ...]
    whole: Pieces


@dataclass(frozen=True, slots=True)
class Needer:
    """A unit that may need the part: the key of its car, top system, position, production month (`year_only`: of the
    year), the chance that it fails so within the months asked for, the chance that the car then comes here; `quarters`
    the chance of failing in each QUARTER of those months, which add up to `fails`."""

    car: int
    system: str
    position: str
    month: int
    year_only: bool
    fails: float
    comes: float
    quarters: tuple[float, ...]


def asked_in(fleet: Fleet, coming: Coming, numbers: Iterable[str], places: Iterable[str]) -> Asked:
    """`numbers`: of the part and of all that it supersedes; `places`: positions that it fits in this top system."""
    wanted, here = {one.casefold() for one in numbers}, frozenset(places)
    cohorts = tuple(one for one in fleet.fitted if one.part.casefold() in wanted and one.position in here)
    return Asked(fleet, coming, cohorts, tuple(sorted(here & coming.pieces.keys())))


def demand(asked: Sequence[Asked], drawn: Draws, months: int, suspects: Sequence[float] = ()) -> Demand:
    """`drawn`: as many draws as `coming` was made with. `suspects`: chances that
    open jobs need a piece, each counted in the first month.

    Raises ValueError: more than MOST_MONTHS months or less than one, something is no chance.
    """
    if not 1 <= months <= MOST_MONTHS:
        raise ValueError(f"expected 1 to {MOST_MONTHS} months, not {months}")
    parts = [found for one in asked for found in _parts(one, drawn, months)]
    unseen = sum((_unseen(one, months) for one in asked), np.zeros((1, months)))
    jobs = pmf(np.asarray(suspects, dtype=float))
    none = np.ones(1)
    each = _mixed([(one.monthly, one) for one in parts], unseen, [jobs, *[none] * (months - 1)])
    whole = _mixed([(one.whole, one) for one in parts], unseen.sum(axis=1, keepdims=True), [jobs])
    return Demand(tuple(each), whole[0])


def who_will_need(asked: Sequence[Asked], drawn: Draws, months: int = 12, most: int = 50) -> list[Needer]:
    """The units that will most likely need the part here within so many months, the likeliest first."""
    found: list[tuple[float, int, Needer]] = []
    ends = [*range(QUARTER, months, QUARTER), months]
    for one in asked:
        cars = one.fleet.cars
        for cohort in one.cohorts:
            groups = groups_of(cohort, cars)
            more = hazards(cohort, groups, one.fleet.now, ends, drawn)
            failed = -np.expm1(-more).mean(axis=0)
            quarters = np.diff(failed, axis=0, prepend=0.0)
            fails = failed[-1, groups.which]
            comes = one.coming.chance[cohort.car]
            for at in np.argsort(-fails * comes, kind="stable")[:most]:
                car = cohort.car[at]
                needer = Needer(
                    int(cars.key[car]), one.fleet.system, cohort.position, int(cars.month[car]),
                    bool(cars.year_only[car]), float(fails[at]), float(comes[at]),
                    tuple(quarters[:, groups.which[at]].tolist()),
                )  # fmt: skip
                found.append((-needer.fails * needer.comes, needer.car, needer))
    found.sort(key=lambda row: (row[0], row[1], row[2].position))
    return [needer for _chance, _car, needer in found[:most]]


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """Units of a cohort: (draws, months, groups) and (draws, 1, groups) chances that a unit of the group fails and its
    car would come if it were sure to; `sure` (n,) the chance of each unit's car, `groups` of which each unit is one."""

    monthly: Floats
    whole: Floats
    sure: Floats
    groups: Groups


def _parts(asked: Asked, drawn: Draws, months: int) -> Iterator[_Part]:
    for cohort in asked.cohorts:
        groups = groups_of(cohort, asked.fleet.cars)
        good = np.exp(-hazards(cohort, groups, asked.fleet.now, range(months + 1), drawn))
        relative = asked.coming.relative[:, None, None]
        monthly = np.minimum((good[:, :-1] - good[:, 1:]) * relative, 1.0)
        whole = np.minimum((1.0 - good[:, -1:]) * relative, 1.0)
        yield _Part(monthly, whole, asked.coming.chance[cohort.car], groups)


def _unseen(asked: Asked, months: int) -> Floats:
    """(draws, months) pieces that cars not yet seen are expected to need."""
    arrivals = asked.coming.arrivals[:, :months]
    found = np.zeros_like(arrivals)
    for place in asked.places:
        found += arrivals * asked.coming.pieces[place][:, None]
    return found


def _mixed(parts: Sequence[tuple[Floats, _Part]], unseen: Floats, jobs: Sequence[Floats]) -> list[Pieces]:
    """The distribution of each span (months, or their whole): `unseen` (draws, spans), `jobs` one distribution a span.

    The transforms of a draw multiply, their mean over the draws is turned back.
    """
    sums, apart = _sums(parts, unseen)
    known = sums[:, :, 0] - unseen
    for one in apart:
        known = known + one.sum(axis=-1)
    besides = sum(one.shape[-1] for one in apart) + max(len(one) for one in jobs) - 1
    counts = power_of_two(counts_needed(float(sums[:, :, 0].max())) + besides)
    series = powers(circle(counts), sums.shape[2])
    mixed = np.zeros((sums.shape[1], series.shape[1]), dtype=np.complex128)
    for draw in range(len(sums)):
        turned = transform(sums[draw], series)
        for one in apart:
            turned *= np.fft.rfft(pmf(one[draw]), counts)
        mixed += turned
    mixed /= len(sums)
    found = []
    for span, here in enumerate(jobs):
        turned = mixed[span] * np.fft.rfft(here, counts)
        chances = _trimmed(back(turned, counts))
        low, median, high = (int(one) for one in quantiles(chances, BAND))
        asking = float(here @ np.arange(len(here)))
        found.append(
            Pieces(chances, float(known[:, span].mean()), float(unseen[:, span].mean()), asking, low, median, high)
        )
    return found


def _sums(parts: Sequence[tuple[Floats, _Part]], unseen: Floats) -> tuple[Floats, list[Floats]]:
    """(draws, spans, terms): power sums of the chances of all units, the pieces of unseen cars added to the first; and
    (draws, spans, units) the chances of the few units that are too likely for such a series."""
    apart, series = [], []
    for chances, part in parts:
        largest = np.zeros(len(part.groups))
        np.maximum.at(largest, part.groups.which, part.sure)
        most = chances.max(axis=(0, 1)) * largest
        likely = most > SMALL
        few = np.flatnonzero(likely[part.groups.which])
        if len(few):
            apart.append(chances[:, :, part.groups.which[few]] * part.sure[few])
        rest = np.flatnonzero(~likely[part.groups.which])
        terms = terms_needed(float(most[~likely].max(initial=0.0)), len(rest))
        series.append((chances, part, rest, terms))
    sums = np.zeros((*unseen.shape, max([1, *(one[3] for one in series)])))
    for chances, part, rest, terms in series:
        which, sure = part.groups.which[rest], part.sure[rest]
        power, weight = np.ones_like(chances), np.ones_like(sure)
        for term in range(terms):
            power *= chances
            weight *= sure
            of_group = np.bincount(which, weight, len(part.groups))  # 0 in groups that stand apart
            sums[:, :, term] += power @ of_group
    sums[:, :, 0] += unseen
    return sums, apart


def _trimmed(chances: Floats) -> Floats:
    left = np.cumsum(chances[::-1])[::-1]
    kept = chances[: max(int(np.count_nonzero(left > NOTHING)), 1)]
    return np.asarray(kept / kept.sum())
