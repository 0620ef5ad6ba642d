"""Chances of failure from a learned model, with their uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.records import CLIMATES, LEVEL, SEED, Bools, Floats, Ints, PartModel
from diagnostics.learning.weibull import cumulative_hazard, draws

DRAWS = 200


@dataclass(frozen=True, slots=True, eq=False)
class Parameters:
    """Draws from what is believed of one population: (n,) log scale, log shape, effects by name, and for each used
    range its window in each draw."""

    log_scale: Floats
    log_shape: Floats
    effects: dict[str, Floats]
    windows: tuple[tuple[Ints, Ints], ...]


def parameters(model: PartModel, n: int = DRAWS, seed: int = SEED) -> Parameters:
    """The draws of a model, the same for the same seed; each takes one window of every used range by its weight."""
    table = draws(model.fit, n, seed)
    rng = np.random.default_rng(seed + 1)
    windows = []
    for one in model.used:
        weight = np.array([window.weight for window in one.windows])
        which = rng.choice(len(weight), size=n, p=weight / weight.sum())
        first = np.array([window.first for window in one.windows], dtype=np.int64)[which]
        last = np.array([window.last for window in one.windows], dtype=np.int64)[which]
        # Nothing is known beyond the months that were seen: an open end stays open.
        first = np.where(one.open_first & (first <= one.first), 0, first)
        last = np.where(one.open_last & (last >= one.last), np.iinfo(np.int64).max, last)
        windows.append((first, last))
    effects = {name: table[:, 2 + place] for place, name in enumerate(model.fit.names[2:])}
    return Parameters(table[:, 0], table[:, 1], effects, tuple(windows))


def failure_chance(
    model: PartModel,
    position: str,
    *,
    since_age: Floats,
    to_age: Floats,
    month: Ints,
    year_only: Bools,
    climate: Ints,
    n: int = DRAWS,
    seed: int = SEED,
) -> Floats:
    """(n × cars): chance that a unit which had not failed at `since_age` fails until `to_age` (years, arrays of one
    entry a car). `month`, `year_only`, `climate` as in records.Spells; draws as in `parameters`."""
    drawn = parameters(model, n, seed)
    kinds, which = np.unique(np.stack([month, year_only, climate]), axis=1, return_inverse=True)
    log_ratio = _log_ratios(drawn, position, kinds)[:, which.ravel()]
    found = np.empty((n, len(since_age)))
    for draw in range(n):
        scale, shape = float(drawn.log_scale[draw]), float(drawn.log_shape[draw])
        more = cumulative_hazard(to_age, scale, shape) - cumulative_hazard(since_age, scale, shape)
        found[draw] = -np.expm1(-np.maximum(more, 0.0) * np.exp(log_ratio[draw]))
    return found


def _log_ratios(drawn: Parameters, position: str, kinds: Ints) -> Floats:
    """(n × kinds) log hazard ratio of each (month, year only, climate) to the baseline; over the months of a year the
    hazards are averaged."""
    n = len(drawn.log_scale)
    place = drawn.effects.get(f"at:{position}", np.zeros(n))
    climates = np.column_stack([drawn.effects.get(name, np.zeros(n)) for name in CLIMATES])
    found = place[:, None] + climates[:, kinds[2]]
    if not drawn.windows:
        return np.asarray(found)
    months = kinds[0][:, None] + np.where(kinds[1][:, None] > 0, np.arange(12), 0)
    ratio = np.zeros((n, *months.shape))
    for number, (first, last) in enumerate(drawn.windows, start=1):
        inside = (months >= first[:, None, None]) & (months <= last[:, None, None])
        ratio += inside * drawn.effects[f"range:{number}"][:, None, None]
    return np.asarray(found + np.log(np.exp(ratio).mean(axis=2)))


def with_interval(chances: Floats) -> tuple[Floats, Floats, Floats]:
    """(mean, low, high) over the draws (first axis): what to expect, and the interval of probability LEVEL."""
    low, high = np.quantile(chances, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    return np.asarray(chances.mean(axis=0)), np.asarray(low), np.asarray(high)


def any_of(chances: Sequence[Floats]) -> Floats:
    """Chance that at least one of several things fails, draw by draw, taken as independent given the models."""
    none = np.ones_like(chances[0])
    for one in chances:
        none = none * (1.0 - one)
    return np.asarray(1.0 - none)
