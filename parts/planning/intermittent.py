"""Forecasts of parts that are seldom asked for, from the ledger alone: a distribution of the demand of the next months.

Croston's rate is size over interval; SBA takes 1 - alpha / 2 of it against its bias (A. A. Syntetos and J. E. Boylan,
International Journal of Forecasting 21 (2005) 303-314); TSB is size times chance and so falls while nothing is asked
for. These give a mean only. The distribution is negative binomial with that mean: months alike and independent, with
the variance over mean that the series showed (a sum of such months is negative binomial again), widened by what the
smoothing leaves open about the mean. A negative binomial lead-time demand about a smoothed mean is usual for spare
parts (A. A. Syntetos and J. E. Boylan, International Journal of Production Economics 103 (2006) 36-47); that the doubt
is added as variance is this project's assumption. `hurdle` keeps the sizes that were seen instead.

Before its first demand no method has a rate: the part is then the shop's average one, asked for nothing in so many
months.
"""

from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np

from parts.planning import hurdle
from parts.planning.counts import BEYOND, Floats, Ints, by_width, negative_binomial, quantiles, reach, trimmed
from parts.planning.history import ALPHA, WEIGHT_OF_SHOP, Followed

Method = Literal["sba", "tsb", "croston", "hurdle"]
METHODS: tuple[Method, ...] = ("sba", "tsb", "croston", "hurdle")


def monthly_mean(followed: Followed, method: Method) -> Floats:
    """(months, parts): pieces expected in each later month, as it stood at the end of each month."""
    if method == "hurdle":
        return hurdle.mean(followed)
    if method == "tsb":
        rate = followed.size * followed.chance
    elif method == "croston":
        rate = followed.size / followed.interval
    else:
        rate = followed.size / followed.interval * (1.0 - ALPHA / 2.0)
    mean: Floats = np.where(followed.asked > 0, rate, _unasked(followed))
    return mean


def variance(followed: Followed, method: Method, mean: Floats, months: int) -> Floats:
    """(months, parts) of the demand of the next `months` months about a mean of `mean` a month.

    What an exponentially smoothed mean of independent values varies by is a share of what one value does. Croston's is
    smoothed by demands, each of which speaks of a whole interval, TSB's by months.
    """
    if method == "tsb":
        doubt = _left_open(followed.known)
    else:
        doubt = _left_open(followed.asked) / np.where(followed.asked > 0, followed.interval, 1.0)
    doubt = np.where(followed.asked > 0, doubt, 1.0 / (followed.known + WEIGHT_OF_SHOP + 1.0))
    spread: Floats = followed.dispersion * months * mean * (1.0 + months * doubt)
    return spread


def forecast(followed: Followed, method: Method, months: int) -> Floats:
    """(parts, K + 1): chances of 0 to K pieces over the `months` months after the last. K is what the part that needs
    most of them needs."""
    last = np.array([len(followed.demand) - 1])
    found = [(parts, trimmed(pmf)) for _places, parts, pmf in _blocks(followed, method, months, last, BEYOND)]
    whole = np.zeros((followed.demand.shape[1], max((pmf.shape[1] for _parts, pmf in found), default=1)))
    for parts, pmf in found:
        whole[parts, : pmf.shape[1]] = pmf
    return whole


def quantiles_at(followed: Followed, method: Method, months: int, origins: Ints, levels: Sequence[float]) -> Ints:
    """(parts, origins, levels): what was forecast at the end of each month of `origins` (its place among the months)
    for the `months` months after it, from nothing that came later."""
    found = np.zeros((followed.demand.shape[1], len(origins), len(levels)), dtype=np.int64)
    for places, parts, pmf in _blocks(followed, method, months, origins, (1.0 - max(levels)) / 10.0):
        found[parts, places] = quantiles(pmf, levels)
    return found


def _blocks(
    followed: Followed, method: Method, months: int, origins: Ints, beyond: float
) -> Iterator[tuple[Ints, Ints, Floats]]:
    """Places of the origins, parts and their pmfs (n, K + 1); at most `beyond` of the chance is beyond K."""
    if method == "hurdle":
        for place, parts, pmf in hurdle.blocks(followed, months, origins, beyond):
            yield np.full(len(parts), place), parts, pmf
        return
    monthly = monthly_mean(followed, method)
    mean = (months * monthly[origins]).ravel()
    spread = variance(followed, method, monthly, months)[origins].ravel()
    parts = followed.demand.shape[1]
    for width, rows in by_width(reach(mean, spread, beyond)):
        yield rows // parts, rows % parts, negative_binomial(mean[rows], spread[rows], width)


def _unasked(followed: Followed) -> Floats:
    """(months, parts): pieces a month of a part that nobody has asked for yet."""
    pool = followed.pool
    return WEIGHT_OF_SHOP * (pool.chance * pool.size)[:, None] / (WEIGHT_OF_SHOP + followed.known)


def _left_open(count: Ints) -> Floats:
    """The share of one value's variance that is left in exponential smoothing of `count` values, begun at the first."""
    first = (1.0 - ALPHA) ** (2.0 * np.maximum(count - 1, 0))
    share: Floats = first + (1.0 - first) * ALPHA / (2.0 - ALPHA)
    return share
