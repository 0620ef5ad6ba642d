"""A part's demand month by month, followed as Croston and Teunter, Syntetos and Babai do; all parts at once.

Sources: J. D. Croston, Operational Research Quarterly 23 (1972) 289-303; R. H. Teunter, A. A. Syntetos and M. Z. Babai,
European Journal of Operational Research 214 (2011) 606-615.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from parts.planning.counts import Floats, Ints

ALPHA = 0.1
"""Of the smoothing of sizes, intervals and chances: what textbooks and libraries start from."""
WEIGHT_OF_SHOP = 3.0
"""Months and demands of the shop's average part that are added to a part's own; common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """All parts together until the end of each month, each (months,): the chance that a part is asked for in a month,
    pieces at a time when it is, and variance over mean of a month's demand. The last two are geometric means over the
    parts, so that rivets by the thousand say little of pumps."""

    chance: Floats
    size: Floats
    dispersion: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """As it stood at the end of each month, each (months, parts); only what was known by then.

    `demand` pieces, NaN where the part was not kept; `known` months so far and `asked` those with a demand among them;
    `pieces` so far; `size`, `interval` (months) and `chance` (of a demand in a month) smoothed, NaN before the first
    demand, the chance before the first known month; `dispersion` variance over mean of a month's demand, at least 1.
    """

    demand: Floats
    known: Ints
    asked: Ints
    pieces: Floats
    size: Floats
    interval: Floats
    chance: Floats
    dispersion: Floats
    pool: Pool


def follow(demand: Floats) -> Followed:
    """`demand` (parts, months) in whole pieces, the oldest month first; NaN for months before a part came into the
    catalogue, or without a record: nothing is learned from them. Raises ValueError for other than whole pieces."""
    months = np.ascontiguousarray(demand.T, dtype=float)
    there = ~np.isnan(months)
    pieces = np.where(there, months, 0.0)
    if (pieces < 0).any() or (pieces != np.rint(pieces)).any() or np.isinf(pieces).any():
        raise ValueError("Demand a month must be a whole number of pieces, 0 or more, or NaN where there is no record.")
    known = np.cumsum(there, axis=0, dtype=np.int64)
    asked = np.cumsum(pieces > 0, axis=0, dtype=np.int64)
    size, interval, chance = _smoothed(pieces, there)
    total, squares = np.cumsum(pieces, axis=0), np.cumsum(pieces**2, axis=0)
    scatter = squares - total**2 / np.maximum(known, 1)
    usual = total / np.maximum(known, 1) * np.maximum(known - 1, 0)
    own = np.divide(scatter, usual, out=np.ones_like(usual), where=usual > 0)
    pool = _pool(known, asked, total, own)
    drawn = (asked * own + WEIGHT_OF_SHOP * pool.dispersion[:, None]) / (asked + WEIGHT_OF_SHOP)
    return Followed(months, known, asked, total, size, interval, chance, np.maximum(drawn, 1.0), pool)


def _smoothed(pieces: Floats, there: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Size, interval and chance, each (months, parts); each starts at the first one seen."""
    parts = pieces.shape[1]
    size, interval, chance = (np.full(pieces.shape, np.nan) for _ in range(3))
    z, x, p, since = np.full(parts, np.nan), np.full(parts, np.nan), np.full(parts, np.nan), np.zeros(parts)
    for month, (amount, kept) in enumerate(zip(pieces, there, strict=True)):
        asked = amount > 0
        since += kept
        z = np.where(asked, np.where(np.isnan(z), amount, z + ALPHA * (amount - z)), z)
        x = np.where(asked, np.where(np.isnan(x), since, x + ALPHA * (since - x)), x)
        p = np.where(kept, np.where(np.isnan(p), asked, p + ALPHA * (asked - p)), p)
        since[asked] = 0
        size[month], interval[month], chance[month] = z, x, p
    return size, interval, chance


def _pool(known: Ints, asked: Ints, total: Floats, dispersion: Floats) -> Pool:
    """Each argument (months, parts). A shop without any demand yet: half a demand in one month more than it has seen,
    one piece at a time."""
    chance = (asked.sum(axis=1) + 0.5) / (known.sum(axis=1) + 1.0)
    say = asked / (asked + WEIGHT_OF_SHOP)
    every = np.maximum(say.sum(axis=1), 1e-9)
    size = np.exp((say * np.log(np.where(asked > 0, total, 1.0) / np.maximum(asked, 1))).sum(axis=1) / every)
    return Pool(chance, size, np.exp((say * np.log(np.maximum(dispersion, 1.0))).sum(axis=1) / every))
