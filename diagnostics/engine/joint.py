"""What is believed of one site and of one fault together: (local set there, fault) weights without walking over all
hypotheses again for each entry."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.hypotheses import fault_sets, marginals, together, weigh


@dataclass
class Joint:
    """`weights` (H,) of the hypotheses, summing to 1."""

    model: Compiled
    weights: Floats
    _sites: dict[str, tuple[Floats, Floats]] = field(default_factory=dict)

    @cached_property
    def shares(self) -> Floats:
        """(n,) of each fault."""
        return marginals(self.model.sets, self.weights)

    @cached_property
    def _together(self) -> Floats:
        return together(self.model.sets, self.weights)

    def at(self, site: str) -> tuple[Floats, Floats]:
        """(local sets,) weight of each local set, and (local sets, n) of it with each fault of the system."""
        if site not in self._sites:
            self._sites[site] = self._at(site)
        return self._sites[site]

    def _at(self, site: str) -> tuple[Floats, Floats]:
        """Sets with several faults here are few and are counted one by one; what is left of a fault of the site is the
        fault alone, and what is left of all is the site without any."""
        model, own = self.model, self.model.sites[site]
        faults, n, local = list(own.faults), model.sets.n, len(own.sets)
        crowd = model.crowd(own.faults)
        cells = weigh(crowd.cells, self.weights[crowd.places], local * (n + 1)).reshape(local, n + 1)
        has = model.kept(("has", own.code), lambda: _has(len(faults), model.most))
        whole, with_fault = cells.sum(axis=1), cells[:, :n].copy()
        alone = slice(1, len(faults) + 1)
        whole[alone] = self.shares[faults] - has.T @ whole
        with_fault[alone] = self._together[faults] - has.T @ with_fault
        with_fault[:, faults] = whole[:, None] * has
        whole[0] = self.weights.sum() - whole[1:].sum()
        with_fault[0] = self.shares - with_fault[1:].sum(axis=0)
        with_fault[0, faults] = 0.0
        return np.maximum(whole, 0.0), np.maximum(with_fault, 0.0)


def _has(n: int, most: int) -> Floats:
    """(local sets, n) 1 where the local set has the fault, else 0."""
    members = fault_sets(n, most).members
    has: Floats = (members[:, :, None] == np.arange(n)).any(axis=1).astype(np.float64)
    return has
