"""The shapes that the parts of the learning share with each other, with the pages and with the other apps.

Ages are in years, months are counted from the year 0 (`month_of`), log hazards are natural logarithms. A `mode` is a
mode of `engine/faults.py` or whatever a file of observations calls it.
"""

from dataclasses import dataclass, field
from datetime import date

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

CLIMATES = ("temperate", "hot", "cold")
"""The first is the reference of the effects of the others."""
YEAR_DAYS = 365.25
LEVEL = 0.9
"""Probability held by every set of months and every interval that is said."""
Z = 1.6448536269514722
"""Standard deviations to either side of the middle of a normal density that hold LEVEL of it."""
SEED = 20417
"""Of the draws, so that whoever learns from the same data gets the same answer."""


MIDDLE_OF_MONTH, MIDDLE_OF_YEAR = 15.2, 182.6
"""Days after its first day at which a car of a known month, or year, is taken to be made."""


def age_of(made_on: date, on: date, *, year_only: bool) -> float:
    """Years of an original unit on a day, below 0 where the car was hardly made; `made_on` as in shop.models.Car."""
    return ((on - made_on).days - (MIDDLE_OF_YEAR if year_only else MIDDLE_OF_MONTH)) / YEAR_DAYS


def month_of(day: date) -> int:
    return day.year * 12 + day.month - 1


def month_words(month: int) -> str:
    """'2004-03', as in files and commands."""
    return f"{month // 12:04d}-{month % 12 + 1:02d}"


def first_day(month: int) -> date:
    return date(month // 12, month % 12 + 1, 1)


@dataclass(frozen=True, slots=True, order=True)
class Population:
    """Units that are taken to be alike: one part (and revision of it) in one top system, in one mode of failing.

    `original`: fitted when the car was made. Only those have production ranges by the car's month; later units (and
    what was mended in place) are a population of their own. `positions`: all places of the part in this system.
    """

    system: str
    part: str
    revision: str
    original: bool
    mode: str
    positions: tuple[str, ...] = field(compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """What is known of the lives of one population, one entry a unit; all arrays of one length.

    The failure came in (good, failed]: `good` the last age seen good (not below `entry`), `failed` the first age seen
    failed, inf where that was never seen. good == failed: the age itself is known. Nothing before `entry` was seen by
    anybody (left truncation). `month`: production month of the car; with `year_only` it is January of the year and
    the car may be of any of its months. `climate`: index into CLIMATES. `position`: index into
    population.positions. `car`: an integer that units of one car share. `count`: how many units the entry stands for.
    """

    population: Population
    entry: Floats
    good: Floats
    failed: Floats
    month: Ints
    year_only: Bools
    climate: Ints
    position: Ints
    car: Ints
    count: Floats

    @property
    def has_failed(self) -> Bools:
        return np.isfinite(self.failed)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its interval of probability LEVEL."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Tally:
    """`cars` with such a unit seen here, their `units`, how many of those `failed`."""

    cars: int
    units: int
    failed: int


@dataclass(frozen=True, slots=True, eq=False)
class WeibullFit:
    """Proportional hazards over a Weibull baseline: H(t | x) = exp(x @ effects) * (t / scale) ** shape.

    `names`: "log_scale", "log_shape", then the effects in the order of their columns: "hot", "cold", "at:<position>"
    (deviation of one place of a part that has several), "range:1", "range:2", … `covariance`: Laplace, of
    `estimate`. `log_likelihood` at the estimate, without the prior.
    """

    names: tuple[str, ...]
    estimate: Floats
    covariance: Floats
    log_likelihood: float
    log_prior: float
    converged: bool
    units: float
    failures: float

    @property
    def scale_years(self) -> float:
        return float(np.exp(self.estimate[0]))

    @property
    def shape(self) -> float:
        return float(np.exp(self.estimate[1]))

    @property
    def has_ranges(self) -> bool:
        return any(name.startswith("range:") for name in self.names)

    def effect(self, name: str) -> float:
        """An effect on the log hazard; 0 where the fit has none of this name."""
        return float(self.estimate[self.names.index(name)]) if name in self.names else 0.0


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal priors (mean, standard deviation) of a WeibullFit; `effects` by name. They are independent but for `tilt`:
    by how much the mean of the log scale moves with the log shape, so that what is known before can be a share failed
    by an age, whatever the shape."""

    log_scale: tuple[float, float]
    log_shape: tuple[float, float]
    effects: dict[str, tuple[float, float]] = field(default_factory=dict)
    tilt: float = 0.0

    def log_scale_at(self, log_shape: Floats | float) -> Floats | float:
        """The mean of the log scale for a log shape."""
        return self.log_scale[0] + self.tilt * (log_shape - self.log_shape[0])


@dataclass(frozen=True, slots=True)
class WindowWeight:
    """One window of the posterior, and its share of the probability that there is a range."""

    first: int
    last: int
    weight: float


@dataclass(frozen=True, slots=True)
class LogRank:
    """Two groups, the second being the one marked True: its failures less those expected if the groups were alike
    (`statistic`), their variance, chi square on 1 degree of freedom with its p. `expected` of (first, second)."""

    statistic: float
    variance: float
    chi2: float
    p: float
    expected: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Range:
    """A production range found in the data.

    `first`, `last`: the likeliest window; `first_set`, `last_set`: months (lowest, highest) that hold LEVEL of the
    probability of each end. `open_first`: nothing older was seen, so that the range may reach further back
    ("made up to …"); `open_last` likewise. `probability` that there is a range here; `found`: kept by the
    false-discovery control over everything that was searched. `windows`: the heaviest windows, weights summing to 1.
    `ratio_by_climate`: the ratio within each climate, `interaction`: probability that the climates differ in it.
    """

    first: int
    last: int
    first_set: tuple[int, int]
    last_set: tuple[int, int]
    open_first: bool
    open_last: bool
    probability: float
    ratio: Estimate
    inside: Tally
    outside: Tally
    found: bool
    windows: tuple[WindowWeight, ...]
    ratio_by_climate: dict[str, Estimate] = field(default_factory=dict)
    interaction: float = 0.0
    state: str = "proposed"
    """proposed | confirmed | dismissed: what the owner decided of it, before this learning."""
    log_rank: LogRank | None = None
    """Inside (the second) against outside, without any model; None in what was kept before it was made."""

    @property
    def is_used(self) -> bool:
        """Not dismissed, and confirmed or found."""
        return self.state == "confirmed" or (self.state == "proposed" and self.found)


@dataclass(frozen=True, slots=True)
class ClimateEffect:
    """Hazard ratio of a climate to the first of CLIMATES; `probability` that climates matter here at all."""

    climate: str
    ratio: Estimate
    probability: float


@dataclass(frozen=True, slots=True)
class Curve:
    """Cumulative share failed by age, one entry an age: the model with its band, the nonparametric estimate, and
    the number at risk (units that are still watched at that age and not known to have failed)."""

    label: str
    """all | inside | outside"""
    age: tuple[float, ...]
    share: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    nonparametric: tuple[float | None, ...]
    at_risk: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MonthTally:
    """Units of one place and production month: seen, failed, and how many failures the model without any range
    expects of them."""

    month: int
    position: str
    units: int
    failed: int
    expected: float


@dataclass(frozen=True, slots=True)
class PartModel:
    """All that was learned of one population. `fit` holds the effects of the ranges that are used ("range:1" is
    `used[0]`): confirmed ones and found ones that nobody dismissed. `ranges`: all that were found or proposed.

    `range_probability` and `log_bayes`: that there is a range at all (0 and -inf where none was searched).
    """

    population: Population
    fit: WeibullFit
    tally: Tally
    checks: int
    range_probability: float
    log_bayes: float
    ranges: tuple[Range, ...]
    climates: tuple[ClimateEffect, ...]
    curves: tuple[Curve, ...]
    months: tuple[MonthTally, ...]
    fingerprint: str
    """sha256 of the data that it was learned from, and of what the owner decided."""

    @property
    def used(self) -> tuple[Range, ...]:
        return tuple(one for one in self.ranges if one.is_used)


@dataclass(frozen=True, slots=True)
class Decision:
    """What the owner said of a range: `state` confirmed | dismissed."""

    system: str
    part: str
    mode: str
    first: int
    last: int
    state: str


@dataclass(frozen=True, slots=True)
class Skipped:
    """An observation that was not taken; `row`: its number in the file, the heading being row 1."""

    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Learned:
    models: tuple[PartModel, ...]
    skipped: tuple[Skipped, ...]
    fingerprint: str
    cars: int
    units: int
    checks: int
    seed: int = SEED
