"""Production ranges of one population: several of them one after the other, each judged beside the others."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.learning.climates import climate_effects, ratio_by_climate, ratio_of
from diagnostics.learning.design import Window, design, fit_with, share_inside
from diagnostics.learning.records import (
    LEVEL,
    Bools,
    ClimateEffect,
    Estimate,
    Floats,
    Ints,
    Prior,
    Range,
    Spells,
    Tally,
    WeibullFit,
    WindowWeight,
)
from diagnostics.learning.windows import PRIOR_NONE, WindowPosterior, scan

KEPT = 0.5
"""A range less likely than this is not told at all."""
MOST = 4
"""Ranges of one population."""
FALSE = 0.05
"""Share of the ranges called found that may be none, over everything that was searched."""
WINDOWS = 64
"""Windows kept of each posterior."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundRanges:
    """`fit`: with the ranges that are used as effects "range:1", …; `log_bayes` and `probability` of the first search:
    that there is any range beside those that the owner confirmed."""

    fit: WeibullFit
    ranges: tuple[Range, ...]
    climates: tuple[ClimateEffect, ...]
    log_bayes: float
    probability: float

    @property
    def used(self) -> tuple[Range, ...]:
        return tuple(one for one in self.ranges if one.is_used)


def find_ranges(
    spells: Spells,
    prior: Prior,
    *,
    confirmed: Sequence[Window] = (),
    dismissed: Sequence[Window] = (),
    prior_none: float = PRIOR_NONE,
) -> FoundRanges:
    """Search the production months of a population; `confirmed` and `dismissed` are months (first, last) that the owner
    decided on. Whether a new range counts as found is for `control` to say over all populations; until then one
    alone decides."""
    decided = [*confirmed, *dismissed]
    search = _Search(spells, prior, prior_none)
    first = search.posterior(decided)
    new: list[tuple[Window, WindowPosterior]] = []
    posterior = first
    while posterior is not None and posterior.probability >= KEPT and len(new) < MOST:
        new.append((search.window(posterior), posterior))
        posterior = search.posterior([*decided, *(window for window, _one in new)])
    new = _beside_each_other(search, decided, _apart(new))
    ranges = [_of_posterior(spells, window, one) for window, one in new]
    for state, windows in (("confirmed", confirmed), ("dismissed", dismissed)):
        ranges += [_decided(search, decided, window, state) for window in windows]
    found = FoundRanges(
        fit=search.fit(()),
        ranges=tuple(sorted(ranges, key=lambda one: (one.first, one.last))),
        climates=(),
        log_bayes=first.log_bayes if first else 0.0,
        probability=first.probability if first else 0.0,
    )
    return settle(spells, prior, found, [one.probability >= 1 - FALSE for one in found.ranges])


def settle(spells: Spells, prior: Prior, found: FoundRanges, kept: Sequence[bool]) -> FoundRanges:
    """`found` with the verdict on each of its ranges, the fit with those that are used, and the climates in it."""
    ranges = [
        replace(one, found=bool(yes) or one.state == "confirmed") for one, yes in zip(found.ranges, kept, strict=True)
    ]
    windows = [(one.first, one.last) for one in ranges if one.is_used]
    # Most populations hold no range, and are fitted without one already.
    fit = found.fit if not windows and not found.fit.has_ranges else fit_with(spells, prior, windows)
    told = []
    for one in ranges:
        if one.is_used:
            by_climate, interaction = ratio_by_climate(spells, prior, windows, windows.index((one.first, one.last)))
            one = replace(one, ratio_by_climate=by_climate, interaction=interaction)
        told.append(one)
    return replace(found, fit=fit, ranges=tuple(told), climates=climate_effects(fit, prior))


def control(probabilities: Floats | Sequence[float], level: float = FALSE) -> Bools:
    """Which to call found: the most of them whose mean chance of being none stays within `level` (Bayesian
    false-discovery rate: Newton, Noueiry, Sarkar and Ahlquist 2004, as remembered)."""
    none = 1.0 - np.asarray(probabilities, dtype=float)
    order = np.argsort(none, kind="stable")
    mean = np.cumsum(none[order]) / np.arange(1, len(none) + 1)
    kept = np.zeros(len(none), dtype=bool)
    kept[order[: int((mean <= level).sum())]] = True
    return kept


class _Search:
    """Scans of one population with some windows held as known."""

    def __init__(self, spells: Spells, prior: Prior, prior_none: float) -> None:
        self.spells, self.prior, self.prior_none = spells, prior, prior_none
        self._fits: dict[tuple[Window, ...], WeibullFit] = {}

    def fit(self, windows: Sequence[Window]) -> WeibullFit:
        key = tuple(windows)
        if key not in self._fits:
            self._fits[key] = fit_with(self.spells, self.prior, windows)
        return self._fits[key]

    def posterior(
        self, held: Sequence[Window], judged: Sequence[Window] = (), least: float = KEPT
    ) -> WindowPosterior | None:
        """What else there is beside `held`, whose ratios are those that they have beside what is `judged` anew: without
        it in their fit, it would raise the hazard around them."""
        fit = self.fit([*held, *judged])
        names, columns = design(self.spells, held)
        offset = columns @ fit.estimate[2 : 2 + len(names)]
        return scan(self.spells, fit, prior=self.prior, offset=offset, prior_none=self.prior_none, least=least)

    @staticmethod
    def window(posterior: WindowPosterior) -> Window:
        return int(posterior.first[posterior.best]), int(posterior.last[posterior.best])


def _apart(new: list[tuple[Window, WindowPosterior]]) -> list[tuple[Window, WindowPosterior]]:
    """A wide range that fails more with a stretch inside it that fails less is two ranges that fail more."""
    for wide, outer in new:
        for within, inner in new:
            more, less = (one.ratio.sum(axis=0) @ one.log_ratio for one in (outer, inner))
            if wide[0] < within[0] and within[1] < wide[1] and more > 0 > less:
                others = [one for one in new if one[0] not in (wide, within)]
                return [*others, ((wide[0], within[0] - 1), outer), ((within[1] + 1, wide[1]), outer)]
    return new


def _beside_each_other(
    search: _Search, decided: list[Window], new: list[tuple[Window, WindowPosterior]]
) -> list[tuple[Window, WindowPosterior]]:
    """Each new range judged anew with all others held; one that the others explain is dropped."""
    if len(new) < 2:
        return new
    kept = list(new)
    for one in new:
        others = [window for window, _posterior in kept if window != one[0]]
        posterior = search.posterior([*decided, *others], [one[0]])
        place = kept.index(one)
        if posterior is None or posterior.probability < KEPT:
            kept.pop(place)
        else:
            kept[place] = (search.window(posterior), posterior)
    return kept


def _of_posterior(spells: Spells, window: Window, posterior: WindowPosterior) -> Range:
    inside, outside = tallies(spells, window)
    return Range(
        first=window[0],
        last=window[1],
        first_set=_shortest(posterior.first, posterior.weight),
        last_set=_shortest(posterior.last, posterior.weight),
        open_first=window[0] <= posterior.start,
        open_last=window[1] >= posterior.end,
        probability=posterior.probability,
        ratio=_ratio(posterior),
        inside=inside,
        outside=outside,
        found=False,
        windows=_windows(posterior),
    )


def _decided(search: _Search, decided: list[Window], window: Window, state: str) -> Range:
    """A range that the owner decided on keeps its months; how likely it is and its ratio follow the data of today."""
    spells = search.spells
    fit = search.fit(decided)
    place = 2 + fit.names[2:].index(f"range:{decided.index(window) + 1}")
    mean, sd = float(fit.estimate[place]), float(np.sqrt(fit.covariance[place, place]))
    inside, outside = tallies(spells, window)
    posterior = search.posterior([one for one in decided if one != window], [window], least=0.0)
    there = 0.0
    if posterior is not None:
        overlap = (posterior.first <= window[1]) & (posterior.last >= window[0])
        there = posterior.probability * float(posterior.weight[overlap].sum())
    start, end = int(spells.month.min()), int((spells.month + 11 * spells.year_only).max())
    return Range(
        first=window[0],
        last=window[1],
        first_set=(window[0], window[0]),
        last_set=(window[1], window[1]),
        open_first=window[0] <= start,
        open_last=window[1] >= end,
        probability=min(there, 1.0),
        ratio=ratio_of(mean, sd**2),
        inside=inside,
        outside=outside,
        found=state == "confirmed",
        windows=(WindowWeight(window[0], window[1], 1.0),),
        state=state,
    )


def tallies(spells: Spells, window: Window) -> tuple[Tally, Tally]:
    """Cars, units and failures inside and outside; a car of a known year is where most of its months are."""
    inside = share_inside(spells, window) >= 0.5
    return _tally(spells, inside), _tally(spells, ~inside)


def _tally(spells: Spells, chosen: Bools) -> Tally:
    return Tally(
        cars=len(np.unique(spells.car[chosen])),
        units=round(float(spells.count[chosen].sum())),
        failed=round(float(spells.count[chosen & spells.has_failed].sum())),
    )


def _shortest(months: Ints, weight: Floats) -> tuple[int, int]:
    """The shortest span of months that holds LEVEL of the weight."""
    start = int(months.min())
    mass = np.concatenate([[0.0], np.cumsum(np.bincount(months - start, weight))])
    wanted = LEVEL * mass[-1] - 1e-12
    ends = np.searchsorted(mass, mass[:-1] + wanted)
    spans = np.where(ends < len(mass), ends - np.arange(len(ends)), len(mass) + 1)
    first = int(np.argmin(spans))
    return start + first, start + first + int(spans[first]) - 1


def _ratio(posterior: WindowPosterior) -> Estimate:
    mass = posterior.ratio.sum(axis=0)
    middle, low, high = (quantile(posterior.log_ratio, mass, p) for p in (0.5, (1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Estimate(float(np.exp(middle)), float(np.exp(low)), float(np.exp(high)))


def quantile(grid: Floats, mass: Floats, p: float) -> float:
    """Of a distribution given as masses on equal steps, each spread over its step."""
    step = float(grid[1] - grid[0])
    share = np.concatenate([[0.0], np.cumsum(mass)]) / mass.sum()
    edges = np.concatenate([grid - step / 2, [grid[-1] + step / 2]])
    return float(np.interp(p, share, edges))


def _windows(posterior: WindowPosterior) -> tuple[WindowWeight, ...]:
    order = np.argsort(-posterior.weight, kind="stable")[:WINDOWS]
    weight = posterior.weight[order] / posterior.weight[order].sum()
    months = zip(posterior.first[order], posterior.last[order], weight, strict=True)
    return tuple(WindowWeight(int(first), int(last), float(share)) for first, last, share in months)
