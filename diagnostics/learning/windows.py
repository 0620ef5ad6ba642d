"""All production windows at once: how likely each is to hold units that fail at another rate than the others.

For every window [first, last] of production months the data are weighed with one level of the hazard outside and
another inside. Both levels are integrated out: the outer one under the model's prior, which is what re-fitting the
baseline for every window comes to, the log of their ratio under N(0, RATIO_SD²). So is the shape of the Weibull law:
old cars are seen old, and a shape held at a wrong value would look like a trend over production.

One pass over the units gives a log-likelihood for each month and level; prefix sums over the months give those of
every window and of what lies outside it; the integral over both levels is a product with a kernel of low rank. All of
it is exact up to the quadrature, whose step is finer than the spread of any level.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from diagnostics.learning.records import Floats, Ints, Prior, Spells, WeibullFit
from diagnostics.learning.weibull import log1mexp

RATIO_SD = 1.2
"""Of the log hazard ratio between inside and outside: nine in ten ranges that exist lie between 1/7 and 7."""
PRIOR_NONE = 0.9
REACH, REACH_FEW = 4.5, 9.0
"""Log levels from the middle of the data that the quadrature covers; without failures the prior alone bounds them."""
STEP_FINEST, STEP_COARSEST = 0.02, 0.3
NODE_STEP, NODES = 1.5, 10
"""Of the log shape: step in standard deviations of its posterior without a range (fine for a smooth density), and
most steps to either side: beside a strong range in many cars the likeliest shape lies up to ten deviations from the one
without, and a row that ends short of it tells the ratio too low."""
NODE_LOSS = 8.0
"""A shape that weighs less than exp(-NODE_LOSS) of the best, with the likeliest window or without any, ends the row."""
LESS = 0.1
"""How likely, beforehand, a range within the span fails less than what is around it, beside failing more: bad batches
are made more often than good ones among bad (common practice, no source). It says which of the two is told."""
BLOCKS = 240
"""Most steps of production time; a longer span is looked at in blocks of several months."""
AT_ONCE = 512
"""Windows of one piece of the work."""
HEAVY, HEAVIEST = 0.9999, 400
"""Share of the posterior, and number of windows at most, whose ratios are worked out."""


@dataclass(frozen=True, slots=True, eq=False)
class WindowPosterior:
    """The posterior over windows. `first`, `last`: months of each window; `weight`: its share given that there is a
    range, summing to 1; `ratio`: per window the mass over `log_ratio`, summing to its weight. `start`, `end`: first and
    last month that was looked at, `step` months at a time."""

    probability: float
    log_bayes: float
    first: Ints
    last: Ints
    weight: Floats
    log_ratio: Floats
    ratio: Floats
    start: int
    end: int
    step: int

    @property
    def best(self) -> int:
        return int(np.argmax(self.weight))


@dataclass(frozen=True, slots=True, eq=False)
class LevelTable:
    """Log-likelihood by block of months and log level, for one shape; `log_weight` of the shape itself, `log_prior` of
    the outer level (a density)."""

    log_likelihood: Floats
    log_prior: Floats
    log_weight: float


def scan(
    spells: Spells,
    fit: WeibullFit,
    *,
    prior: Prior | None = None,
    offset: Floats | None = None,
    prior_none: float = PRIOR_NONE,
    least: float = 0.0,
) -> WindowPosterior | None:
    """The posterior over all windows of the production months that were seen; None where there are less than two. Where
    a range is less likely than `least`, nobody asks which: its windows are left out.

    `fit` gives the middle and the step of the shapes, `prior` those of the outer level and of the shape (without:
    vague), `offset` n log hazards beside the baseline: climates, places, ranges that are known already.
    """
    rows = _rows(spells, offset)
    start, end = int(rows.month.min()), int(rows.month.max())
    step = -(-(end - start + 1) // BLOCKS)
    block = (rows.month - start) // step
    count: Floats = np.bincount(block, rows.count).astype(float)
    grid = level_grid(float(rows.count[np.isfinite(rows.failed)].sum()))
    first, last = windows_of(count)
    if not len(first):
        return None

    def table(node: int) -> LevelTable:
        return _table(rows, block, len(count), grid, fit, prior, NODE_STEP * node)

    weighed = _walk(table, grid, first, last)
    found = _posterior(weighed, grid, first, last, start=start, step=step, prior_none=prior_none, least=least)
    if not spells.year_only.any() or not len(found.weight):
        return found
    # Of a car whose month is not known the range itself says something: one that failed was likelier made within it.
    # A second look with that told; how likely a range is stays as the first look had it.
    rows = replace(rows, count=_months_weighed(rows, fit, found))
    again = _posterior(
        _walk(table, grid, first, last), grid, first, last, start=start, step=step, prior_none=prior_none
    )
    return replace(again, probability=found.probability, log_bayes=found.log_bayes)


def level_grid(failures: float) -> Floats:
    """Log levels, equally spaced, finer than the spread that so many failures leave of a level."""
    step = float(np.clip(1.4 / np.sqrt(failures + 1.0), STEP_FINEST, STEP_COARSEST))
    reach = max(REACH, REACH_FEW / (failures + 1.0) ** 0.25)
    half = int(np.ceil(reach / step))
    return np.asarray(step * np.arange(-half, half + 1))


def windows_of(count: Floats) -> tuple[Ints, Ints]:
    """First and last block of every window with units inside and outside it."""
    before = np.concatenate([[0.0], np.cumsum(count)])
    first, last = np.triu_indices(len(count))
    inside = before[last + 1] - before[first]
    # Of windows that differ by empty months only the tightest says anything of its own.
    tight = (count[first] > 0) & (count[last] > 0)
    chosen = tight & (inside > 0) & (inside < before[-1] - 1e-9)
    return first[chosen], last[chosen]


def log_priors(first: Ints, last: Ints) -> Floats:
    """Of each window, given that there is a range: half for those that reach an end of what was seen (a running change
    begins or ends there), half for those within, all alike among their kind."""
    at_end = (first == first.min()) | (last == last.max())
    kinds = [int(at_end.sum()), int((~at_end).sum())]
    share = 0.5 if all(kinds) else 1.0
    return np.asarray(np.log(np.where(at_end, share / max(kinds[0], 1), share / max(kinds[1], 1))))


def weigh_windows(
    table: LevelTable, grid: Floats, first: Ints, last: Ints, *, start: int = 0, prior_none: float = PRIOR_NONE
) -> WindowPosterior:
    """The posterior over the windows `first` to `last` from one table of log-likelihoods."""
    weighed = [_weighed(table, grid, first, last)]
    return _posterior(weighed, grid, first, last, start=start, step=1, prior_none=prior_none)


@dataclass(frozen=True, slots=True, eq=False)
class _Weighed:
    """One shape: log marginal likelihood without a range and of each window, with the prefix sums behind it."""

    table: LevelTable
    before: Floats
    none: float
    each: Floats


def _weighed(table: LevelTable, grid: Floats, first: Ints, last: Ints) -> _Weighed:
    step = float(grid[1] - grid[0])
    before = np.vstack([np.zeros(len(grid)), np.cumsum(table.log_likelihood, axis=0)])
    none = _log_sum(before[-1] + table.log_prior) + table.log_weight + np.log(step)
    each = _log_both(before, table.log_prior, _kernel_root(len(grid), step), first, last)
    return _Weighed(table, before, none, each + table.log_weight + 2 * np.log(step))


def _walk(table: Callable[[int], LevelTable], grid: Floats, first: Ints, last: Ints) -> list[_Weighed]:
    """Shapes outwards from the fitted one, to either side until they weigh nothing."""
    found = [_weighed(table(0), grid, first, last)]
    for side in (-1, 1):
        for node in range(1, NODES + 1):
            found.append(_weighed(table(side * node), grid, first, last))
            best = max(one.none for one in found), max(float(one.each.max()) for one in found)
            if found[-1].none < best[0] - NODE_LOSS and float(found[-1].each.max()) < best[1] - NODE_LOSS:
                break
    return found


def _posterior(
    weighed: list[_Weighed],
    grid: Floats,
    first: Ints,
    last: Ints,
    *,
    start: int,
    step: int,
    prior_none: float,
    least: float = 0.0,
) -> WindowPosterior:
    log_none = _log_sum(np.array([one.none for one in weighed]))
    log_prior = log_priors(first, last)
    log_each = np.logaddexp.reduce(np.array([one.each for one in weighed]), axis=0) + log_prior
    log_bayes = _log_sum(log_each - log_none)
    odds = np.log1p(-prior_none) - np.log(prior_none) + log_bayes
    probability = float(1.0 / (1.0 + np.exp(-np.clip(odds, -700, 700))))
    heavy = _heavy(log_each, first, last) if probability >= least else np.empty(0, dtype=np.int64)
    first, last = first[heavy], last[heavy]
    ratio = np.empty((0, len(grid)))
    if len(heavy):
        ratio = _ratios(weighed, grid, first, last) * np.exp(log_prior[heavy] - log_prior.max())[:, None]
        first, last, ratio = _one_side(first, last, ratio / ratio.sum())
    blocks = len(weighed[0].table.log_likelihood)
    return WindowPosterior(
        probability=probability,
        log_bayes=float(log_bayes),
        first=start + step * first,
        last=start + step * (last + 1) - 1,
        weight=ratio.sum(axis=1),
        log_ratio=_spread(grid),
        ratio=ratio,
        start=start,
        end=start + step * blocks - 1,
        step=step,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """`spread`: where the twelve months of each car of a known year begin; they come last, one car after the other."""

    spread: int
    entry: Floats
    good: Floats
    failed: Floats
    offset: Floats
    month: Ints
    count: Floats


def _rows(spells: Spells, offset: Floats | None) -> _Rows:
    """Units of a known month, and those of a known year as a twelfth in each of its months."""
    shift = np.zeros(len(spells.good)) if offset is None else offset
    exact, spread = np.flatnonzero(~spells.year_only), np.flatnonzero(spells.year_only)
    place = np.concatenate([exact, np.repeat(spread, 12)])
    month = np.concatenate([spells.month[exact], (spells.month[spread][:, None] + np.arange(12)).ravel()])
    share = np.concatenate([np.ones(len(exact)), np.full(12 * len(spread), 1 / 12)])
    take = (spells.entry, spells.good, spells.failed, shift)
    entry, good, failed, shifted = (one[place] for one in take)
    return _Rows(len(exact), entry, good, failed, shifted, month, share * spells.count[place])


def _months_weighed(rows: _Rows, fit: WeibullFit, found: WindowPosterior) -> Floats:
    """The counts of the rows with the months of each car of a known year weighed by how likely its life is at the level
    that the likeliest window gives them."""
    first, last = found.first[found.best], found.last[found.best]
    inside = (rows.month >= first) & (rows.month <= last)
    ratio = float(np.exp(found.ratio[found.best] @ found.log_ratio / found.weight[found.best]))
    ages = (rows.entry, rows.good, np.where(np.isfinite(rows.failed), rows.failed, rows.good))
    begun, low, high = (_hazard(age, fit.shape, float(fit.estimate[0]), rows.offset) for age in ages)
    passed = rows.count @ (np.where(inside, ratio, 1.0) * ((low + high) / 2 - begun))
    outer = float(rows.count[np.isfinite(rows.failed)].sum() / max(float(passed), 1e-12))
    level = np.where(inside, ratio, 1.0) * outer
    gap = np.maximum(high - low, 1e-300) * level
    exact = np.where(rows.good == rows.failed, np.log(level), 0.0)
    log_likelihood = (begun - low) * level + np.where(high > low, log1mexp(gap), exact)
    months = log_likelihood[rows.spread :].reshape(-1, 12)
    weight = np.exp(months - months.max(axis=1, keepdims=True))
    whole = rows.count[rows.spread :].reshape(-1, 12).sum(axis=1)
    count = rows.count.copy()
    count[rows.spread :] = (whole[:, None] * weight / weight.sum(axis=1, keepdims=True)).ravel()
    return count


def _table(
    rows: _Rows, block: Ints, blocks: int, grid: Floats, fit: WeibullFit, prior: Prior | None, deviation: float
) -> LevelTable:
    sd = float(np.sqrt(fit.covariance[1, 1]))
    log_shape = float(fit.estimate[1]) + deviation * sd
    shape = float(np.exp(log_shape))
    failed = np.isfinite(rows.failed)
    exact = failed & (rows.good == rows.failed)
    log_scale = float(fit.estimate[0])
    # The level is counted from where the data lie at this shape, so that the grid covers them.
    last = np.where(failed, (rows.good + np.where(failed, rows.failed, 0.0)) / 2, rows.good)
    exposure = rows.count @ (
        _hazard(last, shape, log_scale, rows.offset) - _hazard(rows.entry, shape, log_scale, rows.offset)
    )
    middle = float(np.log((rows.count[failed].sum() + 0.5) / max(float(exposure), 1e-12)))
    level: Floats = np.exp(middle + grid)
    low, begun = _hazard(rows.good, shape, log_scale, rows.offset), _hazard(rows.entry, shape, log_scale, rows.offset)
    survived = np.bincount(block, rows.count * (low - begun), minlength=blocks)
    table: Floats = -survived[:, None] * level
    at = failed & ~exact
    if at.any():
        gap = _hazard(rows.failed[at], shape, log_scale, rows.offset[at]) - low[at]
        _add(table, block[at], rows.count[at][:, None] * log1mexp(np.maximum(gap, 1e-300)[:, None] * level))
    if exact.any():
        density = np.log(low[exact]) + log_shape - np.log(rows.good[exact])
        _add(table, block[exact], rows.count[exact][:, None] * (density[:, None] + middle + grid))
    # Level and scale are one: log level = -shape * (log scale - log scale of the fit) with the prior of the log scale.
    centre, width = (
        (0.0, 1.5)
        if prior is None
        else (-shape * (float(prior.log_scale_at(log_shape)) - log_scale) - middle, shape * prior.log_scale[1])
    )
    log_weight = 0.0 if prior is None else _log_normal(log_shape, *prior.log_shape)
    return LevelTable(table, _log_normal(grid, centre, width), float(log_weight))


def _hazard(age: Floats, shape: float, log_scale: float, offset: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(np.minimum(shape * (np.log(age) - log_scale) + offset, 300.0)))


def _add(table: Floats, block: Ints, values: Floats) -> None:
    """Sum rows of `values` into the rows of `table` that `block` names."""
    order = np.argsort(block, kind="stable")
    starts = np.flatnonzero(np.diff(block[order], prepend=-1))
    table[block[order][starts]] += np.add.reduceat(values[order], starts, axis=0)


@lru_cache(maxsize=8)
def _kernel_root(points: int, step: float) -> Floats:
    """R with R @ R.T = density of the log ratio between each two levels; few columns, as the density is smooth."""
    level = step * np.arange(points)
    kernel = np.exp(_log_normal(level[:, None] - level, 0.0, RATIO_SD))
    values, vectors = np.linalg.eigh(kernel)
    kept = values > 1e-13 * values[-1]
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))


def _log_both(before: Floats, log_prior: Floats, root: Floats, first: Ints, last: Ints) -> Floats:
    """log ΣΣ exp(inner[v]) kernel[v, u] exp(outer[u]) of each window, in single precision and in pieces that stay near
    the processor: some thousand windows are summed up here, the few that count are worked out again in _ratios."""
    # Levels by windows: what is done to all windows at one level lies side by side.
    thin, rows = np.ascontiguousarray(root.T, np.float32), np.ascontiguousarray(before.T, np.float32)
    whole = (before[-1] + log_prior).astype(np.float32)[:, None]
    found = np.empty(len(first))
    for start in range(0, len(first), AT_ONCE):
        piece = slice(start, start + AT_ONCE)
        inner = rows.take(last[piece] + 1, axis=1)
        inner -= rows.take(first[piece], axis=1)
        outer = whole - inner
        top_in, top_out = inner.max(axis=0), outer.max(axis=0)
        inner -= top_in
        outer -= top_out
        both = thin @ np.exp(inner, out=inner)
        both *= thin @ np.exp(outer, out=outer)
        total = np.maximum(both.sum(axis=0, dtype=np.float64), 1e-12)
        found[piece] = np.log(total) + top_in + top_out
    return found


def _heavy(log_each: Floats, first: Ints, last: Ints) -> Ints:
    """The windows that hold nearly all of the posterior, each window at an end together with what lies outside it."""
    order = np.argsort(-log_each)
    share = np.cumsum(np.exp(log_each[order] - log_each[order[0]]))
    chosen = order[: min(int(np.searchsorted(share, HEAVY * share[-1])) + 1, HEAVIEST)]
    return np.unique(np.concatenate([chosen, _others(chosen, first, last)]))


def _others(chosen: Ints, first: Ints, last: Ints) -> Ints:
    """The windows outside of chosen ones that touch an end."""
    pairs = _pairs(first, last)
    return np.asarray(pairs[1][np.isin(pairs[0], chosen)])


def _pairs(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Windows that touch an end, and beside each the window of what lies outside it, where both are there."""
    head, tail = int(first.min()), int(last.max())
    heads, tails = np.flatnonzero((first == head) & (last < tail)), np.flatnonzero((last == tail) & (first > head))
    heads, tails = heads[np.argsort(last[heads])], tails[np.argsort(first[tails])]
    # What begins after a window of the head is the window of the tail that begins next.
    place = np.searchsorted(first[tails], last[heads], side="right")
    there = place < len(tails)
    heads, tails = heads[there], tails[place[there]]
    return np.concatenate([heads, tails]), np.concatenate([tails, heads])


def _ratios(weighed: list[_Weighed], grid: Floats, first: Ints, last: Ints) -> Floats:
    """Mass over the log ratio inside : outside of each window, on one scale for all of them: a correlation of both
    levels' masses under the density of their ratio."""
    points = len(grid)
    size = 1 << int(2 * points - 1).bit_length()
    density = np.exp(_log_normal(_spread(grid), 0.0, RATIO_SD))
    found, tops = [], []
    for one in weighed:
        inner = one.before[last + 1] - one.before[first]
        outer = one.before[-1] - inner + one.table.log_prior
        top_in, top_out = inner.max(axis=1), outer.max(axis=1)
        a = np.fft.rfft(np.exp(inner - top_in[:, None]), size)
        b = np.fft.rfft(np.exp(outer - top_out[:, None])[:, ::-1], size)
        found.append(np.maximum(np.fft.irfft(a * b, size)[:, : 2 * points - 1], 0.0) * density)
        tops.append(top_in + top_out + one.table.log_weight)
    scale = np.array(tops)
    weights = np.exp(scale - scale.max())
    return np.asarray(sum(mass * weight[:, None] for mass, weight in zip(found, weights, strict=True)))


def _one_side(first: Ints, last: Ints, ratio: Floats) -> tuple[Ints, Ints, Floats]:
    """A window at an end that fails less is its outside failing more: told as the latter. Of windows within the span,
    those on the likelier side of a ratio of 1 are told (LESS)."""
    middle = ratio.shape[1] // 2
    more, less = ratio.copy(), ratio.copy()
    more[:, :middle] = 0.0
    less[:, middle:] = 0.0
    windows, others = _pairs(first, last)
    np.add.at(more, others, less[windows][:, ::-1])
    less[windows] = 0.0
    less *= LESS
    told = more if more.sum() >= less.sum() else less
    kept = told.sum(axis=1) > 0
    return first[kept], last[kept], told[kept] / told.sum()


def _spread(grid: Floats) -> Floats:
    """Every difference of two levels of the grid."""
    return np.asarray(float(grid[1] - grid[0]) * np.arange(-(len(grid) - 1), len(grid)), dtype=float)


def _log_normal(x: Floats | float, mean: float, sd: float) -> Floats:
    return np.asarray(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd * np.sqrt(2 * np.pi)))


def _log_sum(values: Floats) -> float:
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))
