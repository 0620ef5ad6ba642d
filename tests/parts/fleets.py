"""Made-up fleets and models, as columns: what the demand is computed from, without a database."""

from collections.abc import Sequence

import numpy as np

from diagnostics.learning.fleet import NEVER, Cars, Cohort, Fleet, Way, half_made
from diagnostics.learning.records import PartModel, Population, Tally, WeibullFit

NOW = 2026 * 24


def a_model(
    position: str, mode: str = "never-makes", *, years: float = 40.0, shape: float = 1.6, sd: float = 0.15,
    original: bool = True,
) -> PartModel:  # fmt: skip
    """Units of which 63 % have failed after `years`, with doubt (`sd` of the log scale)."""
    fit = WeibullFit(
        names=("log_scale", "log_shape", "hot", "cold"),
        estimate=np.array([np.log(years), np.log(shape), 0.3, 0.1]),
        covariance=np.diag([sd**2, (sd / 2) ** 2, (sd / 2) ** 2, (sd / 2) ** 2]),
        log_likelihood=-10.0,
        log_prior=-1.0,
        converged=True,
        units=100.0,
        failures=10.0,
    )
    return PartModel(
        Population("top", f"P-{position}", "", original, mode, (position,)), fit, Tally(100, 100, 10), 100,
        0.0, 0.0, (), (), (), (), f"{years} {shape} {sd}",
    )  # fmt: skip


def some_cars(count: int, seed: int = 3, *, months: int = 120) -> Cars:
    """Cars of `months` production months up to four years ago, first seen in the last eight years."""
    rng = np.random.default_rng(seed)
    month = NOW // 2 - 48 - rng.integers(0, months, count)
    first = np.maximum(half_made(month, np.zeros(count, dtype=bool)) + 24, NOW - rng.integers(1, 8 * 24, count))
    visits = rng.poisson(0.3 * (NOW - first) / 24.0)
    last = np.where(visits > 0, rng.integers(first, NOW + 1), first)
    return Cars(
        key=1000 + np.arange(count),
        month=month,
        year_only=np.zeros(count, dtype=bool),
        climate=rng.choice(3, count, p=[0.6, 0.3, 0.1]),
        first=first,
        last=last,
        came=np.ones(count, dtype=bool),
        visits=visits,
        brought=rng.binomial(visits, 0.5),
    )


def a_cohort(
    cars: Cars, position: str, ways: Sequence[Way], *, of: np.ndarray | None = None, fitted: np.ndarray | None = None
) -> Cohort:
    """Units of all cars, or of those in `of`: the original ones, or those fitted in the half months `fitted`."""
    car = np.arange(len(cars)) if of is None else of
    since = half_made(cars.month, cars.year_only)[car] if fitted is None else fitted
    return Cohort(
        position, f"P-{position}", "", fitted is None, tuple(ways), car,
        np.broadcast_to(since, (len(ways), len(car))), np.full(len(car), NEVER),
    )  # fmt: skip


def a_fleet(
    cars: Cars, cohorts: Sequence[Cohort], *, past: Sequence[Cohort] = (), at_first: dict[str, int] | None = None
) -> Fleet:
    return Fleet("top", NOW, NOW - 10 * 24, cars, tuple(cohorts), tuple(past), at_first or {})


def big_fleet(count: int, positions: int, modes: int = 4) -> Fleet:
    """Every eighth unit was exchanged in the last eight years."""
    rng = np.random.default_rng(5)
    cars = some_cars(count)
    cohorts = []
    for number in range(positions):
        place = f"BG{number + 1}"
        later = rng.random(count) < 0.125
        for original in (True, False):
            of = np.flatnonzero(later != original)
            fitted = None if original else NOW - rng.integers(1, 8 * 24, len(of))
            models = [a_model(place, f"m{mode}", years=60.0 + 20 * mode, original=original) for mode in range(modes)]
            cohorts.append(a_cohort(cars, place, [Way(one, 0.9) for one in models], of=of, fitted=fitted))
    return a_fleet(cars, cohorts, at_first={f"BG{number + 1}": count // 50 for number in range(positions)})
