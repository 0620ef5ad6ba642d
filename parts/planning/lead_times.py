"""How long suppliers take: days from the order sent to the pieces received, learned from receipts and open orders.

Log-normal, fitted by expectation and maximisation so that an order still open counts as one that takes longer than it
has waited (A. P. Dempster, N. M. Laird and D. B. Rubin, Journal of the Royal Statistical Society B 39 (1977) 1-38).
Drawn in steps: the shop towards the trade's figure, a supplier towards the days it states (none stated: towards the
shop), a part of a supplier towards the supplier.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from parts.planning.counts import Floats, gathered

# Before a shop has an order of its own: common practice, no source. Half of all orders for parts of a car no longer
# built are here within five days; one in six takes nine days or more.
TRADE_DAYS = 5.0
TRADE_SPREAD = 0.6
WEIGHT_OF_WIDER = 4.0
"""How many orders the wider figure (trade, stated days, shop, supplier) weighs as much as; common practice."""
LONGEST = 730
"""Days; what takes longer counts as this long."""
BEYOND = 1e-6
ROUNDS, CLOSE = 500, 1e-10

Basis = Literal["part", "supplier", "stated", "shop", "trade"]


@dataclass(frozen=True, slots=True)
class Wait:
    """Pieces of one order line that came, or have not come yet, after whole `days` since the order was sent. A line
    delivered in parts is several of these. Cancelled pieces are none."""

    supplier: int
    part: int
    order: int
    days: int
    pieces: int
    arrived: bool


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Log-normal: `median` in days, `spread` the standard deviation of the logarithm for an order to come, the doubt
    about the median counted in; `orders` whose waits stand behind it; `basis` the narrowest figure that has a say."""

    median: float
    spread: float
    orders: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class _Fit:
    """Of the logarithm of days: `centre` and `spread`; `weight` how many orders speak, open ones included."""

    centre: float
    spread: float
    weight: float


@dataclass(frozen=True, slots=True)
class LeadTimes:
    """What a shop knows of all of its suppliers."""

    shop: LeadTime
    suppliers: Mapping[int, LeadTime]
    parts: Mapping[tuple[int, int], LeadTime]

    def of(self, supplier: int, part: int) -> LeadTime:
        """The narrowest figure that there is."""
        return self.parts.get((supplier, part)) or self.suppliers.get(supplier) or self.shop


def learn(waits: Iterable[Wait], stated: Mapping[int, float]) -> LeadTimes:
    """`stated`: days that suppliers state, above 0, for those that do."""
    by_supplier: dict[int, list[Wait]] = defaultdict(list)
    by_part: dict[tuple[int, int], list[Wait]] = defaultdict(list)
    every = [wait for wait in waits if wait.pieces > 0]
    for wait in every:
        by_supplier[wait.supplier].append(wait)
        by_part[wait.supplier, wait.part].append(wait)
    trade = _Fit(math.log(TRADE_DAYS), TRADE_SPREAD, 0.0)
    shop = _fit(every, trade)
    of_shop = _told(shop, every, "shop" if every else "trade")
    fits: dict[int, _Fit] = {}
    suppliers: dict[int, LeadTime] = {}
    for supplier in sorted(by_supplier.keys() | stated.keys()):
        own = by_supplier[supplier]
        days = stated.get(supplier)
        wider = shop if days is None else _Fit(math.log(days), shop.spread, 0.0)
        fits[supplier] = _fit(own, wider)
        suppliers[supplier] = _told(fits[supplier], own, "supplier" if own else "stated")
    parts = {key: _told(_fit(own, fits[key[0]]), own, "part") for key, own in by_part.items()}
    return LeadTimes(of_shop, suppliers, parts)


def days_pmf(lead: LeadTime) -> Floats:
    """(days + 1,): chance that an order sent today is here after 0, 1, … whole days; what takes longer than nearly all
    (BEYOND), or than LONGEST, counts at the last."""
    ends = np.log(np.arange(LONGEST + 1) + 0.5)
    below = np.array([_below((end - math.log(lead.median)) / lead.spread) for end in ends])
    last = min(int(np.searchsorted(below, 1.0 - BEYOND)), LONGEST)
    return gathered(np.diff(below[: last + 1], prepend=0.0))


def _told(fit: _Fit, waits: Sequence[Wait], basis: Basis) -> LeadTime:
    doubt = math.sqrt(1.0 + 1.0 / (WEIGHT_OF_WIDER + fit.weight))
    return LeadTime(math.exp(fit.centre), fit.spread * doubt, len({wait.order for wait in waits}), basis)


def _fit(waits: Sequence[Wait], to: _Fit) -> _Fit:
    """Most probable centre and spread, with WEIGHT_OF_WIDER orders that lie as `to` has it."""
    if not waits:
        return _Fit(to.centre, to.spread, 0.0)
    weights = _weights(waits)
    logs = np.log([max(wait.days, 0.5) for wait in waits])  # here on the day it was sent: half a day
    late = np.array([not wait.arrived for wait in waits])
    total = WEIGHT_OF_WIDER + weights.sum()
    centre, spread = to.centre, to.spread
    for _round in range(ROUNDS):
        first, second = logs.copy(), logs**2
        first[late], second[late] = _beyond(logs[late], centre, spread)
        new = (WEIGHT_OF_WIDER * to.centre + weights @ first) / total
        squares = weights @ (second - 2.0 * new * first + new**2)
        wide = math.sqrt((squares + WEIGHT_OF_WIDER * (to.spread**2 + (to.centre - new) ** 2)) / total)
        near = abs(new - centre) + abs(wide - spread) < CLOSE
        centre, spread = float(new), wide
        if near:
            break
    return _Fit(centre, spread, float(weights.sum()))


def _weights(waits: Sequence[Wait]) -> Floats:
    """An order counts once, however many lines and deliveries it has: each piece of it is an equal share."""
    pieces: dict[int, int] = defaultdict(int)
    for wait in waits:
        pieces[wait.order] += wait.pieces
    return np.array([wait.pieces / pieces[wait.order] for wait in waits])


def _beyond(bound: Floats, centre: float, spread: float) -> tuple[Floats, Floats]:
    """Mean and mean square of a normal value that is known to lie above each bound (n,)."""
    at = (bound - centre) / spread
    hazard = np.array([_hazard(one) for one in at])
    first = centre + spread * hazard
    return first, centre**2 + 2.0 * centre * spread * hazard + spread**2 * (1.0 + at * hazard)


def _below(at: float) -> float:
    return 0.5 * math.erfc(-at / math.sqrt(2.0))


def _hazard(at: float) -> float:
    """Standard normal density over the chance above."""
    if at > 30.0:  # both would be 0 in floating point soon; the asymptote is right to 1e-5
        return at + 1.0 / at
    return math.exp(-0.5 * at * at) / math.sqrt(2.0 * math.pi) / _below(-at)
