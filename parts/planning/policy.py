"""The (s, S) policy of least mean cost: whenever the position is s or less, order up to S.

Zheng & Federgruen, Operations Research 39 (1991) 654-665.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from parts.planning.counts import Floats

CostAt = Callable[[Floats], Floats]
"""Positions (whole numbers) -> expected holding and shortage cost of a period begun there: falling, then rising."""


@dataclass(frozen=True, slots=True)
class Policy:
    """`cost`: mean cost a period, ordering included."""

    reorder_at: int
    up_to: int
    cost: float


class _Costs:
    """Mean cost a period of any (s, S): (K + Σ m(j)·G(S − j)) / Σ m(j) over j = 0 … S − s − 1, with m the renewal
    density of demand."""

    def __init__(self, pmf: Floats, ordering: float, cost_at: CostAt) -> None:
        self.pmf, self.ordering, self.cost_at = pmf, ordering, cost_at
        self.density = np.array([1.0 / (1.0 - pmf[0])])
        self._known: dict[int, float] = {}

    def at(self, level: int) -> float:
        if level not in self._known:
            self._known[level] = float(self.cost_at(np.array([float(level)]))[0])
        return self._known[level]

    def of(self, reorder_at: int, up_to: int) -> float:
        density = self._renewals(up_to - reorder_at)
        costs = np.array([self.at(level) for level in range(up_to, reorder_at, -1)])
        return float((self.ordering + density @ costs) / density.sum())

    def _renewals(self, count: int) -> Floats:
        while len(self.density) < count:
            back = self.density[::-1][: len(self.pmf) - 1]
            more = self.pmf[1 : len(back) + 1] @ back / (1.0 - self.pmf[0])
            self.density = np.append(self.density, more)
        return self.density[:count]


def best_policy(pmf: Floats, *, ordering: float, cost_at: CostAt, around: int) -> Policy:
    """`pmf`: demand of a period; `ordering`: money an order; `around`: the position at which `cost_at` is least.

    Raises ValueError where nothing is ever asked for.
    """
    if len(pmf) < 2 or pmf[0] >= 1.0:
        raise ValueError("expected some demand in a period")
    costs = _Costs(pmf, ordering, cost_at)
    low, best = around - 1, around
    while costs.of(low, best) > costs.at(low):
        low -= 1
    least = costs.of(low, best)
    high = best + 1
    while costs.at(high) <= least:
        if costs.of(low, high) < least:
            best = high
            while low + 1 < best and costs.of(low, best) <= costs.at(low + 1):
                low += 1
            least = costs.of(low, best)
        high += 1
    return Policy(low, best, least)
