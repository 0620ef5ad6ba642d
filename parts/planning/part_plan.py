"""What to order of one part, when, how many, and what that promises.

The spread between reorder point s and order-up-to level S is the economic quantity in whole packs, s then the smallest
that serves the target share at once. At a review with a position of s or less so many whole packs are ordered that the
position reaches S. Positions after a review recur with fixed long-run shares, and each tells what is served until the
next delivery (stocking.served_at); their mean is the share promised.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from parts.planning.counts import CELLS, Floats
from parts.planning.lead_demand import ProtectedDemand
from parts.planning.stocking import economic_quantity, served_between

MOST_MONTHS = 24
"""No order is meant to last longer, however cheap the part: cars grow old, parts are superseded. Assumption."""


@dataclass(frozen=True, slots=True)
class Stock:
    """Pieces: usable ones on the shelf, ordered and not yet received, promised to jobs."""

    on_hand: int = 0
    on_order: int = 0
    reserved: int = 0

    @property
    def position(self) -> int:
        return self.on_hand + self.on_order - self.reserved


@dataclass(frozen=True, slots=True)
class Terms:
    """`price` a piece; `ordering` what an order costs beside the pieces; `holding` cost of holding, as a share of the
    price a year; `target` share of the pieces asked for that is to be there at once; `minimum` pieces that the position
    never stays below; `held_up_days`: how long a car stands for want of this part."""

    price: Decimal
    ordering: Decimal
    holding: float
    target: float
    pack: int = 1
    minimum: int = 0
    held_up_days: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.target < 1:
            raise ValueError(f"target share {self.target}: expected a share above 0 and below 1")
        if self.pack < 1 or self.minimum < 0 or min(self.price, self.ordering) < 0:
            raise ValueError("expected a pack of at least one piece, and no minimum or money below 0")
        if self.holding < 0 or self.held_up_days < 0:
            raise ValueError("expected a holding rate and days held up of at least 0")


@dataclass(frozen=True, slots=True)
class PartPlan:
    """Order at a position of `reorder_at` or less, up to `up_to`; -1: only what somebody waits for.

    `quantity` pieces to order now, in whole packs, for `cost`; `served` share served at once under the plan;
    `runs_out` chance that more is asked for before a delivery ordered now than is free; `cover_months` that the present
    position lasts at mean demand, None where nothing is asked for; `economic` pieces at a time by cost alone;
    `held_up_days_a_year` that cars stand for want of it under the plan.
    """

    reorder_at: int
    up_to: int
    quantity: int
    cost: Decimal
    served: float
    runs_out: float
    cover_months: float | None
    economic: float
    held_up_days_a_year: float


def plan_part(demand: ProtectedDemand, stock: Stock, terms: Terms) -> PartPlan:
    """Where parts supersede one another, demand and usable stock are pooled before (supersession.py)."""
    return plan_parts([demand], [stock], [terms])[0]


def plan_parts(demands: Sequence[ProtectedDemand], stocks: Sequence[Stock], terms: Sequence[Terms]) -> list[PartPlan]:
    """The plan of each part, in their order; those alike in pack and spread are computed together."""
    economic = [_economic(demand, mine) for demand, mine in zip(demands, terms, strict=True)]
    alike: dict[tuple[int, int, int], list[int]] = {}
    for row, (demand, mine) in enumerate(zip(demands, terms, strict=True)):
        spread = _spread(demand, mine, economic[row])
        alike.setdefault((spread, mine.pack, len(demand.lead)), []).append(row)
    found: dict[int, PartPlan] = {}
    for (spread, pack, length), rows in alike.items():
        step = max(CELLS // (spread + pack) // max(spread + pack, length), 1)
        for first in range(0, len(rows), step):
            some = rows[first : first + step]
            shares = served_by_reorder_point([demands[row] for row in some], spread, pack)
            for row, mine in zip(some, shares, strict=True):
                found[row] = _plan(demands[row], stocks[row], terms[row], economic[row], spread, mine)
    return [found[row] for row in range(len(demands))]


def _plan(
    demand: ProtectedDemand, stock: Stock, terms: Terms, economic: float, spread: int, shares: Floats
) -> PartPlan:
    """`shares`: served at once with reorder points -1, 0, 1, …"""
    row = max(int(np.argmax(shares >= terms.target - 1e-12)), terms.minimum)
    served = float(shares[min(row, len(shares) - 1)])
    reorder_at, up_to, position = row - 1, row - 1 + spread, stock.position
    quantity = packs_to(up_to, position, terms.pack) * terms.pack if position <= reorder_at else 0
    a_month = demand.a_month
    return PartPlan(
        reorder_at=reorder_at,
        up_to=up_to,
        quantity=quantity,
        cost=terms.price * quantity,
        served=served,
        runs_out=min(float(demand.lead[max(position + 1, 0) :].sum()), 1.0),
        cover_months=max(position, 0) / a_month if a_month > 0 else None,
        economic=economic,
        held_up_days_a_year=a_month * 12 * (1.0 - served) * terms.held_up_days,
    )


def _economic(demand: ProtectedDemand, terms: Terms) -> float:
    return economic_quantity(
        demand=demand.a_month * 12, ordering=float(terms.ordering), holding=terms.holding * float(terms.price)
    )


def packs_to(level: int, position: int, pack: int) -> int:
    """Fewest packs that bring `position` to `level`."""
    return max(-((position - level) // pack), 0)


def _spread(demand: ProtectedDemand, terms: Terms, economic: float) -> int:
    """S − s in whole packs: ordering and holding cost of n packs at a time, K·λ/(n·pack) + h·n·pack/2, are least at the
    first n with n·(n + 1) ≥ (economic quantity / pack)². It does not hang on the target: who promises more never orders
    later."""
    most = max(math.ceil(MOST_MONTHS * demand.a_month / terms.pack - 1e-9), 1)
    packs = economic / terms.pack
    best = most if packs >= most else math.ceil(math.sqrt(0.25 + packs**2) - 0.5)
    return min(max(best, 1), most) * terms.pack


def served_by_reorder_point(demands: Sequence[ProtectedDemand], spread: int, pack: int) -> Floats:
    """(parts × levels): share served at once, in the long run, with reorder points -1, 0, 1, …, until all is served;
    `demands` of one length."""
    lead, protected, review = (
        np.stack([getattr(demand, name) for demand in demands]) for name in ("lead", "protected", "review")
    )
    shares = positions(review, spread, pack)
    served = np.concatenate([served_between(lead, protected), np.ones(shares.shape)], axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(served, shares.shape[1], axis=1)
    return np.minimum((windows @ shares[:, :, None])[:, :, 0], 1.0)


def positions(review: Floats, spread: int, pack: int) -> Floats:
    """(parts × positions): share of reviews after which the position is s + 1, s + 2, …, s + spread + pack − 1, from a
    shelf that began at S; `review` (parts × n): demand between two reviews."""
    parts, count = len(review), spread + pack - 1
    begin = np.zeros(count)
    begin[spread - 1] = 1.0
    taken = np.arange(1, review.shape[1])
    after = np.arange(1, count + 1)[:, None] - taken
    ordered = np.where(after <= 0, -((after - spread) // pack) * pack, 0)
    # Only reviews with demand move it.
    total = review[:, 1:].sum(axis=1, keepdims=True)
    chances = np.divide(review[:, 1:], total, out=np.zeros_like(review[:, 1:]), where=total > 0)
    cells = np.arange(count)[:, None] * count + after + ordered - 1
    every = np.arange(parts)[:, None, None] * count**2 + cells
    weights = np.broadcast_to(chances[:, None], every.shape)
    moves = np.bincount(every.ravel(), weights.ravel(), minlength=parts * count**2).reshape(parts, count, count)
    # The little pull back to S makes the shares those of a shelf that began there, where sizes that are multiples of
    # the pack leave several rounds closed in themselves.
    pull = 1e-9
    found = np.linalg.solve(np.eye(count) - (1 - pull) * moves.transpose(0, 2, 1), pull * begin[:, None])[:, :, 0]
    found = np.where(total > 0, np.clip(found, 0.0, None), begin)
    return np.asarray(found / found.sum(axis=1, keepdims=True))
