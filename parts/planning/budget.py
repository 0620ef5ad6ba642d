"""The best use of a given sum: again and again the purchase that gains most for its money.

Marginal analysis as in C. C. Sherbrooke, Optimal Inventory Modeling of Systems, chapter 2 (MEM). Where one more pack
gains less than the two or three after it would each, they are looked at as one purchase, so that gains for money only
fall along the list. What no longer fits is passed over for what still does. So a larger sum never gains less: with less
money than the first purchase costs nothing gains more than that purchase, which is the best there is for its money.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import numpy as np

from parts.planning.counts import Floats
from parts.planning.lead_demand import ProtectedDemand
from parts.planning.part_plan import Stock, Terms
from parts.planning.stocking import served_at


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that money can be spent on: `worth` with 0, 1, 2, … packs bought, `price` of each pack."""

    key: str
    price: Decimal
    worth: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Spending:
    """`packs` bought by key (none is left out); `cost` of all; `worth` of all that is had then, what was there before
    included; `order`: the purchases (key, packs) as they were made, the best for its money first."""

    packs: dict[str, int]
    cost: Decimal
    worth: float
    order: tuple[tuple[str, int], ...]


def spend(budget: Decimal, choices: Sequence[Choice]) -> Spending:
    """Never costs more than `budget`. Raises ValueError: a key twice, a price or budget below 0, no worth."""
    if len({choice.key for choice in choices}) < len(choices):
        raise ValueError("expected every part once")
    if budget < 0 or any(choice.price < 0 or not choice.worth for choice in choices):
        raise ValueError("expected a sum and prices of at least 0, and what each part is worth without buying any")
    steps = [_steps(choice) for choice in choices]
    packs = {choice.key: 0 for choice in choices}
    left, order = budget, list[tuple[str, int]]()
    heap = [(-mine[1][1], number, 1) for number, mine in enumerate(steps) if len(mine) > 1]
    heapq.heapify(heap)
    while heap:
        _, number, at = heapq.heappop(heap)
        choice, mine = choices[number], steps[number]
        more = mine[at][0] - mine[at - 1][0]
        if choice.price * more > left:
            continue  # the rest of this part gains even less for its money
        left -= choice.price * more
        packs[choice.key] = mine[at][0]
        order.append((choice.key, more))
        if at + 1 < len(mine):
            heapq.heappush(heap, (-mine[at + 1][1], number, at + 1))
    worth = sum(choice.worth[packs[choice.key]] for choice in choices)
    return Spending(packs, budget - left, worth, tuple(order))


def _steps(choice: Choice) -> list[tuple[int, float]]:
    """(packs had, gain for money of the step that leads there): the corners of the least concave curve above `worth`,
    as far as it rises; the first is (0, 0)."""
    corners = [0]
    for count in range(1, len(choice.worth)):
        while len(corners) > 1 and _rise(choice, corners[-2], corners[-1]) <= _rise(choice, corners[-2], count):
            corners.pop()
        corners.append(count)
    price = float(choice.price)
    found = [(0, 0.0)]
    for low, high in pairwise(corners):
        rise = _rise(choice, low, high)
        if rise <= 1e-12:
            break
        found.append((high, rise / price if price > 0 else np.inf))
    return found


def _rise(choice: Choice, low: int, high: int) -> float:
    """Gain a pack."""
    return (choice.worth[high] - choice.worth[low]) / (high - low)


def choice_of(key: str, demand: ProtectedDemand, stock: Stock, terms: Terms) -> Choice:
    """What more packs of a part are worth now: pieces a month that would be served at once, each counted once more for
    every day that a car would stand for want of it."""
    weight = demand.a_month * (1.0 + terms.held_up_days)
    served = served_at(demand)
    most = max(-(-(len(served) - 1 - stock.position) // terms.pack), 0)
    levels = stock.position + terms.pack * np.arange(most + 1)
    at = np.where(levels < 0, 0.0, served[np.clip(levels, 0, len(served) - 1)])
    return Choice(key, terms.price * terms.pack, tuple(float(one) for one in weight * at))


def share_served(choices: Sequence[Choice], packs: dict[str, int]) -> float:
    """Of all that could be served, what is served at once with these packs; 1 where nothing is asked for."""
    whole = sum(max(choice.worth) for choice in choices)
    had: Floats = np.array([choice.worth[packs[choice.key]] for choice in choices])
    return float(had.sum() / whole) if whole > 0 else 1.0
