"""Weights of all fault sets, exact, in log space.

What factors over sites is added up as whole stretches: a set weighs what its faults weigh one by one, and only the
sets with several faults at one site (a `crowd`) are put right from the table of that site. Evidence of motions is a
gather from its classes (alike.py).
"""

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import observe
from diagnostics.engine.alike import Alike
from diagnostics.engine.compiled import Compiled, Floats, Site
from diagnostics.engine.evidence import Factor, SiteFactor
from diagnostics.engine.faults import mode_of
from diagnostics.engine.hypotheses import fault_sets, rank, sorted_rows, sums, weigh


@dataclass(frozen=True, slots=True)
class Prior:
    """Log weight of a set before evidence: `empty`, plus `odds` (n,) of its faults, plus `rest` (H,) where there is
    one. Normalised over the sets that are weighed."""

    empty: float
    odds: Floats
    rest: Floats | None = None


def prior_of(model: Compiled, chances: Floats) -> Prior:
    """Independent faults, given that there are no more than `model.sets.k` of them."""
    odds = chances / (1.0 - chances)
    return Prior(-float(np.log(of_each_size(odds, model.sets.k).sum())), np.log(odds))


def of_each_size(values: Floats, most: int) -> Floats:
    """(most + 1,) for each size the sum over all sets of that size of the product of their values."""
    found = np.zeros(most + 1)
    found[0] = 1.0
    for value in values:
        found[1:] += value * found[:-1]
    return found


def weigh_evidence(model: Compiled, prior: Prior, factors: Sequence[Factor]) -> tuple[Floats, float]:
    """(H,) normalised weights, and the log probability of the evidence."""
    sites, classes = gathered(model, factors)
    singles, constant = prior.odds.copy(), prior.empty
    for code, table in sites.items():
        singles[list(model.sites[code].faults)] += table[1 : len(model.sites[code].faults) + 1] - table[0]
        constant += table[0]
    weights = sums(model.sets, singles)
    for code, table in sites.items():
        crowd = model.crowd(model.sites[code].faults)
        weights[crowd.places] += _of_several(model, model.sites[code], table)[crowd.local]
    for which, table in classes.items():
        weights += np.take(table, which.codes)
    if prior.rest is not None:
        weights += prior.rest
    top = weights.max()
    weights -= top
    np.exp(weights, out=weights)
    total = weights.sum()
    weights /= total
    return weights, float(constant + top + np.log(total))


def _of_several(model: Compiled, site: Site, table: Floats) -> Floats:
    """(local sets,) what a local set weighs in the logs beyond the sum of its faults: 0 for up to one."""
    n = len(site.faults)
    alone = sums(fault_sets(n, model.most), table[1 : n + 1] - table[0])
    beyond: Floats = table - table[0] - alone
    return beyond


def gathered(model: Compiled, factors: Sequence[Factor]) -> tuple[dict[str, Floats], dict[Alike, Floats]]:
    """Log chance of all evidence: by site (local sets,), and for the rest by classes (C,)."""
    number = Counter(factor.key for factor in factors)
    sites: dict[str, Floats] = {}
    parts: dict[tuple[Alike, Hashable], tuple[Floats, int]] = {}
    for key, factor in {factor.key: factor for factor in factors}.items():
        if isinstance(factor, SiteFactor):
            sites[factor.site] = sites.get(factor.site, 0.0) + number[key] * np.log(factor.table)
            continue
        for part in factor.parts(model):
            _table, times = parts.get((part.which, part.key), (part.table, 0))
            parts[part.which, part.key] = part.table, times + number[key]
    classes: dict[Alike, Floats] = {}
    for (which, _key), (table, times) in parts.items():
        classes[which] = classes.get(which, 0.0) + times * np.log(table)
    return sites, classes


def renewed(model: Compiled, chances: Floats, old: Floats, worked: frozenset[str]) -> tuple[Prior, float]:
    """After work: outside the worked positions what is believed of the old state (`old`, (H,)), there fresh faults.
    With the log of the weight before it was normalised."""
    n = model.sets.n
    inside, odds = inside_of(model, worked), fresh_odds(model, chances, worked)
    there = np.append(inside, False)
    touched = np.flatnonzero(np.any([there[column] for column in model.sets.members.T], axis=0))
    rows = model.sets.members[touched]
    outside = rank(sorted_rows(np.where(there[rows], n, rows)), n)
    rest = old + weigh(outside, old[touched], len(old))  # of the places in `outside`; those touched come below
    with np.errstate(divide="ignore"):
        rest = np.log(rest)
    log_fresh = np.append(np.where(inside, np.log(odds), 0.0), 0.0)
    rest[touched] = rest[outside] + log_fresh[rows].sum(axis=1)
    top = rest.max()
    total = float(top + np.log(np.exp(rest - top).sum()))
    return Prior(0.0, np.zeros(n), rest - total), total


def inside_of(model: Compiled, worked: frozenset[str]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(n,) faults at the positions worked on."""
    return np.array([fault.position in worked or fault.input in worked for fault in model.faults])


def fresh_odds(model: Compiled, chances: Floats, worked: frozenset[str]) -> Floats:
    """(n,) odds of a fault right after the work: what is disturbed by work is likelier where it was done."""
    factor = np.ones(len(model.faults))
    for i in np.flatnonzero(inside_of(model, worked)):
        if mode_of(model.system, model.faults[i]).disturbed:
            factor[i] = observe.WORK_HERE
    odds: Floats = factor * chances / (1.0 - chances)
    return odds
