"""A part's ledger day by day under a policy, many runs at once: does the plan keep what it promises?

It shares no formula with the plan. Each day first customers take, then deliveries serve who waits and fill the shelf,
then, on a day of review, it is ordered.
"""

from dataclasses import dataclass

import numpy as np

from parts.planning.counts import Floats, Ints
from parts.planning.lead_demand import MONTH, ONE_AT_A_TIME, checked


@dataclass(frozen=True, slots=True)
class Shelf:
    """Order at a position of `reorder_at` or less, so many packs that it reaches `up_to`; reviewed every
    `review_days`."""

    reorder_at: int
    up_to: int
    pack: int
    review_days: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """Of each run (runs,): pieces asked for, pieces served at once, orders made, mean pieces on the shelf at night."""

    asked: Ints
    at_once: Ints
    orders: Ints
    on_shelf: Floats

    @property
    def served(self) -> float:
        """Share of all pieces that was served at once."""
        return float(self.at_once.sum() / max(self.asked.sum(), 1))


def simulate_shelf(
    shelf: Shelf,
    askings: Floats,
    lead: Floats,
    *,
    sizes: Floats = ONE_AT_A_TIME,
    overtaking: bool = False,
    years: int = 10,
    runs: int = 200,
    seed: int = 1,
) -> Outcome:
    """`askings`: distribution of the number of askings a month, the same in every month; `lead` and `sizes` as in
    `Outlook`. Deliveries keep the order in which they were sent for, or are drawn each for itself where
    `overtaking`. A run begins anywhere between the reorder point and the level, with nothing on order.

    Raises ValueError: something is no distribution, or lead times that no sequence kept in order can have.
    """
    rng = np.random.default_rng(seed)
    days = round(years * 365.25)
    taken = _taken(rng, checked(askings, "demand of a month"), checked(sizes, "pieces of one asking"), runs, days)
    chances = checked(lead, "lead time")
    draw = _each_for_itself if overtaking else _kept_in_order
    return _ledger(shelf, taken, draw(rng, chances, runs, days), len(chances), rng)


def _taken(rng: np.random.Generator, askings: Floats, sizes: Floats, runs: int, days: int) -> Ints:
    """(days × runs) pieces asked for."""
    months = int(days / MONTH) + 1
    counts = rng.choice(len(askings), size=(runs, months), p=askings / askings.sum())
    run, month = (np.repeat(index.ravel(), counts.ravel()) for index in np.indices(counts.shape))
    day = ((month + rng.random(len(month))) * MONTH).astype(np.int64)
    pieces = rng.choice(len(sizes), size=len(month), p=sizes / sizes.sum())
    inside = day < days
    found = np.zeros((days, runs), dtype=np.int64)
    np.add.at(found, (day[inside], run[inside]), pieces[inside])
    return found


def _each_for_itself(rng: np.random.Generator, lead: Floats, runs: int, days: int) -> Ints:
    """(days × runs) days that an order made on that day takes."""
    return rng.choice(len(lead), size=(days, runs), p=lead / lead.sum())


def _kept_in_order(rng: np.random.Generator, lead: Floats, runs: int, days: int) -> Ints:
    """The same, but none comes before an earlier one: what is sent for on day t comes at the latest of t + X(t) and
    the day of yesterday's. With P(X ≤ x) = F(x) / F(x + 1) each lead time by itself has the distribution F."""
    below = np.minimum(np.cumsum(lead), 1.0)
    above = np.append(below[1:], 1.0)
    own = np.divide(below, above, out=np.zeros_like(below), where=above > 0)
    if np.any(np.diff(own) < -1e-12):
        raise ValueError("no sequence of deliveries kept in order has these lead times: let them overtake")
    early = len(lead)  # so many days before the first, the sequence has forgotten how it began
    fresh = np.searchsorted(own, rng.random((days + early, runs)))
    comes = np.maximum.accumulate(fresh + np.arange(days + early)[:, None], axis=0)
    return (comes - np.arange(days + early)[:, None])[early:]


def _ledger(shelf: Shelf, taken: Ints, takes: Ints, longest: int, rng: np.random.Generator) -> Outcome:
    days, runs = taken.shape
    everybody = np.arange(runs)
    net = rng.integers(shelf.reorder_at + 1, shelf.up_to + 1, size=runs)
    position = net.copy()
    coming = np.zeros((longest + 1, runs), dtype=np.int64)
    at_once, orders, on_shelf = np.zeros_like(net), np.zeros_like(net), np.zeros(runs)
    for day in range(days):
        at_once += np.minimum(taken[day], np.maximum(net, 0))
        net -= taken[day]
        position -= taken[day]
        today = coming[day % len(coming)]
        net += today
        today[:] = 0
        if (day + 1) % shelf.review_days == 0:
            short = shelf.up_to - position
            packs = np.where(position <= shelf.reorder_at, -(-short // shelf.pack), 0)
            due = takes[day]
            # What is sent for and comes on the same day is there tonight.
            net += np.where(due == 0, packs * shelf.pack, 0)
            coming[(day + due) % len(coming), everybody] += np.where(due == 0, 0, packs * shelf.pack)
            position += packs * shelf.pack
            orders += packs > 0
        on_shelf += np.maximum(net, 0)
    return Outcome(taken.sum(axis=0), at_once, orders, on_shelf / days)
