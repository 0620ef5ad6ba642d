"""What would more cars teach? How sure of a production range we would be after some more, and which cars tell most.

The posterior over windows and ratios is taken as it stands and weighed anew by what each outcome would say; the life
outside of the range is held at its estimate. That is exact for the windows and leaves out only how much the new cars
would move the baseline.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.learning.design import Window, design, fit_with
from diagnostics.learning.ranges import quantile
from diagnostics.learning.records import LEVEL, SEED, Bools, Floats, Ints, Prior, Spells, WeibullFit
from diagnostics.learning.weibull import cumulative_hazard
from diagnostics.learning.windows import WindowPosterior, scan

CARS = 20
DRAWS = 100
WINDOWS, RATIOS = 100, 41
"""Of the posterior that are carried on: its heaviest windows, and steps of the log ratio."""
NEAR = 6
"""Months to either side of an end, from which the cars that are chosen come."""


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """What is thought of one range of a population: `probability` that it is there, its windows (k months each), and
    (k × r) the mass over windows and `log_ratio` given that it is, summing to 1. `none` and `outside`: the life where
    there is no range, and outside of one; `held`: ranges that are known already."""

    probability: float
    first: Ints
    last: Ints
    log_ratio: Floats
    mass: Floats
    none: WeibullFit
    outside: WeibullFit
    held: tuple[Window, ...]

    @property
    def weight(self) -> Floats:
        return np.asarray(self.mass.sum(axis=1))


@dataclass(frozen=True, slots=True)
class Sureness:
    """`probability` of the range; months in the sets of its ends; upper over lower end of the ratio's interval."""

    probability: float
    first_months: float
    last_months: float
    ratio_factor: float


@dataclass(frozen=True, slots=True)
class MoreCars:
    """`now`, and the mean of what is thought after `cars` more if the range is real; `if_none`: how probable it would
    still be thought if it is not."""

    cars: int
    now: Sureness
    if_real: Sureness
    if_none: float


def belief_of(spells: Spells, prior: Prior, held: Sequence[Window] = ()) -> Belief | None:
    """What is thought of a range beside those that are `held`; None where there is nothing to compare."""
    none = fit_with(spells, prior, held)
    _names, columns = design(spells, held)
    posterior = scan(spells, none, prior=prior, offset=columns @ none.estimate[2:])
    if posterior is None:
        return None
    best = (int(posterior.first[posterior.best]), int(posterior.last[posterior.best]))
    heavy = np.sort(np.argsort(-posterior.weight, kind="stable")[:WINDOWS])
    log_ratio, mass = _coarser(posterior, heavy)
    return Belief(
        probability=posterior.probability,
        first=posterior.first[heavy],
        last=posterior.last[heavy],
        log_ratio=log_ratio,
        mass=mass / mass.sum(),
        none=none,
        outside=fit_with(spells, prior, [*held, best]),
        held=tuple(held),
    )


def more_cars(belief: Belief, seen: Spells, *, cars: int = CARS, chosen: bool = False, seed: int = SEED) -> MoreCars:
    """What is to be expected of `cars` more that nobody saw before, in months, ages and climates like those of `seen`;
    `chosen`: those cars are sought where they tell most, half of them near the ends of the likeliest window."""
    rng = np.random.default_rng(seed)
    after_real, after_none = [], []
    for _draw in range(DRAWS):
        new = _new_cars(rng, belief, seen, cars, chosen=chosen)
        without, inside, outside = _chances(belief, new)
        shares = _shares(belief, new)
        window, ratio = _pick(rng, belief)
        real = shares[window] * inside[ratio] + (1 - shares[window]) * outside
        luck = rng.random(cars)
        after_real.append(_sureness(_after(belief, shares, (without, inside, outside), luck < real)))
        after_none.append(_after(belief, shares, (without, inside, outside), luck < without).probability)
    mean = np.mean(
        [(one.probability, one.first_months, one.last_months, one.ratio_factor) for one in after_real], axis=0
    )
    return MoreCars(cars, _sureness(belief), Sureness(*(float(one) for one in mean)), float(np.mean(after_none)))


def most_telling(belief: Belief, cars: Spells) -> Floats:
    """Expected bits about whether there is a range, and from when to when, that looking at each of `cars` once gives:
    entry i was last seen good at `entry[i]` and would be looked at at the age `good[i]`."""
    without, inside, outside = _chances(belief, cars)
    shares = _shares(belief, cars)
    weight = belief.weight
    mean_inside = (belief.mass / weight[:, None]) @ inside
    each = shares * mean_inside + (1 - shares) * outside
    weights = np.concatenate([[1 - belief.probability], belief.probability * weight])
    chances = np.vstack([without, each])
    return np.asarray(np.maximum(_bits(weights @ chances) - weights @ _bits(chances), 0.0))


def _coarser(posterior: WindowPosterior, heavy: Ints) -> tuple[Floats, Floats]:
    """Log ratio and mass on RATIOS steps over where the mass lies."""
    total = posterior.ratio.sum(axis=0)
    low, high = (quantile(posterior.log_ratio, total, p) for p in (0.0005, 0.9995))
    edges = np.linspace(low, high, RATIOS + 1)
    place = np.clip(np.searchsorted(edges, posterior.log_ratio) - 1, 0, RATIOS - 1)
    mass = np.zeros((len(heavy), RATIOS))
    np.add.at(mass.T, place, posterior.ratio[heavy].T)
    return np.asarray((edges[:-1] + edges[1:]) / 2), mass


def _new_cars(rng: np.random.Generator, belief: Belief, seen: Spells, cars: int, *, chosen: bool) -> Spells:
    """Drawn from those that were seen; looked at once, at the age at which those were seen last."""
    weight = seen.count / seen.count.sum()
    which = rng.choice(len(weight), size=cars, p=weight)
    if chosen:
        best = int(np.argmax(belief.weight))
        ends = np.array([belief.first[best], belief.last[best] + 1])
        inner = ends[(ends > seen.month.min()) & (ends <= seen.month.max())]
        near = (np.abs(seen.month[:, None] - inner) <= NEAR).any(axis=1) & ~seen.year_only
        if near.any():
            half = cars // 2
            which[:half] = rng.choice(len(weight), size=half, p=weight * near / (weight @ near))
    last = np.where(np.isfinite(seen.failed), seen.failed, seen.good)[which]
    taken = {name: getattr(seen, name)[which] for name in ("month", "year_only", "climate", "position", "car")}
    return replace(seen, **taken, entry=np.zeros(cars), good=last, failed=np.full(cars, np.inf), count=np.ones(cars))


def _chances(belief: Belief, cars: Spells) -> tuple[Floats, Floats, Floats]:
    """Chance of each of n cars to be seen failed: without a range (n), inside of it by ratio (r × n), outside (n)."""
    outside = _hazard(belief.outside, cars, belief.held)
    inside = outside * np.exp(belief.log_ratio)[:, None]
    return _chance(_hazard(belief.none, cars, belief.held)), _chance(inside), _chance(outside)


def _chance(hazard: Floats) -> Floats:
    """Neither 0 nor 1, so that no outcome is impossible."""
    return np.asarray(np.clip(-np.expm1(-hazard), 1e-12, 1 - 1e-12))


def _hazard(fit: WeibullFit, cars: Spells, held: Sequence[Window]) -> Floats:
    """Between the ages at which a car was last seen good and is looked at, outside of a range that is not held."""
    names, columns = design(cars, held)
    log_ratio = columns @ np.array([fit.effect(name) for name in names]) if names else np.zeros(len(cars.good))
    scale, shape = float(fit.estimate[0]), float(fit.estimate[1])
    more = cumulative_hazard(cars.good, scale, shape) - cumulative_hazard(cars.entry, scale, shape)
    return np.asarray(np.maximum(more, 0.0) * np.exp(log_ratio))


def _shares(belief: Belief, cars: Spells) -> Floats:
    """(k × n): chance that a car was made within each window."""
    first, last = belief.first[:, None], belief.last[:, None]
    until = cars.month + np.where(cars.year_only, 11, 0)
    months = np.minimum(until, last) - np.maximum(cars.month, first) + 1
    return np.asarray(np.maximum(months, 0) / (until - cars.month + 1))


def _pick(rng: np.random.Generator, belief: Belief) -> tuple[int, int]:
    number = int(rng.choice(belief.mass.size, p=belief.mass.ravel()))
    columns = belief.mass.shape[1]
    return number // columns, number % columns


def _after(belief: Belief, shares: Floats, chances: tuple[Floats, Floats, Floats], failed: Bools) -> Belief:
    """The belief after these outcomes."""
    without, inside, outside = (np.where(failed, one, 1 - one) for one in chances)
    log = np.zeros_like(belief.mass)
    for car in range(len(failed)):
        log += np.log(shares[:, car, None] * inside[:, car] + (1 - shares[:, car, None]) * outside[car])
    top = float(log.max())
    mass = belief.mass * np.exp(log - top)
    odds = np.log(belief.probability) - np.log1p(-belief.probability) if 0 < belief.probability < 1 else np.inf
    odds += np.log(mass.sum()) + top - float(np.log(without).sum())
    return replace(belief, probability=float(1 / (1 + np.exp(-np.clip(odds, -700, 700)))), mass=mass / mass.sum())


def _sureness(belief: Belief) -> Sureness:
    total = belief.mass.sum(axis=0)
    low, high = (quantile(belief.log_ratio, total, p) for p in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    first, last = (_months(one, belief.weight) for one in (belief.first, belief.last))
    return Sureness(belief.probability, first, last, float(np.exp(high - low)))


def _months(months: Ints, weight: Floats) -> float:
    """How many months the shortest span has that holds LEVEL of the weight."""
    mass = np.concatenate([[0.0], np.cumsum(np.bincount(months - months.min(), weight))])
    ends = np.searchsorted(mass, mass[:-1] + LEVEL * mass[-1] - 1e-12)
    there = ends < len(mass)
    return float((ends - np.arange(len(ends)))[there].min())


def _bits(chance: Floats) -> Floats:
    return np.asarray(-(chance * np.log2(chance) + (1 - chance) * np.log2(1 - chance)))
