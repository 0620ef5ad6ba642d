"""Weibull proportional hazards from interval-censored, left-truncated lives, penalised by weak priors.

A life failed in (good, failed]; with H its cumulative hazard the likelihood is exp(-H(good)) - exp(-H(failed)), over
exp(-H(entry)) as nobody watched before. Newton's method on (log scale, log shape, effects) with analytic derivatives;
the covariance is Laplace's, the inverse curvature of the log posterior.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.words import _
from diagnostics.learning.priors import AT_YEARS
from diagnostics.learning.records import Bools, Floats, Prior, WeibullFit

START_SHAPES = (0.6, 1.0, 1.8, 3.2)
STEPS = 100
THIN = 1500
"""Lives that settle well enough where the search among many begins."""
NEAR = 1e-8
"""Newton's decrement (twice the gain in log posterior that is still expected) from which one more step ends it."""
LIMIT = 40.0
"""Of every parameter: beyond it a hazard is 0 or infinite in any trade."""
STEEPEST = 300.0
"""Log hazards are cut here, so that their squares are still numbers."""
SETTLED = 30.0
"""Standard deviation of a logarithm, from which on the data have said nothing of it."""
LOG_AGE = float(np.log(AT_YEARS))
"""The age at which hazards are drawn."""


class NotIdentifiableError(ValueError):
    """The data alone do not settle the parameters, and no prior was given."""


def cumulative_hazard(age: Floats | float, log_scale: Floats | float, log_shape: Floats | float) -> Floats:
    """(age / scale) ** shape of the baseline; `age` in years, 0 or more. What are arrays is broadcast."""
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(np.exp(np.exp(log_shape) * (np.log(age) - log_scale)))


def fit_weibull(
    entry: Floats,
    good: Floats,
    failed: Floats,
    *,
    covariates: Floats | None = None,
    names: Sequence[str] = (),
    offset: Floats | None = None,
    count: Floats | None = None,
    prior: Prior | None = None,
    start: Floats | None = None,
) -> WeibullFit:
    """The posterior mode (without `prior`: the maximum of the likelihood).

    All arrays have n entries, `covariates` is n × k with k `names`; ages in years. failed = inf: never seen failed;
    good == failed: failed at that very age. `offset` adds to the log hazard, `count` weighs entries, `start` is the
    estimate of an earlier fit. Raises NotIdentifiableError where the data do not settle the parameters and there is no
    prior.
    """
    lives = _lives(entry, good, failed, covariates, offset, count)
    curve = _Posterior(lives, tuple(names), prior)
    failures = float(lives.count[np.isfinite(lives.failed)].sum())
    if prior is None and not failures:
        raise NotIdentifiableError(_("No failure was seen: without a prior no life can be estimated."))
    if start is None and len(lives.good) > 2 * THIN:
        start = _near(lives, tuple(names), prior)
    estimate, converged = _climb(curve, start)
    covariance = _inverse(-curve.derivatives(estimate)[1])
    if prior is None:
        spread = np.concatenate([[1.0, 1.0], np.ptp(lives.covariates, axis=0)])
        if not (converged and np.all(np.sqrt(np.diag(covariance)) * spread < SETTLED)):
            raise NotIdentifiableError(_("The observations do not settle scale, shape and effects; a prior is needed."))
    log_prior = curve.log_prior(estimate)
    return WeibullFit(
        names=("log_scale", "log_shape", *names),
        estimate=estimate,
        covariance=covariance,
        log_likelihood=curve.value(estimate) - log_prior,
        log_prior=log_prior,
        converged=converged,
        units=float(lives.count.sum()),
        failures=failures,
    )


def draws(fit: WeibullFit, n: int, seed: int) -> Floats:
    """n × p draws from the Laplace posterior, the same for the same seed.

    Drawn is the log hazard at AT_YEARS in place of the log scale: the scale of what seldom fails lies far from the ages
    that were seen, and bends with the shape. Drawn on a straight line there, some draws have hazards of many hundred
    times the likely one, and the mean is theirs.
    """
    shape = float(np.exp(fit.estimate[1]))
    log_hazard = shape * (LOG_AGE - float(fit.estimate[0]))
    turn = np.eye(len(fit.estimate))
    turn[0, :2] = -shape, log_hazard
    values, vectors = np.linalg.eigh(turn @ fit.covariance @ turn.T)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    noise = np.random.default_rng(seed).standard_normal((n, len(fit.estimate)))
    drawn = np.concatenate([[log_hazard], fit.estimate[1:]]) + noise @ root.T
    drawn[:, 0] = LOG_AGE - drawn[:, 0] * np.exp(-drawn[:, 1])
    return np.asarray(drawn)


def log1mexp(x: Floats) -> Floats:
    """log(1 - exp(-x)) for x > 0: all digits where x is small; where it is large, as exact as a sum of such needs."""
    return np.asarray(np.log(-np.expm1(-x)))


@dataclass(frozen=True, slots=True, eq=False)
class _Lives:
    entry: Floats
    good: Floats
    failed: Floats
    covariates: Floats
    offset: Floats
    count: Floats


def _lives(
    entry: Floats, good: Floats, failed: Floats, covariates: Floats | None, offset: Floats | None, count: Floats | None
) -> _Lives:
    """Equal entries counted together: lives are seen in few distinct ways where ages are in months."""
    n = len(good)
    x = np.zeros((n, 0)) if covariates is None else np.asarray(covariates, dtype=float)
    weight = np.ones(n) if count is None else np.asarray(count, dtype=float)
    plain = [entry, good, failed, np.zeros(n) if offset is None else offset]
    columns = [np.asarray(column, dtype=float) for column in [*plain, *x.T]]
    # One number brings equal entries side by side; what shares it by accident only stays apart.
    mix, telling = np.zeros(n), [column for column in columns if n and column.min() < column.max()]
    for place, column in enumerate(telling):
        mix += np.where(np.isfinite(column), column, -1.0) * np.sqrt(place + 2.0)
    order = np.argsort(mix, kind="stable")
    new = np.zeros(n, dtype=bool)
    new[:1] = True
    for column in telling:
        ordered = column[order]
        new[1:] |= ordered[1:] != ordered[:-1]
    starts = np.flatnonzero(new)
    counts = np.add.reduceat(weight[order], starts) if n else weight
    row, counts = order[starts][counts > 0], counts[counts > 0]
    entry, good, failed, offset = (column[row] for column in columns[:4])
    return _Lives(entry, good, failed, x[row], offset, counts)


class _Ages:
    """Ages at which hazards are asked for. In the natural parameters (-shape · log_scale, shape, effects) the log
    hazard is linear: `base` @ them + `offset`."""

    def __init__(self, lives: _Lives, age: Floats, chosen: Bools) -> None:
        age = age[chosen]
        self.count, self.offset, self.lived = lives.count[chosen], lives.offset[chosen], age > 0
        self.log_age = np.log(np.where(self.lived, age, 1.0))
        self.base = np.column_stack([np.ones(len(age)), self.log_age, lives.covariates[chosen]])

    def hazard(self, natural: Floats) -> Floats:
        return np.asarray(np.where(self.lived, np.exp(np.minimum(self.base @ natural + self.offset, STEEPEST)), 0.0))


class _Posterior:
    """Log posterior of (log_scale, log_shape, effects) with its gradient and Hessian."""

    def __init__(self, lives: _Lives, names: tuple[str, ...], prior: Prior | None) -> None:
        self.lives, self.p = lives, 2 + len(names)
        self.mean, strict = np.zeros(self.p), np.zeros(self.p)
        if prior is not None:
            wanted = [prior.log_scale, prior.log_shape, *(prior.effects.get(name) for name in names)]
            for place, one in enumerate(wanted):
                if one is not None:
                    self.mean[place], strict[place] = one[0], one[1] ** -2
        self.known, self.strict = strict > 0, strict
        # The log scale is known less its tilt along the log shape: precision = turnᵀ diag(strict) turn.
        turn = np.eye(self.p)
        turn[0, 1] = -prior.tilt if prior is not None else 0.0
        self.precision = turn.T @ (strict[:, None] * turn)
        at = np.isfinite(lives.failed)
        exact = at & (lives.good == lives.failed)
        self.between = np.flatnonzero(at & ~exact)
        self.entry = _Ages(lives, lives.entry, lives.entry > 0)
        self.good = _Ages(lives, lives.good, np.ones(len(at), dtype=bool))
        self.high = _Ages(lives, lives.failed, at & ~exact)
        self.low_base = self.good.base[self.between]
        self.exact = _Ages(lives, lives.good, exact)
        self.asked: tuple[Floats, tuple[Floats, Floats, Floats]] | None = None

    def log_prior(self, theta: Floats) -> float:
        deviation = theta - self.mean
        size = 0.5 * np.log(self.strict[self.known] / (2 * np.pi)).sum()
        return float(size - 0.5 * deviation @ self.precision @ deviation)

    def hazards(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """At good, at failed where that came later, and at entry; kept, as the slope is asked where the value was."""
        if self.asked is None or not np.array_equal(self.asked[0], theta):
            natural = _natural(theta)
            self.asked = (
                theta.copy(),
                (
                    self.good.hazard(natural),
                    self.high.hazard(natural),
                    self.entry.hazard(natural),
                ),
            )
        return self.asked[1]

    def value(self, theta: Floats) -> float:
        if not np.all(np.abs(theta) < LIMIT):
            return -np.inf
        good, high, begun = self.hazards(theta)
        gap = high - good[self.between]
        if not np.all(gap > 0):
            return -np.inf
        exact = self.exact
        total = (
            self.entry.count @ begun
            - self.good.count @ good
            + self.high.count @ log1mexp(gap)
            + exact.count @ (exact.base @ _natural(theta) + exact.offset + theta[1] - exact.log_age)
        )
        return float(total) + self.log_prior(theta)

    def derivatives(self, theta: Floats) -> tuple[Floats, Floats]:
        """(gradient, Hessian)."""
        slope, bend = np.zeros(self.p), np.zeros((self.p, self.p))

        def add(base: Floats, weight: Floats) -> None:
            """Σ weight · hazard: its slope and its bend are alike."""
            slope[:] += weight @ base
            bend[:] += (base * weight[:, None]).T @ base

        good, high, begun = self.hazards(theta)
        low, count = good[self.between], self.high.count
        # d log(1 - exp(-gap)) is `pull` times d gap; its second derivative -pull (1 + pull).
        pull = 1.0 / np.expm1(np.clip(high - low, 1e-150, 700.0))
        passed = self.good.count * good
        passed[self.between] += count * pull * low
        add(self.good.base, -passed)
        add(self.high.base, count * pull * high)
        add(self.entry.base, self.entry.count * begun)
        both = self.high.base * high[:, None] - self.low_base * low[:, None]
        both *= (np.sqrt(count * pull) * np.sqrt(1.0 + pull))[:, None]
        bend -= both.T @ both
        slope += self.exact.count @ self.exact.base
        gradient, hessian = _of_logs(slope, bend, theta[0], float(np.exp(theta[1])))
        gradient[1] += self.exact.count.sum()
        return gradient - self.precision @ (theta - self.mean), hessian - self.precision


def _natural(theta: Floats) -> Floats:
    shape = np.exp(theta[1])
    return np.concatenate([[-shape * theta[0], shape], theta[2:]])


def _of_logs(slope: Floats, bend: Floats, log_scale: float, shape: float) -> tuple[Floats, Floats]:
    """Gradient and Hessian in (log_scale, log_shape, effects) from those in the natural parameters."""
    turn = np.eye(len(slope))
    turn[:2, :2] = [[-shape, -shape * log_scale], [0.0, shape]]
    hessian = turn.T @ bend @ turn
    hessian[0, 1] -= shape * slope[0]
    hessian[1, 0] -= shape * slope[0]
    hessian[1, 1] += shape * (slope[1] - log_scale * slope[0])
    return slope @ turn, hessian


def _climb(curve: _Posterior, start: Floats | None) -> tuple[Floats, bool]:
    """Newton with a ridge where the curvature is wrong, halving steps that lose; from the best of several starts."""
    starts = _starts(curve) if start is None or len(start) != curve.p else [np.asarray(start, dtype=float)]
    values = [curve.value(one) for one in starts]
    if start is not None and not np.isfinite(max(values)):
        return _climb(curve, None)
    theta, value = starts[int(np.argmax(values))].copy(), max(values)
    for _step in range(STEPS):
        gradient, hessian = curve.derivatives(theta)
        step = _uphill(gradient, -hessian)
        gain = float(gradient @ step)
        if gain < NEAR:
            return theta + step, True
        length = min(1.0, 3.0 / float(np.abs(step).max()))
        while (there := curve.value(theta + length * step)) < value + 1e-4 * length * gain:
            length /= 2
            if length < 1e-10:
                return theta, gain < 1e-5
        theta, value = theta + length * step, there
    return theta, False


def _near(lives: _Lives, names: tuple[str, ...], prior: Prior | None) -> Floats | None:
    """Where a thinned sample ends; None where it does not settle anything."""
    some = slice(None, None, len(lives.good) // THIN)
    few = (lives.entry, lives.good, lives.failed, lives.covariates, lives.offset, lives.count)
    estimate, converged = _climb(_Posterior(_Lives(*(column[some] for column in few)), names, prior), None)
    return estimate if converged else None


def _uphill(gradient: Floats, curvature: Floats) -> Floats:
    """The Newton step; directions in which the surface bends upwards are taken by their size."""
    sizes, values, vectors = _bends(curvature)
    along = vectors.T @ (gradient / sizes)
    return np.asarray(vectors @ (along / np.maximum(np.abs(values), 1e-9)) / sizes)


def _bends(curvature: Floats) -> tuple[Floats, Floats, Floats]:
    """(sizes, values, vectors) with curvature = S V diag(values) Vᵀ S, S = diag(sizes): each parameter in its own unit,
    so that a strict prior on one does not hide what is known of the others."""
    diagonal = np.abs(np.diag(curvature))
    sizes = np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    values, vectors = np.linalg.eigh(curvature / np.outer(sizes, sizes))
    return sizes, values, vectors


def _starts(curve: _Posterior) -> list[Floats]:
    """For several shapes the scale that right-censored lives would give, and the prior's own centre."""
    lives = curve.lives
    fails = np.isfinite(lives.failed)
    last = np.where(fails, (lives.good + np.where(fails, lives.failed, 0.0)) / 2, lives.good)
    weight = lives.count * np.exp(np.clip(lives.offset, -20, 20))
    events = max(float(lives.count[fails].sum()), 0.5)
    found = []
    for shape in START_SHAPES:
        with np.errstate(over="ignore"):
            exposure = float(weight @ (last**shape - lives.entry**shape))
        scale = (max(exposure, 1e-12) / events) ** (1.0 / shape)
        theta = np.zeros(curve.p)
        theta[0], theta[1] = np.clip(np.log(scale), -LIMIT + 1, LIMIT - 1), np.log(shape)
        found.append(theta)
    if curve.known[:2].all():
        found.append(np.where(curve.known, curve.mean, 0.0))
    return found


def _inverse(curvature: Floats) -> Floats:
    sizes, values, vectors = _bends(curvature)
    return np.asarray((vectors / np.maximum(values, 1e-12)) @ vectors.T / np.outer(sizes, sizes))
