"""The likeliest fault sets, for planning: what each needs repaired, what a check would show, and how much that tells.

Planning need not walk over every set: those that carry nearly all weight decide what to do next, and what is left out
can change no gain by more than its own share.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import trials
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.evidence import outcome_table
from diagnostics.engine.hypotheses import heaviest, rank, sorted_rows, weigh
from diagnostics.engine.offers import Offer

PLANNED_MASS, PLANNED_SETS = 0.995, 1500
SPOKEN_FOR = 3.0
"""A fault counts as spoken for where the evidence makes it at least this much likelier beside the others of its set."""
TINY = 1e-300
"""Keeps a quotient of vanished weights finite."""


@dataclass(frozen=True, slots=True)
class Likely:
    """The likeliest fault sets, those with one repair set together.

    `places` (m,) among all sets, `weights` (m,) that sum to 1, `members` (m, k) their faults, `core` (m, k) the repairs
    that the evidence asks for (the number of all repairs where empty), `starts` (s,) where each of the s repair sets
    begins. `mass`: the share of all weight that they have.
    """

    places: Ints
    weights: Floats
    members: Ints
    core: Ints
    starts: Ints
    mass: float

    def cut(self, most: int, mass: float) -> "Likely":
        """The likeliest of them: at most `most`, no more than needed for this share of their weight."""
        order = np.argsort(-self.weights, kind="stable")[:most]
        enough = int(np.searchsorted(np.cumsum(self.weights[order]), mass)) + 1
        kept = np.sort(order[:enough])
        weights = self.weights[kept]
        group = np.repeat(np.arange(len(self.starts)), np.diff(np.append(self.starts, len(self.weights))))[kept]
        starts = np.flatnonzero(np.diff(group, prepend=-1)).astype(np.int32)
        share = float(weights.sum())
        return Likely(
            self.places[kept], weights / share, self.members[kept], self.core[kept], starts, self.mass * share
        )


def likely_of(model: Compiled, weights: Floats, chances: Floats) -> Likely:
    """`weights` (H,) of all sets, `chances` (n,) of the faults before anything was seen."""
    top = heaviest(weights, PLANNED_SETS)
    top = top[: int(np.searchsorted(np.cumsum(weights[top]), PLANNED_MASS)) + 1]
    core = spoken_for(model, weights, chances, top)
    repairs = repairs_of(model, model.sets.members[core])
    order = np.argsort(rank(repairs, len(model.repair_names)), kind="stable")
    top, repairs = top[order], repairs[order]
    new = np.any(np.diff(repairs, axis=0, prepend=-1) != 0, axis=1)
    mass = float(weights[top].sum())
    starts = np.flatnonzero(new).astype(np.int32)
    return Likely(top, weights[top] / mass, model.sets.members[top], repairs, starts, mass)


def repairs_of(model: Compiled, members: Ints) -> Ints:
    """(m, k) the different repairs that put each set right, rising; their number where empty. `members` (m, k)."""
    n = len(model.repair_names)
    number = {name: i for i, name in enumerate(model.repair_names)}
    lookup = np.array([*(number[name] for name in model.repairs), n], dtype=np.int32)
    found = sorted_rows(lookup[members])
    for column in range(1, found.shape[1]):
        found[found[:, column] == found[:, column - 1], column] = n  # two faults, one repair
        found = sorted_rows(found)
    return found.astype(np.int32)


def shares_of(rows: Ints, weights: Floats, n: int) -> Floats:
    """(n,) weight of the rows (m, k) that each number below n stands in; once a row, n where empty."""
    cells = np.concatenate(list(rows.T))
    return weigh(cells, np.tile(weights, rows.shape[1]), n + 1)[:n]


def spoken_for(model: Compiled, weights: Floats, chances: Floats, places: Ints) -> Ints:
    """(m,) the place of that part of each set which the evidence speaks for.

    A fault that may be there beside the real one, and explains nothing of what was seen, is no question of which
    repair is right now: it is left to the proof afterwards. Without this, every pin not read yet would be worth its
    minute, however clear the fault. Where nothing is spoken for, a set stays whole.
    """
    odds = np.append(chances / (1.0 - chances), 1.0)
    core = places.copy()
    for _fault in range(1, model.sets.k):
        members = model.sets.members[core]
        for column in range(model.sets.k):
            without = members.copy()
            without[:, column] = model.sets.n
            smaller = rank(sorted_rows(without), model.sets.n)
            lift = weights[core] / (weights[smaller] * odds[members[:, column]] + TINY)
            rest = weights[smaller] / (weights[0] * np.prod(odds[without], axis=1) + TINY)
            idle = (members[:, column] < model.sets.n) & (smaller > 0) & (lift < SPOKEN_FOR) & (rest >= SPOKEN_FOR)
            core = np.where(idle, smaller, core)
            members = model.sets.members[core]
    return core


def shown(model: Compiled, likely: Likely, offer: Offer) -> Floats:
    """(m, outcomes) chance of each outcome of a check under each likely set. Rows sum to 1."""
    if offer.motion is None:
        table = outcome_table(model, offer.check, offer.position, offer.due)
        rows: Floats = table[model.codes(offer.position, likely.places)]
        return rows
    chances = trials.outcomes(model, offer.motion, likely.places)
    declared = model.system.motions[offer.motion]  # type: ignore[index]
    names = [*(step.name for step in declared.steps), None]
    told = np.array([trials.told_weights(declared, name, None, layman=False) for name in names])
    found: Floats = (told @ chances).T
    return found


def widths(tables: Sequence[Floats]) -> Ints:
    """(t,) the first column of each table, where they stand side by side."""
    return np.cumsum([0, *(table.shape[1] for table in tables[:-1])]).astype(np.int32)


def bits_each(joint: Floats, first: Ints) -> Floats:
    """(t,) mutual information in bits of t joint distributions that stand side by side.

    `joint` (repair sets, outcomes of all), each part summing to the same total; `first` (t,) where each part begins.
    Parts need not sum to 1: then the bits are weighed by that sum.
    """
    sets = joint[:, : first[1] if len(first) > 1 else None].sum(axis=1)
    outcomes = joint.sum(axis=0)
    per_outcome = _x_log_x(joint).sum(axis=0) - _x_log_x(outcomes)
    total = float(sets.sum())
    found: Floats = np.add.reduceat(per_outcome, first) - _x_log_x(sets).sum() + total * np.log2(max(total, TINY))
    return found.clip(min=0.0)


def bits(joint: Floats) -> float:
    """Mutual information of one joint distribution (repair sets, outcomes), in bits."""
    return float(bits_each(joint, np.zeros(1, dtype=np.int32))[0])


def _x_log_x(x: Floats) -> Floats:
    result: Floats = x * np.log2(np.maximum(x, TINY))
    return result
