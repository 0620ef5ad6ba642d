"""Will a car whose top fails come here? Learned from the visits; and the cars that will come for the first time.

**Still one of ours.** A car comes again and again until, after some visit, it is seen no more: scrapped, sold far
away, gone elsewhere; nobody tells. Visits of a car that still comes are a Poisson process whose rate differs from car
to car (gamma); after each visit, the first too, it is lost with a chance that differs as well (beta). This is the
MBG/NBD model (E. P. Batislam, M. Denizel and A. Filiztekin, International Journal of Research in Marketing 24 (2007)
201-209; after the BG/NBD of P. S. Fader, B. G. S. Hardie and K. L. Lee, Marketing Science 24 (2005) 275-284), here
with weak priors so that ten cars give a sane answer. No word that a car is retired is needed: long silence says it.

**Does it bring what fails.** Of the failures that the models expect of a car while it is ours, it brings some here,
and has the others mended elsewhere or lives with them: the failures that it did bring, over those expected, are
gamma-Poisson with a mean that all cars share and a spread learned from them. First visits count in neither: they are
what made the car known. The shared mean is drawn for each draw of the models, from what that draw expects: a draw in
which everything fails oftener is one in which fewer failures come here, and the two together agree with what was seen.

**New cars.** First visits of a month are Poisson, their rate changes by a steady share a year; each brings pieces of a
part as first visits did so far.

Time is in years; the priors are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from diagnostics.learning.fleet import NEVER, Draws, Fleet, Lived, expected
from diagnostics.learning.records import SEED, Floats, Ints

MOST_MONTHS = 24
"""Nobody plans further ahead."""
HABIT = np.log([1.0, 2.0, 0.6, 1.6])
"""Of r, alpha (years), a, b: a visit in two years, one car in four lost after a visit."""
HABIT_SD = np.array([0.7, 0.7, 0.7, 0.7])
FARTHEST = 30.0
"""Of every logarithm."""
MOST_ROWS = 4000
"""Distinct histories from which habits are learned; more tell no more."""
BROUGHT, BROUGHT_OF = 3.0, 5.0
"""Three in five failures of a known car come here."""
SPREADS = np.geomspace(0.25, 64.0, 25)
SPREAD, SPREAD_SD = np.log(2.0), 1.0
ARRIVALS_MONTHS, SETTLING_MONTHS = 36, 12
"""New cars are counted over so long; in its first year of writing down every old customer is new to the record."""
RATE, RATE_SD, SLOPE_SD = np.log(0.5), 1.0, 0.2
NEWCOMERS = 5.0
"""How many new cars weigh as much as the thought that all positions are alike."""


@dataclass(frozen=True, slots=True)
class Habit:
    """Rates of visits are gamma of shape r and rate alpha (years), chances of being lost after a visit beta (a, b)."""

    r: float
    alpha: float
    a: float
    b: float


@dataclass(frozen=True, slots=True, eq=False)
class Coming:
    """`ours` (cars,): chance that a car is still one of the shop's; `chance` (cars,): that it comes here if it fails,
    this among it. `relative` (draws,): that chance in each draw over its mean. `brought`: the share of failures that
    known cars bring. `arrivals` (draws, MOST_MONTHS): new cars to be expected; `growth`: their factor from year to
    year. `pieces`: position -> (draws,) pieces fitted there that a new car brings at its first visit."""

    ours: Floats
    chance: Floats
    relative: Floats
    brought: float
    arrivals: Floats
    growth: float
    pieces: dict[str, Floats]


def coming_of(fleet: Fleet, drawn: Draws) -> Coming:
    """What the visits of a fleet tell."""
    cars = fleet.cars
    rng = np.random.default_rng(SEED + crc32(fleet.system.encode()))
    since, last = (fleet.now - cars.first) / 24.0, (cars.last - cars.first) / 24.0
    habit = habit_of(cars.visits, last, since)
    ours = still_ours(habit, cars.visits, last, since)
    by_draw, by_car = _expected(fleet, ours, drawn)
    brought = float(cars.brought.sum())
    share = rng.gamma(BROUGHT + brought, 1.0 / (BROUGHT_OF + by_draw))
    # More than all that fail cannot come; that a car fails oftener than the models say is not for here.
    share = np.minimum(share, 1.0)
    mean = float(share.mean())
    own = own_shares(cars.brought, mean * by_car)
    arrivals, growth = _arrivals(fleet, rng, drawn.count)
    return Coming(
        ours=ours,
        chance=np.minimum(ours * own * mean, 1.0),
        relative=share / mean,
        brought=mean,
        arrivals=arrivals,
        growth=growth,
        pieces=_pieces(fleet, rng, drawn.count),
    )


def habit_of(visits: Ints, last: Floats, since: Floats) -> Habit:
    """The posterior mode. (n,) of each car: visits after the first, years from the first to the last, years from the
    first until now."""
    rows, count = np.unique(np.column_stack([visits, last, since]), axis=0, return_counts=True)
    step = -(-len(rows) // MOST_ROWS) or 1
    rows, weight = rows[::step], count[::step] * float(step)
    x = rows[:, 0].astype(np.int64)

    def value(theta: Floats) -> float:
        if float(np.abs(theta).max()) > FARTHEST:
            return -np.inf
        prior = -0.5 * float((((theta - HABIT) / HABIT_SD) ** 2).sum())
        return prior + float(weight @ log_likelihood(Habit(*np.exp(theta)), x, rows[:, 1], rows[:, 2]))

    return Habit(*(float(one) for one in np.exp(_highest(value, HABIT))))


def log_likelihood(habit: Habit, visits: Ints, last: Floats, since: Floats) -> Floats:
    """(n,) of each car's visits; Batislam, Denizel and Filiztekin (2007), their likelihood of an individual."""
    stays, leaves, rising = _terms(habit, visits, last, since)
    return np.asarray(rising + np.logaddexp(stays, leaves))


def still_ours(habit: Habit, visits: Ints, last: Floats, since: Floats) -> Floats:
    """(n,): chance that a car with these visits was not lost after the last of them."""
    stays, leaves, _rising = _terms(habit, visits, last, since)
    return np.asarray(np.exp(-np.logaddexp(0.0, leaves - stays)))


def _terms(habit: Habit, visits: Ints, last: Floats, since: Floats) -> tuple[Floats, Floats, Floats]:
    """Logarithms: of having come so and staying, of having come so and leaving, of what both share."""
    steps = np.arange(int(visits.max(initial=0)) + 1)
    # Quotients of gamma functions whose arguments differ by whole numbers are products.
    rises = np.concatenate([[0.0], np.cumsum(np.log(habit.r + steps))])[visits]
    kept = np.cumsum(np.log(habit.b + steps) - np.log(habit.a + habit.b + steps))[visits]
    stays = kept - (habit.r + visits) * np.log(habit.alpha + since)
    leaves = kept + np.log(habit.a / (habit.b + visits)) - (habit.r + visits) * np.log(habit.alpha + last)
    return stays, leaves, rises + habit.r * np.log(habit.alpha)


def own_shares(brought: Ints, expected: Floats) -> Floats:
    """(n,): the share that each car brings over that of all cars, drawn towards 1; `expected` (n,) failures that it
    would have brought with the share of all. How much cars differ is learned from all of them."""
    steps = np.arange(int(brought.max(initial=0)) + 1)
    log = -0.5 * ((np.log(SPREADS) - SPREAD) / SPREAD_SD) ** 2
    mean = np.maximum(expected, 1e-12)
    for place, k in enumerate(SPREADS):
        rises = np.concatenate([[0.0], np.cumsum(np.log(k + steps))])[brought]
        log[place] += (rises - k * np.log1p(mean / k) - brought * np.log(k + mean)).sum()
    weight = np.exp(log - log.max())
    spread = float(np.exp((weight / weight.sum()) @ np.log(SPREADS)))
    return np.asarray((spread + brought) / (spread + expected))


def _expected(fleet: Fleet, ours: Floats, drawn: Draws) -> tuple[Floats, Floats]:
    """Failures that the models expect between the first visit and now while the cars were the shop's: (draws,) of all,
    (cars,) of each. Until its last visit a car certainly was."""
    cars = fleet.cars
    by_draw, by_car = np.zeros(drawn.count), np.zeros(len(cars))
    for cohort in (*fleet.fitted, *fleet.past):
        car = cohort.car
        end = np.where(cohort.until == NEVER, fleet.now, cohort.until)
        fitted = cohort.since.min(axis=0)
        known, last = np.maximum(cars.first[car], fitted), np.clip(cars.last[car], fitted, end)
        for begin, until, weight in ((known, last, np.ones(len(car))), (np.maximum(known, last), end, ours[car])):
            of_all, of_each = expected(Lived(cohort, begin, until, weight), cars, drawn)
            by_draw += of_all
            by_car += np.bincount(car, of_each, len(cars))
    return by_draw, by_car


def _arrivals(fleet: Fleet, rng: np.random.Generator, draws: int) -> tuple[Floats, float]:
    """(draws, MOST_MONTHS) expected first visits, and their yearly factor."""
    kept = (fleet.now - fleet.begins) // 2
    counted = min(ARRIVALS_MONTHS, kept - SETTLING_MONTHS if kept >= 2 * SETTLING_MONTHS else kept)
    ago = (fleet.now - fleet.cars.first[fleet.cars.came]) // 2
    seen = np.bincount(ago[(ago >= 0) & (ago < counted)], minlength=counted).astype(float)
    level, slope, covariance = log_trend(seen, (np.arange(counted) + 0.5) / -12.0)
    drawn = rng.multivariate_normal([level, slope], covariance, draws)
    ahead = (np.arange(MOST_MONTHS) + 0.5) / 12.0
    return np.exp(drawn[:, :1] + drawn[:, 1:] * ahead), float(np.exp(slope))


def log_trend(counts: Floats, years: NDArray[np.floating]) -> tuple[float, float, Floats]:
    """Poisson counts of months whose log rate is a straight line over `years`: its height at 0, its slope a year, and
    their covariance (Laplace)."""
    rows = np.column_stack([np.ones(len(years)), years])
    centre, strict = np.array([RATE, 0.0]), np.diag([RATE_SD**-2, SLOPE_SD**-2])
    theta = np.array([np.log(max(counts.mean(), 0.02)) if len(counts) else RATE, 0.0])
    for _step in range(50):
        rate = np.exp(rows @ theta)
        bend = (rows * rate[:, None]).T @ rows + strict
        step = np.linalg.solve(bend, rows.T @ (counts - rate) - strict @ (theta - centre))
        theta = theta + step * min(1.0, 1.0 / float(np.abs(step).max() + 1e-12))
        if float(np.abs(step).max()) < 1e-10:
            break
    return float(theta[0]), float(theta[1]), np.asarray(np.linalg.inv(bend))


def _pieces(fleet: Fleet, rng: np.random.Generator, draws: int) -> dict[str, Floats]:
    positions = sorted({one.position for one in fleet.fitted})
    cars, every = float(fleet.cars.came.sum()), sum(fleet.at_first.values())
    usual = (every + 0.5) / (cars + 1.0) / max(len(positions), 1)
    return {
        position: rng.gamma(usual * NEWCOMERS + fleet.at_first.get(position, 0), 1.0 / (NEWCOMERS + cars), draws)
        for position in positions
    }


def _highest(value: Callable[[Floats], float], start: Floats) -> Floats:
    """Newton's method with differences for derivatives, its step shortened where the curve is not yet a hill's top."""
    theta, step, size = start, 1e-3, len(start)
    unit, ridge, here = np.eye(size) * step, 1e-3, value(start)
    for _round in range(60):
        slope, bend = np.zeros(size), np.zeros((size, size))
        for i in range(size):
            more, less = value(theta + unit[i]), value(theta - unit[i])
            slope[i], bend[i, i] = (more - less) / (2 * step), (more - 2 * here + less) / step**2
            for j in range(i):
                both = value(theta + unit[i] + unit[j]) - value(theta + unit[i] - unit[j])
                both += value(theta - unit[i] - unit[j]) - value(theta - unit[i] + unit[j])
                bend[i, j] = bend[j, i] = both / (4 * step**2)
        while True:
            values, vectors = np.linalg.eigh(-bend)
            move = vectors @ ((vectors.T @ slope) / np.maximum(np.abs(values) + ridge, 1e-6))
            move *= min(1.0, 1.0 / max(float(np.abs(move).max()), 1e-12))
            there = value(theta + move)
            if there >= here or ridge > 1e12:
                break
            ridge *= 10
        if float(np.abs(move).max()) < 1e-6 or there < here:
            return theta
        theta, here, ridge = theta + move, there, ridge / 10
    return theta
