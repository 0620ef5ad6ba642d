"""Chances of failure from a learned model, with their uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from diagnostics.learning.records import CLIMATES, LEVEL, SEED, Bools, Estimate, Floats, Ints, PartModel
from diagnostics.learning.weibull import cumulative_hazard, draws

DRAWS = 200
MONTHS = (12, 24)
"""Horizons of an outlook."""


@dataclass(frozen=True, slots=True, eq=False)
class Parameters:
    """Draws from what is believed of one population: (n,) log scale, log shape, effects by name, and for each used
    range its window in each draw."""

    log_scale: Floats
    log_shape: Floats
    effects: dict[str, Floats]
    windows: tuple[tuple[Ints, Ints], ...]


@dataclass(frozen=True, slots=True)
class CarFacts:
    """What the chances of a car's units depend on, as in records.Spells."""

    month: int
    year_only: bool
    climate: int


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
    kinds, which = kinds_of_cars(month, year_only, climate)
    ratio = np.exp(log_ratios(drawn, position, kinds))
    # Ages are in days and cars of few kinds: what many cars share is worked out once.
    ages, place = np.unique(np.concatenate([since_age, np.maximum(to_age, since_age)]), return_inverse=True)
    since, to = np.split(place.ravel(), 2)
    found = np.empty((n, len(since_age)))
    for draw in range(n):
        hazard = cumulative_hazard(ages, float(drawn.log_scale[draw]), float(drawn.log_shape[draw]))
        more = found[draw]
        np.subtract(hazard[since], hazard[to], out=more)
        more *= ratio[draw][which]
        np.negative(np.expm1(more, out=more), out=more)
    return found


def chance_of(drawn: Parameters, position: str, car: CarFacts, since: float, until: float) -> Floats:
    """Draws of the chance of one unit of one car, from parameters that were drawn before: quick enough to be asked for
    every fault of a top whenever its sheet is looked at."""
    begun, ended = (cumulative_hazard(age, drawn.log_scale, drawn.log_shape) for age in (since, max(until, since)))
    kinds = np.array([[car.month], [car.year_only], [car.climate]], dtype=np.int64)
    return np.asarray(-np.expm1((begun - ended) * np.exp(log_ratios(drawn, position, kinds)[:, 0])))


def kinds_of_cars(month: Ints, year_only: Bools, climate: Ints) -> tuple[Ints, Ints]:
    """(month, year only, climate) of every kind of car (3 × kinds), and of which kind each car is."""
    every, which = np.unique((month * 2 + year_only) * len(CLIMATES) + climate, return_inverse=True)
    rest, climates = np.divmod(every, len(CLIMATES))
    return np.stack([rest // 2, rest % 2, climates]), which.ravel()


def log_ratios(drawn: Parameters, position: str, kinds: Ints) -> Floats:
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
    """(median, low, high) over the draws (first axis), the interval of probability LEVEL.

    The median gives the trade default back where nothing was seen; the mean of so wide a prior is about twice
    that. Who adds chances up over many cars takes the draws, and their mean.
    """
    low, middle, high = np.quantile(chances, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2], axis=0)
    return np.asarray(middle), np.asarray(low), np.asarray(high)


def any_of(chances: Sequence[Floats]) -> Floats:
    """Chance that at least one of several things fails, draw by draw, taken as independent given the models."""
    none = np.ones_like(chances[0])
    for one in chances:
        none = none * (1.0 - one)
    return np.asarray(1.0 - none)


@dataclass(frozen=True, slots=True)
class Fitted:
    """One unit in one mode: its model, its age today and the age at which it was last seen good in this mode (0:
    never), in years."""

    model: PartModel
    position: str
    age: float
    good: float = 0.0


@dataclass(frozen=True, slots=True)
class PositionOutlook:
    """Chance that the unit there fails in any mode within each of the months asked for; `cars`: how many with such a
    unit stand behind it."""

    position: str
    chances: tuple[Estimate, ...]
    cars: int


@dataclass(frozen=True, slots=True)
class Outlook:
    """`positions`: the likeliest first; `top`: that any of them fails."""

    months: tuple[int, ...]
    positions: tuple[PositionOutlook, ...]
    top: tuple[Estimate, ...]


def outlook(fitted: Sequence[Fitted], car: CarFacts, months: Sequence[int] = MONTHS) -> Outlook:
    """What will fail next in a car whose units are all good today."""
    drawn: dict[str, list[list[Floats]]] = {}
    cars: dict[str, int] = {}
    for one in fitted:
        believed = own_parameters(one.model)
        ends = [one.age + horizon / 12 for horizon in months]
        drawn.setdefault(one.position, []).append(
            [chance_of(believed, one.position, car, one.age, end) for end in ends]
        )
        cars[one.position] = max(cars.get(one.position, 0), one.model.tally.cars)
    any_mode = {position: [any_of(one) for one in zip(*modes, strict=True)] for position, modes in drawn.items()}
    told = [
        PositionOutlook(position, tuple(_estimate(one) for one in chances), cars[position])
        for position, chances in any_mode.items()
    ]
    told.sort(key=lambda one: (-one.chances[-1].estimate, one.position))
    top = tuple(_estimate(any_of(one)) for one in zip(*any_mode.values(), strict=True)) if told else ()
    return Outlook(tuple(months), tuple(told), top)


def own_parameters(model: PartModel, n: int = DRAWS) -> Parameters:
    """Each population has draws of its own, so that what is not known of one is not taken to be wrong in the same way
    of all others; twins share what is not known of their part."""
    return parameters(model, n, seed=SEED + crc32(repr(model.population).encode()))


def _estimate(chances: Floats) -> Estimate:
    return Estimate(*(float(one) for one in with_interval(chances)))
