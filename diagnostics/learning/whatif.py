"""What more checks would teach of a production range: how sure we would be, and which car tells most.

The belief is a list of hypotheses, no range and the heaviest windows, each window with its masses over the log hazard
ratio. What a further unit shows, failed or good at an age, has a chance under each of them; so the belief after any
outcome is worked out exactly, with the baseline held at its estimate.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.design import Window, design, fit_with
from diagnostics.learning.records import LEVEL, SEED, YEAR_DAYS, Bools, Floats, Ints, Prior, Spells
from diagnostics.learning.weibull import cumulative_hazard
from diagnostics.learning.windows import scan

WINDOWS, RATIOS = 200, 31
"""Heaviest windows, and steps of the log hazard ratio, that the belief is held in."""
POOL = 400
"""Units of the past that stand for what may come."""


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """`weight[0]`: that there is no range; then of each window (`first`, `last`). `ratio` (windows × RATIOS): mass over
    `log_ratio` within each window, rows summing to 1. `log_scale`, `log_shape`, `effects`: the baseline without a
    range and with one."""

    weight: Floats
    first: Ints
    last: Ints
    log_ratio: Floats
    ratio: Floats
    log_scale: tuple[float, float]
    log_shape: tuple[float, float]
    start: int
    end: int


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Units that could be checked, arrays of one length: production month of the car, age at which it was last known
    good (0: never seen), age now (years), log hazard of climate and place beside the baseline."""

    month: Ints
    since_age: Floats
    age: Floats
    offset: Floats


@dataclass(frozen=True, slots=True)
class Sureness:
    """`probability` that there is a range; months in the sets of its first and last month; how many times the upper end
    of the hazard ratio's interval is the lower one."""

    probability: float
    first_months: float
    last_months: float
    ratio_span: float


@dataclass(frozen=True, slots=True)
class MoreCars:
    """As it is now; expected after `cars` more like those seen so far; after as many of the most telling ones. `right`:
    expected probability of what is true, range or none."""

    cars: int
    now: Sureness
    alike: Sureness
    best: Sureness
    right_now: float
    right_alike: float
    right_best: float


def belief_of(spells: Spells, prior: Prior, held: Sequence[Window] = ()) -> Belief | None:
    """What is believed of a further range beside the ones `held` as known; None where nothing can be searched."""
    without = fit_with(spells, prior, held)
    _names, columns = design(spells, held)
    posterior = scan(spells, without, prior=prior, offset=columns @ without.estimate[2:])
    if posterior is None:
        return None
    best = posterior.best
    beside = fit_with(spells, prior, [*held, (int(posterior.first[best]), int(posterior.last[best]))])
    order = np.argsort(-posterior.weight, kind="stable")[:WINDOWS]
    grid, ratio = _coarse(posterior.log_ratio, posterior.ratio[order])
    weight = posterior.weight[order] / posterior.weight[order].sum() * posterior.probability
    return Belief(
        weight=np.concatenate([[1 - posterior.probability], weight]),
        first=posterior.first[order],
        last=posterior.last[order],
        log_ratio=grid,
        ratio=ratio / ratio.sum(axis=1, keepdims=True),
        log_scale=(float(without.estimate[0]), float(beside.estimate[0])),
        log_shape=(float(without.estimate[1]), float(beside.estimate[1])),
        start=posterior.start,
        end=posterior.end,
    )


def alike(spells: Spells, held: Sequence[Window], prior: Prior) -> Candidates:
    """A further unit like each of those seen so far, never seen before, looked at today: the day on which the last of
    them was seen."""
    fit = fit_with(spells, prior, held)
    _names, columns = design(spells, held)
    seen = np.maximum(spells.good, np.where(spells.has_failed, np.where(spells.has_failed, spells.failed, 0.0), 0.0))
    made = (spells.month + 0.5) / 12
    age = np.maximum((made + seen).max() - made, 1.0 / YEAR_DAYS)
    return Candidates(spells.month, np.zeros(len(age)), age, columns @ fit.estimate[2:])


def more_cars(belief: Belief, pool: Candidates, *, cars: int = 20, draws: int = 100, seed: int = SEED) -> MoreCars:
    """The belief after `cars` more, over `draws` of what is true, which cars they are and what they show."""
    rng = np.random.default_rng(seed)
    if len(pool.month) > POOL:
        some = rng.choice(len(pool.month), size=POOL, replace=False)
        pool = Candidates(pool.month[some], pool.since_age[some], pool.age[some], pool.offset[some])
    chance = chances(belief, pool)
    bits = _bits(belief, chance)
    best = np.argsort(-bits, kind="stable")
    found: dict[str, list[Sureness]] = {"alike": [], "best": []}
    right: dict[str, list[float]] = {"alike": [], "best": []}
    for _draw in range(draws):
        truth = int(rng.choice(len(belief.weight), p=belief.weight / belief.weight.sum()))
        step = int(rng.choice(len(belief.log_ratio), p=belief.ratio[truth - 1])) if truth else 0
        # The most telling are drawn from among the upper tenth, so that they are not all one car twice over.
        upper = best[: max(cars, len(best) // 10)]
        for name, those in (("alike", np.arange(len(bits))), ("best", upper)):
            picked = rng.choice(those, size=cars)
            failed = rng.random(cars) < chance[truth, picked, step]
            after, ratio = _after(belief, chance[:, picked], failed)
            found[name].append(_sureness(belief, after, ratio))
            right[name].append(float(after[0] if truth == 0 else after[1:].sum()))
    now = _sureness(belief, belief.weight, belief.ratio)
    sure = float(belief.weight[0] ** 2 + belief.weight[1:].sum() ** 2)
    return MoreCars(
        cars,
        now,
        _mean(found["alike"]),
        _mean(found["best"]),
        sure,
        float(np.mean(right["alike"])),
        float(np.mean(right["best"])),
    )


def most_telling(belief: Belief, candidates: Candidates) -> Floats:
    """Expected bits about the range, there or not and where, from one check of each candidate."""
    return _bits(belief, chances(belief, candidates))


def chances(belief: Belief, candidates: Candidates) -> Floats:
    """(hypotheses × candidates × RATIOS): chance of being found failed; without a range the same at every ratio."""
    hazards = []
    for scale, shape in zip(belief.log_scale, belief.log_shape, strict=True):
        more = cumulative_hazard(candidates.age, scale, shape) - cumulative_hazard(candidates.since_age, scale, shape)
        hazards.append(np.maximum(more, 0.0) * np.exp(candidates.offset))
    inside = (candidates.month >= belief.first[:, None]) & (candidates.month <= belief.last[:, None])
    with_range = hazards[1][None, :, None] * np.where(inside[:, :, None], np.exp(belief.log_ratio), 1.0)
    without = np.broadcast_to(hazards[0][None, :, None], (1, *with_range.shape[1:]))
    return np.asarray(-np.expm1(-np.concatenate([without, with_range])))


def _bits(belief: Belief, chance: Floats) -> Floats:
    mean = np.concatenate([chance[:1, :, 0], np.einsum("wcr,wr->wc", chance[1:], belief.ratio)])
    weight = belief.weight / belief.weight.sum()
    both = weight @ mean
    return np.asarray(_entropy(both) - weight @ _entropy(mean))


def _entropy(p: Floats) -> Floats:
    q = np.clip(p, 1e-15, 1 - 1e-15)
    return np.asarray(-(q * np.log2(q) + (1 - q) * np.log2(1 - q)))


def _after(belief: Belief, chance: Floats, failed: Bools) -> tuple[Floats, Floats]:
    """Weights and ratios after these outcomes."""
    shown = np.where(failed[None, :, None], chance, 1 - chance)
    likely = np.log(np.maximum(shown, 1e-300)).sum(axis=1)
    likely = np.exp(likely - likely.max())
    ratio = belief.ratio * likely[1:]
    weight = belief.weight * np.concatenate([likely[:1, 0], ratio.sum(axis=1)])
    return weight / weight.sum(), ratio / np.maximum(ratio.sum(axis=1, keepdims=True), 1e-300)


def _sureness(belief: Belief, weight: Floats, ratio: Floats) -> Sureness:
    share = weight[1:] / max(float(weight[1:].sum()), 1e-300)
    mass = share @ ratio
    low, high = (_quantile(belief.log_ratio, mass, p) for p in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    spans = [_months(belief, months, share) for months in (belief.first, belief.last)]
    return Sureness(float(weight[1:].sum()), spans[0], spans[1], float(np.exp(high - low)))


def _months(belief: Belief, months: Ints, share: Floats) -> float:
    """Months in the smallest set that holds LEVEL of the weight."""
    mass = np.sort(np.bincount(months - belief.start, share))[::-1]
    return float(np.searchsorted(np.cumsum(mass), LEVEL * mass.sum() - 1e-12) + 1)


def _quantile(grid: Floats, mass: Floats, p: float) -> float:
    share = np.cumsum(mass) / max(float(mass.sum()), 1e-300)
    return float(np.interp(p, share, grid))


def _coarse(grid: Floats, ratio: Floats) -> tuple[Floats, Floats]:
    """The masses on RATIOS equal steps over where they lie."""
    total = ratio.sum(axis=0)
    there = np.flatnonzero(np.cumsum(total) > 1e-4 * total.sum())
    upper = np.flatnonzero(np.cumsum(total[::-1])[::-1] > 1e-4 * total.sum())
    low, high = float(grid[there[0]]), float(grid[upper[-1]])
    steps = np.linspace(low, max(high, low + 1e-6), RATIOS)
    which = np.clip(np.round((grid - low) / (steps[1] - steps[0])), 0, RATIOS - 1).astype(int)
    found = np.zeros((len(ratio), RATIOS))
    np.add.at(found.T, which, ratio.T)
    return steps, np.maximum(found, 1e-12)


def _mean(found: Sequence[Sureness]) -> Sureness:
    return Sureness(
        *(
            float(np.mean([getattr(one, name) for one in found]))
            for name in ("probability", "first_months", "last_months", "ratio_span")
        )
    )
