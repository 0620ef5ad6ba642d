"""The share failed by age without any model of it, and whether two groups differ: the check beside the Weibull fit.

The nonparametric maximum likelihood estimate for lives known to have ended in (good, failed], watched from `entry` on
(Turnbull 1976; left truncation after Frydman 1994). It lays mass only on the innermost intervals. In the hazard of
each, h >= 0, the log likelihood -Σ h·(seen to pass) + Σ log(1 - exp(-Σ h within)) is concave, so that Newton's method
on the intervals that carry mass, which takes in others while any would gain, ends at the maximum and knows that it did.
Exact ages and right censoring give Kaplan and Meier's estimate.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.learning.records import Bools, Floats, Ints, LogRank

CERTAIN = 40.0
"""Hazard that stands for surely: exp(-40) is nothing beside 1."""
STEPS = 2000
MONTHS = 12
GAIN = 1e-9
"""Of the gradient, a unit of weight: below it no other mass would raise the likelihood."""


@dataclass(frozen=True, slots=True, eq=False)
class Npmle:
    """Masses of the innermost intervals (left, right] in years, rising; left == right: at that very age; right inf:
    later than anybody was watched. Where `mass` lies within its interval the data do not say."""

    left: Floats
    right: Floats
    mass: Floats

    def share_at(self, ages: Floats) -> Floats:
        """Share failed by each age: spread evenly within an interval, nan where nobody was watched any more."""
        ages = np.asarray(ages, dtype=float)
        known = np.isfinite(self.right)
        left, right, mass = self.left[known], self.right[known], self.mass[known]
        width = right - left
        with np.errstate(invalid="ignore", divide="ignore"):
            part = np.clip((ages[:, None] - left) / width, 0.0, 1.0)
        share = np.where(ages[:, None] >= right, 1.0, np.where(width > 0, part, 0.0)) @ mass
        last = self.left[~known].min(initial=np.inf)
        return np.asarray(np.where(ages > last, np.nan, share))


def npmle(entry: Floats, good: Floats, failed: Floats, count: Floats | None = None) -> Npmle:
    """The estimate; arrays of n, ages in years, failed inf: never seen failed, good == failed: at that age.

    Where lives are watched from late ages only, the few that were watched early carry the whole early curve; where
    the last of them failed, the estimate is 1 from there on, as Kaplan and Meier's is.
    """
    lives = _Lives.of(entry, good, failed, count)
    survival = np.concatenate([[1.0], np.exp(-np.cumsum(_hazards(lives)))])
    left, right, mass = lives.left, lives.right, survival[:-1] - survival[1:]
    beyond = np.max(good[lives.row][~np.isfinite(failed[lives.row])], initial=right.max(initial=0.0))
    if survival[-1] > math.exp(-CERTAIN) * 2:
        left, right, mass = np.append(left, beyond), np.append(right, np.inf), np.append(mass, survival[-1])
    return Npmle(left, right, mass)


def log_rank(groups: Bools, entry: Floats, good: Floats, failed: Floats, count: Floats | None = None) -> LogRank:
    """Sun's test (Statistics in Medicine 15, 1996): every failure is spread over its interval as the pooled estimate
    has it, then counted as in the log-rank test, with the hypergeometric variance. For right-censored ages it is that
    test. Where it cannot tell (no failure, or only one group at risk whenever there was one) p is 1.
    """
    lives = _Lives.of(entry, good, failed, count)
    hazards = _hazards(lives)
    inside = np.asarray(groups, dtype=bool)[lives.row]
    (d_out, n_out), (d_in, n_in) = (lives.expected(hazards, chosen) for chosen in (~inside, inside))
    d, n = d_out + d_in, n_out + n_in
    at = n > 1e-12
    d_in, d, n, share = d_in[at], d[at], n[at], n_in[at] / n[at]
    spread = np.clip((n - d) / np.where(n > 1, n - 1, np.inf), 0.0, 1.0)
    variance = float((d * share * (1 - share) * spread).sum())
    expected = float((d * share).sum())
    statistic = float(d_in.sum()) - expected
    chi2 = statistic**2 / variance if variance > 1e-12 else 0.0
    return LogRank(statistic, variance, chi2, math.erfc(math.sqrt(chi2 / 2)), (float(d.sum()) - expected, expected))


def to_months(entry: Floats, good: Floats, failed: Floats) -> tuple[Floats, Floats, Floats]:
    """Ages aligned to whole months, nobody knows them better than that, so that (good, failed] keeps some width."""
    low = np.floor(good * MONTHS)
    high = np.where(np.isfinite(failed), np.maximum(np.ceil(failed * MONTHS), low + 1), np.inf)
    return np.minimum(np.floor(entry * MONTHS), low) / MONTHS, low / MONTHS, high / MONTHS


def at_risk(entry: Floats, good: Floats, failed: Floats, ages: Floats, count: Floats | None = None) -> Floats:
    """How many units are still watched at each age and not known to have failed."""
    weight = np.ones(len(good)) if count is None else np.asarray(count, dtype=float)
    end = np.where(np.isfinite(failed), failed, good)
    return _up_to(entry, weight, ages, "right") - _up_to(end, weight, ages, "left")


def _up_to(value: Floats, weight: Floats, ages: Floats, side: Literal["left", "right"]) -> Floats:
    order = np.argsort(value, kind="stable")
    sums = np.concatenate([[0.0], np.cumsum(weight[order])])
    return np.asarray(sums[np.searchsorted(value[order], ages, side=side)])


@dataclass(frozen=True, slots=True, eq=False)
class _Lives:
    """Lives by the innermost intervals: unit i failed within [first, after) of them (after > first), or passed
    those before `first` and is known no further (`after` == first); it was watched from interval `begin` on. `row`:
    its place in what was given, where some stood for nobody."""

    left: Floats
    right: Floats
    begin: Ints
    first: Ints
    after: Ints
    count: Floats
    row: Ints

    @classmethod
    def of(cls, entry: Floats, good: Floats, failed: Floats, count: Floats | None) -> "_Lives":
        weight = np.ones(len(good)) if count is None else np.asarray(count, dtype=float)
        row = np.flatnonzero(weight > 0)
        entry, good, failed, weight = entry[row], good[row], failed[row], weight[row]
        at = np.isfinite(failed)
        exact = at & (good == failed)
        left, right = _innermost(entry, good, failed, at, exact)
        # An interval (l, r] lies behind an age where l is not below it; one point is behind only what is below it.
        point = left == right
        begun_l = np.where(point, np.nextafter(left, -np.inf), left)
        first = np.searchsorted(begun_l, np.where(exact, np.nextafter(good, -np.inf), good), side="left")
        after = np.where(at, np.searchsorted(right, np.where(at, failed, 0.0), side="right"), first)
        begin = np.minimum(np.searchsorted(begun_l, entry, side="left"), first)
        return cls(left, right, begin, first, after, weight, row)

    def passed(self) -> Floats:
        """Weight that is known to have passed each interval."""
        return _spread(self.begin, self.first, self.count, len(self.left))

    def expected(self, hazards: Floats, chosen: Bools) -> tuple[Floats, Floats]:
        """(failures, at risk) of the chosen lives in each interval, given what is known of them."""
        m = len(self.left)
        sums = np.concatenate([[0.0], np.cumsum(hazards)])
        survival = np.exp(-sums)
        held = chosen & (self.after > self.first)
        start, stop = self.first[held], self.after[held]
        chance = -np.expm1(sums[start] - sums[stop])
        # A life that ended in [start, stop) is spread over it as S falls there.
        scale = self.count[held] / np.maximum(chance, 1e-300)
        within = _spread(start, stop, scale / survival[start], m) * survival[:m]
        ended = _spread(start, stop, scale * (1 - chance), m)
        passed = _spread(self.begin[chosen], self.first[chosen], self.count[chosen], m)
        return np.maximum(within, 0.0) * -np.expm1(-hazards), np.maximum(passed + within - ended, 0.0)


def _spread(start: Ints, stop: Ints, weight: Floats, m: int) -> Floats:
    """The weight on each of m places of all that reach over it, from `start` to before `stop`."""
    return np.asarray(np.cumsum(_sum_at(start, weight, m) - _sum_at(stop, weight, m))[:m])


def _sum_at(place: Ints, weight: Floats, m: int) -> Floats:
    return np.asarray(np.bincount(place, weights=weight, minlength=m + 1), dtype=np.float64)


def _innermost(entry: Floats, good: Floats, failed: Floats, at: Bools, exact: Bools) -> tuple[Floats, Floats]:
    """Where a left end is followed by a right end or by an entry and by nothing else. The order at one age: a point
    begins, intervals (…, age] end and lives come under watch, intervals (age, …] begin."""
    lefts, points = np.unique(good[~exact]), np.unique(good[exact])
    rights = np.unique(np.concatenate([failed[at], entry]))
    value = np.concatenate([points, rights, lefts])
    rank = np.repeat([0, 1, 2], [len(points), len(rights), len(lefts)])
    order = np.lexsort([rank, value])
    value, rank = value[order], rank[order]
    starts = np.flatnonzero((rank[:-1] != 1) & (rank[1:] == 1))
    left, right = value[starts], value[starts + 1]
    # What no life can have failed in holds no mass.
    first = np.sort(np.where(exact, np.nextafter(good, -np.inf), good)[at])
    open_at = np.searchsorted(first, left, side="right") - np.searchsorted(np.sort(failed[at]), right, side="left")
    held = (open_at > 0) | np.isin(left, points)
    return left[held], right[held]


def _hazards(lives: _Lives) -> Floats:
    """The hazard of each innermost interval at the maximum of the likelihood."""
    m = len(lives.left)
    passed, hazards = lives.passed(), np.zeros(m)
    free = passed <= 1e-12
    hazards[free] = CERTAIN
    held = lives.after > lives.first
    frees = np.concatenate([[0], np.cumsum(free)])
    held &= frees[lives.after] == frees[lives.first]  # the others are explained at no cost
    if not held.any():
        return hazards
    # Lives alike in what is known of them count together.
    key = lives.first[held] * (m + 1) + lives.after[held]
    keys, where = np.unique(key, return_inverse=True)
    weight: Floats = np.bincount(where, weights=lives.count[held]).astype(float)
    return _maximum(_Surface(keys // (m + 1), keys % (m + 1), weight, passed), hazards, free)


@dataclass(frozen=True, slots=True, eq=False)
class _Surface:
    """-Σ passed · h + Σ weight · log(1 - exp(-Σ h in [start, stop)))."""

    start: Ints
    stop: Ints
    weight: Floats
    passed: Floats

    def within(self, h: Floats) -> Floats:
        sums = np.concatenate([[0.0], np.cumsum(h)])
        return np.asarray(np.maximum(sums[self.stop] - sums[self.start], 0.0))

    def value(self, h: Floats) -> float:
        x = self.within(h)
        if not np.all(x > 0):
            return -np.inf
        return float(self.weight @ np.log(-np.expm1(-x)) - self.passed @ np.where(self.passed > 0, h, 0.0))

    def gradient(self, h: Floats) -> Floats:
        m = len(h)
        share = self.weight / np.expm1(np.minimum(self.within(h), 700.0))
        return _spread(self.start, self.stop, share, m) - self.passed

    def curvature(self, h: Floats, chosen: Ints) -> Floats:
        """The negative Hessian in the chosen hazards: entry (j, k) sums over what starts up to j and stops past k."""
        n = len(chosen)
        x = self.within(h)
        grows = np.expm1(np.minimum(x, 700.0))
        bend = self.weight * (1.0 + 1.0 / grows) / grows
        table = np.zeros((n + 1, n + 1))
        np.add.at(table, (np.searchsorted(chosen, self.start), np.searchsorted(chosen, self.stop)), bend)
        sums = np.cumsum(table, axis=0)
        sums = np.cumsum(sums[:, ::-1], axis=1)[:, ::-1]
        upper = np.triu(sums[:n, 1:])
        return np.asarray(upper + np.triu(upper, 1).T)


def _maximum(surface: _Surface, hazards: Floats, fixed: Bools) -> Floats:
    """Newton on the intervals that carry mass; those that reach 0 leave, those with the most to gain come in."""
    h = _cover(surface, hazards)
    tolerance = GAIN * float(surface.weight.sum())
    for _step in range(STEPS):
        gradient = np.where(fixed, 0.0, surface.gradient(h))
        carrying = (h > 0) & ~fixed
        if np.abs(gradient[carrying]).max(initial=0.0) < tolerance:
            carrying |= _peaks(gradient, carrying, tolerance)
            if not (carrying & (h == 0)).any():
                break
        chosen = np.flatnonzero(carrying)
        step, chosen = _step_up(surface, h, gradient, chosen)
        if not len(chosen):
            break
        h = _along(surface, h, chosen, step, float(gradient[chosen] @ step))
    return h


def _cover(surface: _Surface, hazards: Floats) -> Floats:
    """A start with few masses, at least one within every interval: the last place of each that has none yet, with the
    hazard that the interval alone would give it. Where ages are known that is Kaplan and Meier's, and the end."""
    h, last = hazards.copy(), -1
    for place in np.argsort(surface.stop, kind="stable"):
        if surface.start[place] > last:
            last = int(surface.stop[place]) - 1
            h[last] = np.log1p(surface.weight[place] / surface.passed[last])
    return h


def _peaks(gradient: Floats, carrying: Bools, tolerance: float) -> Bools:
    """Between each two that carry mass the one that would gain most."""
    gap = np.cumsum(carrying)
    worth = np.where(carrying, -np.inf, gradient)
    best = np.full(gap[-1] + 1, -np.inf)
    np.maximum.at(best, gap, worth)
    chosen = (worth == best[gap]) & (worth > tolerance)
    return np.asarray(chosen)


def _step_up(surface: _Surface, h: Floats, gradient: Floats, chosen: Ints) -> tuple[Floats, Ints]:
    """The Newton step; what stands at 0 and would go below stays."""
    while len(chosen):
        curvature = surface.curvature(h, chosen)
        curvature[np.diag_indices(len(chosen))] += 1e-12 * max(1.0, float(curvature.max()))
        step: Floats = np.asarray(np.linalg.solve(curvature, gradient[chosen]), dtype=np.float64)
        stuck = (h[chosen] == 0) & (step <= 0)
        if not stuck.any():
            return step, chosen
        chosen = chosen[~stuck]
    return np.zeros(0), chosen


def _along(surface: _Surface, h: Floats, chosen: Ints, step: Floats, gain: float) -> Floats:
    """As far along the step as it pays, no hazard below 0 or beyond certainty."""
    with np.errstate(divide="ignore", invalid="ignore"):
        to_zero = np.where(step < 0, h[chosen] / -step, np.inf)
    reach = min(1.0, float(to_zero.min()))
    now = surface.value(h)
    length = reach
    while length >= min(reach, 1e-14):
        there = h.copy()
        there[chosen] = np.clip(h[chosen] + length * step, 0.0, CERTAIN)
        there[chosen[to_zero <= length * (1 + 1e-9)]] = 0.0
        if surface.value(there) >= now + 1e-4 * length * gain - 1e-13 * abs(now):
            return there
        length /= 2
    return h
