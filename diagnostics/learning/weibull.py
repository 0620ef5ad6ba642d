"""Weibull proportional hazards from interval-censored, left-truncated lives, penalised by weak priors.

A life failed in (good, failed]; with H its cumulative hazard the likelihood is exp(-H(good)) - exp(-H(failed)), over
exp(-H(entry)) as nobody watched before. Newton's method on (log scale, log shape, effects) with analytic derivatives;
the covariance is Laplace's, the inverse curvature of the log posterior.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.words import _
from diagnostics.learning.records import Floats, Prior, WeibullFit

START_SHAPES = (0.6, 1.0, 1.8, 3.2)
STEPS = 100
CONVERGED = 1e-9
"""Newton's decrement (twice the gain in log posterior that is still expected) at which the search ends."""
LIMIT = 40.0
"""Of every parameter: beyond it a hazard is 0 or infinite in any trade."""


class NotIdentifiableError(ValueError):
    """The data alone do not settle the parameters, and no prior was given."""


def cumulative_hazard(age: Floats, log_scale: float, log_shape: float) -> Floats:
    """(age / scale) ** shape of the baseline; `age` in years, 0 or more."""
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
    if prior is None and not float(lives.count[np.isfinite(lives.failed)].sum()):
        raise NotIdentifiableError(_("No failure was seen: without a prior no life can be estimated."))
    estimate, value, converged = _climb(curve, start)
    curvature = -curve.derivatives(estimate)[2]
    if prior is None and (not converged or np.linalg.eigvalsh(curvature)[0] <= 1e-10 * max(1.0, curvature.max())):
        raise NotIdentifiableError(_("The observations do not settle scale and shape; a prior is needed."))
    log_prior = curve.log_prior(estimate)
    return WeibullFit(
        names=("log_scale", "log_shape", *names),
        estimate=estimate,
        covariance=_inverse(curvature),
        log_likelihood=value - log_prior,
        log_prior=log_prior,
        converged=converged,
        units=float(lives.count.sum()),
        failures=float(lives.count[np.isfinite(lives.failed)].sum()),
    )


def draws(fit: WeibullFit, n: int, seed: int) -> Floats:
    """n × p draws from the Laplace posterior, the same for the same seed."""
    values, vectors = np.linalg.eigh(fit.covariance)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    noise = np.random.default_rng(seed).standard_normal((n, len(fit.estimate)))
    return np.asarray(fit.estimate + noise @ root.T)


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
    columns = np.column_stack(
        [entry, good, failed, np.zeros(n) if offset is None else offset] + ([] if covariates is None else [covariates])
    ).astype(float)
    weight = np.ones(n) if count is None else np.asarray(count, dtype=float)
    order = np.lexsort(columns.T)
    ordered = columns[order]
    new = np.ones(n, dtype=bool)
    new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    starts = np.flatnonzero(new)
    counts = np.add.reduceat(weight[order], starts) if n else weight
    rows = ordered[starts]
    return _Lives(rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 4:], rows[:, 3], counts)


class _Posterior:
    """Log posterior of (log_scale, log_shape, effects) with its gradient and Hessian."""

    def __init__(self, lives: _Lives, names: tuple[str, ...], prior: Prior | None) -> None:
        p = 2 + len(names)
        self.lives, self.p = lives, p
        self.mean, self.precision = np.zeros(p), np.zeros(p)
        if prior is not None:
            wanted = [prior.log_scale, prior.log_shape, *(prior.effects.get(name) for name in names)]
            for place, one in enumerate(wanted):
                if one is not None:
                    self.mean[place], self.precision[place] = one[0], one[1] ** -2
        at = np.isfinite(lives.failed)
        exact = at & (lives.good == lives.failed)
        between = at & ~exact
        self.exact, self.between = exact, between
        # Each age that a likelihood asks the hazard of, with the entries it belongs to.
        self.known = self.precision > 0

    def log_prior(self, theta: Floats) -> float:
        deviation = (theta - self.mean)[self.known]
        precision = self.precision[self.known]
        return float((0.5 * np.log(precision / (2 * np.pi)) - 0.5 * precision * deviation**2).sum())

    def value(self, theta: Floats) -> float:
        if not np.all(np.abs(theta) < LIMIT):
            return -np.inf
        lives = self.lives
        eta = lives.offset + lives.covariates @ theta[2:]
        low, begun = self._hazard(lives.good, theta, eta), self._hazard(lives.entry, theta, eta)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            each = begun - low
            one = self.between
            each[one] += log1mexp(self._hazard(lives.failed[one], theta, eta[one]) - low[one])
            one = self.exact
            each[one] += np.log(low[one]) + theta[1] - np.log(lives.good[one])
            total = float(lives.count @ each)
        return total + self.log_prior(theta) if np.isfinite(total) else -np.inf

    def derivatives(self, theta: Floats) -> tuple[float, Floats, Floats]:
        """(value, gradient, Hessian)."""
        lives, shape = self.lives, float(np.exp(theta[1]))
        gradient = -self.precision * (theta - self.mean)
        hessian = -np.diag(self.precision)
        eta = lives.offset + lives.covariates @ theta[2:]

        def slopes(age: Floats, chosen: np.ndarray | slice) -> tuple[Floats, Floats, Floats]:
            """H, gradient of log H, log(age) - log_scale."""
            z = np.where(age > 0, np.log(np.where(age > 0, age, 1.0)) - theta[0], 0.0)
            hazard = np.where(age > 0, np.exp(np.minimum(shape * z + eta[chosen], 700.0)), 0.0)
            g = np.column_stack([np.full(len(age), -shape), shape * z, lives.covariates[chosen]])
            return hazard, g, z

        def add(weight: Floats, g: Floats, z: Floats) -> None:
            """Σ weight · (H's own second derivative over H): g gᵀ + d²log H."""
            hessian[:] += (g * weight[:, None]).T @ g
            hessian[0, 1] -= shape * weight.sum()
            hessian[1, 0] -= shape * weight.sum()
            hessian[1, 1] += shape * (weight @ z)

        everything = slice(None)
        for age, sign in ((lives.good, -1.0), (lives.entry, 1.0)):
            hazard, g, z = slopes(age, everything)
            weight = sign * lives.count * hazard
            gradient += weight @ g
            add(weight, g, z)
        one = self.between
        if one.any():
            low, g_low, z_low = slopes(lives.good[one], one)
            high, g_high, z_high = slopes(lives.failed[one], one)
            gap = np.maximum(high - low, 1e-300)
            count = lives.count[one]
            with np.errstate(over="ignore"):
                share = 1.0 / np.expm1(gap)
            d = high[:, None] * g_high - low[:, None] * g_low
            gradient += (count * share) @ d
            add(count * share * high, g_high, z_high)
            add(-count * share * low, g_low, z_low)
            both = d * np.sqrt(count * share * (1.0 + share))[:, None]
            hessian -= both.T @ both
        one = self.exact
        if one.any():
            _hazard, g, z = slopes(lives.good[one], one)
            count = lives.count[one]
            gradient += count @ g
            gradient[1] += count.sum()
            hessian[0, 1] -= shape * count.sum()
            hessian[1, 0] -= shape * count.sum()
            hessian[1, 1] += shape * (count @ z)
        return self.value(theta), gradient, hessian

    @staticmethod
    def _hazard(age: Floats, theta: Floats, eta: Floats) -> Floats:
        return np.asarray(cumulative_hazard(age, theta[0], theta[1]) * np.exp(eta))


def log1mexp(x: Floats) -> Floats:
    """log(1 - exp(-x)) for x >= 0 without losing digits at either end."""
    return np.asarray(np.where(x < 0.6931, np.log(-np.expm1(-x)), np.log1p(-np.exp(-x))))


def _climb(curve: _Posterior, start: Floats | None) -> tuple[Floats, float, bool]:
    """Newton with a ridge where the curvature is wrong, halving steps that lose; from the best of several starts."""
    starts = _starts(curve) if start is None or len(start) != curve.p else [np.asarray(start, dtype=float)]
    values = [curve.value(one) for one in starts]
    theta, value = starts[int(np.argmax(values))].copy(), max(values)
    for _step in range(STEPS):
        _value, gradient, hessian = curve.derivatives(theta)
        step = _uphill(gradient, -hessian)
        gain = float(gradient @ step)
        if gain < CONVERGED:
            return theta, value, True
        length = min(1.0, 3.0 / float(np.abs(step).max()))
        while length > 1e-10:
            there = curve.value(theta + length * step)
            if there >= value + 1e-4 * length * gain or (there >= value and length * gain < 1e-6):
                break
            length /= 2
        else:
            return theta, value, gain < 1e-5
        theta, value = theta + length * step, there
    return theta, value, False


def _uphill(gradient: Floats, curvature: Floats) -> Floats:
    """The Newton step; directions in which the surface bends upwards are taken by their size."""
    values, vectors = np.linalg.eigh(curvature)
    floor = 1e-8 * max(1.0, float(np.abs(values).max()))
    return np.asarray(vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), floor)))


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
    values, vectors = np.linalg.eigh(curvature)
    return np.asarray((vectors / np.maximum(values, 1e-12)) @ vectors.T)
