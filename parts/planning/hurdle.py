"""The plain forecast of seldom asked for parts: how often months have a demand, and how large demands were.

The number of months with a demand among the next h is beta-binomial: the part's own count of months, and the shop's
with the weight of a few. The size of a demand is one of those seen, or, with the weight of a few demands, geometric
with the mean of part and shop. Months are alike and independent given the chance. Resampling what was seen goes back to
T. R. Willemain, C. N. Smart and H. F. Schwarz, International Journal of Forecasting 20 (2004) 375-387; here the
distribution is computed and not drawn.
"""

from collections.abc import Iterator

import numpy as np

from parts.planning.counts import BEYOND, Floats, Ints, by_width
from parts.planning.history import WEIGHT_OF_SHOP, Followed


def mean(followed: Followed) -> Floats:
    """(months, parts) expected pieces a month."""
    first, second = _beta(followed)
    size = (followed.pieces + WEIGHT_OF_SHOP * _mean_size(followed)) / (followed.asked + WEIGHT_OF_SHOP)
    expected: Floats = first / (first + second) * size
    return expected


def blocks(
    followed: Followed, months: int, origins: Ints, beyond: float = BEYOND
) -> Iterator[tuple[int, Ints, Floats]]:
    """For each origin (month that had ended) and block of parts: place of the origin, parts and their (parts, K + 1)
    chances of the demand of the next `months` months; `beyond` of a size's chance is left to the largest size."""
    first, second = _beta(followed)
    mean_size = _mean_size(followed)
    largest = np.nanmax(np.where(np.isnan(followed.demand), 0.0, followed.demand), axis=0)
    tail = np.log(beyond) / np.log1p(-1.0 / np.maximum(mean_size[origins].max(axis=0), 1.01))
    places = {int(origin): place for place, origin in enumerate(origins)}
    for width, parts in by_width(np.maximum(largest, tail) + 1.0):
        seen = np.zeros((len(parts), width))
        for month in range(int(origins.max()) + 1):
            size = np.nan_to_num(followed.demand[month, parts]).astype(np.int64)
            rows = np.flatnonzero(size)
            seen[rows, size[rows]] += 1.0
            if month in places:
                sizes = _sizes(seen, mean_size[month, parts])
                asked = _months_asked(first[month, parts], second[month, parts], months)
                yield places[month], parts, _total(sizes, asked)


def _beta(followed: Followed) -> tuple[Floats, Floats]:
    """Of the chance of a demand in a month, each (months, parts)."""
    chance = followed.pool.chance[:, None]
    with_demand = followed.asked + WEIGHT_OF_SHOP * chance
    without = followed.known - followed.asked + WEIGHT_OF_SHOP * (1.0 - chance)
    return with_demand, without


def _mean_size(followed: Followed) -> Floats:
    """(months, parts) of the geometric sizes: part and shop, averaged as ratios."""
    own = np.log(np.where(followed.asked > 0, followed.pieces, 1.0) / np.maximum(followed.asked, 1))
    shop = np.log(followed.pool.size)[:, None]
    size: Floats = np.exp((followed.asked * own + WEIGHT_OF_SHOP * shop) / (followed.asked + WEIGHT_OF_SHOP))
    return size


def _sizes(seen: Floats, mean_size: Floats) -> Floats:
    """(parts, width) chances of a demand's size; `seen` how often each was seen."""
    more = 1.0 - 1.0 / np.maximum(mean_size, 1.0)
    count = np.arange(seen.shape[1])
    geometric = (1.0 - more)[:, None] * more[:, None] ** np.maximum(count - 1, 0)
    geometric[:, 0] = 0.0
    geometric[:, -1] += np.maximum(1.0 - geometric.sum(axis=1), 0.0)
    demands = seen.sum(axis=1, keepdims=True)
    chances: Floats = (seen + WEIGHT_OF_SHOP * geometric) / (demands + WEIGHT_OF_SHOP)
    return chances


def _months_asked(first: Floats, second: Floats, months: int) -> list[Floats]:
    """Beta-binomial: for 0 to `months`, the chance (parts,) that so many of them have a demand."""
    chance = np.ones_like(first)
    for month in range(months):
        chance *= (second + month) / (first + second + month)
    found = [chance]
    for n in range(months):
        found.append(found[-1] * (months - n) * (first + n) / ((n + 1) * (second + months - n - 1)))
    return found


def _total(sizes: Floats, asked: list[Floats]) -> Floats:
    """The sum of n sizes mixed over the chance of n: a polynomial in the transform of the sizes."""
    most = (sizes.shape[1] - 1) * (len(asked) - 1)
    length = 1 << most.bit_length()
    transform = np.fft.rfft(sizes, length, axis=1)
    total = asked[-1][:, None] * transform + asked[-2][:, None]
    for chance in reversed(asked[:-2]):
        total = total * transform + chance[:, None]
    pmf: Floats = np.maximum(np.fft.irfft(total, length, axis=1)[:, : most + 1], 0.0)
    return pmf
