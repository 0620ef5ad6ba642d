"""Simulated fleets: cars of three climates, made over ten years and seen when they came, and lives of their parts.

All figures of how a shop sees its cars are common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.records import CLIMATES, Bools, Floats, Ints, Population, Spells

START, MONTHS = 2004 * 12, 120
"""First month of production, and how many."""
TODAY = 13.0
"""Years from the start of production to the last visit."""
WATCHED = 7.5
"""Years before TODAY in which the shop saw these cars."""
CLIMATE_SHARES = (0.6, 0.25, 0.15)
MOST_VISITS = 5
SEEN_ONCE, YEAR_ONLY, KNOWN_LATE = 0.35, 0.1, 0.1
"""Shares of cars: seen once, known by their year alone, whose history begins at their first visit."""
POSITIONS, MODES = 12, 3
SHARES = {"seldom": (0.04, 0.1), "often": (0.12, 0.25)}
"""Between which shares the units of a part with a range have failed at six years, outside of it. `often`: as in a ratio
of 4.1 told as 2.6 to 6.3 from 214 cars, which takes at least fifty failures among them (the variance of the log ratio
of two counts is 1/a + 1/b)."""


@dataclass(frozen=True, slots=True)
class TrueRange:
    """Months of production, and how many times as often the part fails in them."""

    first: int
    last: int
    ratio: float


@dataclass(frozen=True, slots=True, eq=False)
class Cars:
    """n cars: true production month, climate, and ages in years at their visits (n × MOST_VISITS, inf: none)."""

    month: Ints
    year_only: Bools
    climate: Ints
    visits: Floats
    known_late: Bools


@dataclass(frozen=True, slots=True)
class Life:
    """How one part fails in one mode: Weibull outside of `ranges`, and the hazard ratio of each climate."""

    scale: float
    shape: float
    climate_ratio: tuple[float, ...]
    ranges: tuple[TrueRange, ...] = ()


def draw_cars(rng: np.random.Generator, n: int) -> Cars:
    month = rng.integers(0, MONTHS, n)
    visits = rng.integers(2, MOST_VISITS + 1, n)
    visits[rng.random(n) < SEEN_ONCE] = 1
    days = np.sort(rng.uniform(TODAY - WATCHED, TODAY, (n, MOST_VISITS)), axis=1)
    made = (month + rng.random(n)) / 12
    ages = days - made[:, None]
    # Nobody sees a car before it is made.
    ages = np.where((np.arange(MOST_VISITS) < visits[:, None]) & (ages > 0.01), ages, np.inf)
    return Cars(
        month=START + month,
        year_only=rng.random(n) < YEAR_ONLY,
        climate=rng.choice(len(CLIMATES), n, p=CLIMATE_SHARES).astype(np.int64),
        visits=ages,
        known_late=rng.random(n) < KNOWN_LATE,
    )


def draw_life(rng: np.random.Generator, ranges: Sequence[TrueRange] = (), fails: str = "seldom") -> Life:
    """A part's life; a part with a range `fails` often enough for people to have noticed (SHARES)."""
    some = float(np.clip(np.exp(rng.normal(np.log(0.02), 0.7)), 0.003, 0.15))
    share = rng.uniform(*SHARES[fails]) if ranges else some
    shape = float(np.exp(rng.normal(np.log(1.6), 0.25)))
    scale = 6.0 / (-np.log1p(-share)) ** (1 / shape)
    climate = (1.0, float(np.exp(rng.normal(0.0, 0.3))), float(np.exp(rng.normal(0.0, 0.3))))
    return Life(float(scale), shape, climate, tuple(ranges))


def lives(rng: np.random.Generator, cars: Cars, life: Life, population: Population) -> Spells:
    """What the visits tell of one unit a car: last age seen good, first age seen failed."""
    hazard = np.array(life.climate_ratio)[cars.climate]
    for one in life.ranges:
        hazard = hazard * np.where((cars.month >= one.first) & (cars.month <= one.last), one.ratio, 1.0)
    age = life.scale * (rng.exponential(size=len(cars.month)) / hazard) ** (1 / life.shape)
    good = np.where(cars.visits < age[:, None], cars.visits, 0.0).max(axis=1)
    failed = np.where(cars.visits >= age[:, None], cars.visits, np.inf).min(axis=1)
    entry = np.where(cars.known_late, cars.visits.min(axis=1), 0.0)
    # Where the history begins late, a unit that had failed by then is out, and the first visit tells nothing.
    told = ((good > 0) | np.isfinite(failed)) & np.isfinite(entry) & (failed > entry)
    told &= (good > entry) | np.isfinite(failed)
    month = np.where(cars.year_only, cars.month // 12 * 12, cars.month)
    n = int(told.sum())
    return Spells(
        population=population,
        entry=entry[told],
        good=np.maximum(good, entry)[told],
        failed=failed[told],
        month=month[told],
        year_only=cars.year_only[told],
        climate=cars.climate[told],
        position=np.zeros(n, dtype=np.int64),
        car=np.flatnonzero(told).astype(np.int64),
        count=np.ones(n),
    )


def fleet(
    seed: int, n: int, ranges: Sequence[TrueRange] = (), *, fails: str = "seldom", whole: bool = True
) -> list[tuple[Spells, Life]]:
    """Every population of n cars, the one with the `ranges` first (it `fails` as in SHARES); not `whole`: only that."""
    rng = np.random.default_rng(seed)
    cars = draw_cars(rng, n)
    found = []
    for number in range(POSITIONS * MODES if whole else 1):
        place, mode = divmod(number, MODES)
        population = Population("simulated", f"P {place + 1}", "", True, f"mode-{mode + 1}", (f"X{place + 1}",))
        life = draw_life(rng, ranges if number == 0 else (), fails)
        found.append((lives(rng, cars, life, population), life))
    return found
