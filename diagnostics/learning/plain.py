"""Plain statistics beside the model, which know nothing of it."""

from collections.abc import Hashable, Mapping, Sequence
from math import isfinite

import numpy as np

from diagnostics.learning.design import Window, share_inside
from diagnostics.learning.records import Estimate, Floats, LogRank, PartModel, Spells, Z
from diagnostics.learning.turnbull import log_rank, to_months


def inside_against_outside(spells: Spells, window: Window) -> LogRank:
    """The log-rank test of the units made within the months against all others, on ages to the month. A unit of a known
    year is where most of its months are, as the tallies of a range have it."""
    entry, good, failed = to_months(spells.entry, spells.good, spells.failed)
    return log_rank(share_inside(spells, window) >= 0.5, entry, good, failed, spells.count)


def searched(model: PartModel) -> tuple[float, ...]:
    """The p-values that a model adds to those of everything that was searched: one for each range that it tells; where
    it was searched and tells none, 1; none where it was not searched (later units, units that never failed)."""
    told = tuple(one.log_rank.p if one.log_rank else 1.0 for one in model.ranges)
    return told or ((1.0,) if isfinite(model.log_bayes) else ())


def adjusted(families: Mapping[Hashable, Sequence[float]]) -> dict[Hashable, tuple[float, ...]]:
    """The p-values of all families, adjusted together (`benjamini_hochberg`), each where it came from."""
    every = benjamini_hochberg(np.array([p for ps in families.values() for p in ps]))
    ends = np.cumsum([len(ps) for ps in families.values()])
    return {
        key: tuple(map(float, every[end - len(ps) : end]))
        for (key, ps), end in zip(families.items(), ends, strict=True)
    }


def benjamini_hochberg(p: Floats) -> Floats:
    """p-values of everything that was searched, adjusted so that calling those up to q found lets at most a share q of
    them be none (Benjamini and Hochberg 1995, in the form of adjusted values)."""
    values = np.asarray(p, dtype=float)
    order = np.argsort(-values, kind="stable")
    ranks = np.arange(len(values), 0, -1)
    adjusted = np.empty(len(values))
    adjusted[order] = np.minimum.accumulate(np.minimum(values[order] * len(values) / ranks, 1.0))
    return adjusted


def wilson(failed: float, seen: float, z: float = Z) -> Estimate:
    """The share that failed of those seen, with its interval `z` standard deviations to either side (Wilson 1927): sane
    for few seen and for none failed. Of none seen everything is possible."""
    if seen <= 0:
        return Estimate(0.0, 0.0, 1.0)
    share = failed / seen
    middle = (share + z * z / (2 * seen)) / (1 + z * z / seen)
    half = z / (1 + z * z / seen) * np.sqrt(share * (1 - share) / seen + z * z / (4 * seen * seen))
    return Estimate(share, max(0.0, float(middle - half)), min(1.0, float(middle + half)))
