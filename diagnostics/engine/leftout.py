"""A bound on the weight of fault sets that were left out because the system has too many of them.

One more fault raises the chance of the evidence at a site at most by the largest quotient over all local sets, and the
chance of any other entry is at most 1. So a set weighs at most the product of what each of its faults can bring, and
the sum over all sets of one size is an elementary symmetric polynomial. After work the state before and the state
since are judged together, and a pair of them is left out where either has too many faults.
"""

from collections.abc import Sequence

import numpy as np

from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.evidence import Factor
from diagnostics.engine.hypotheses import fault_sets, rank, sorted_rows
from diagnostics.engine.weighing import fresh_odds, gathered, inside_of, of_each_size, prior_of


def left_out_most(
    model: Compiled, chances: Floats, factors: Sequence[Factor], worked: frozenset[str], log_total: float
) -> float:
    """The largest share of the posterior that sets of `model.sets.k` + 1 to `model.most` faults can have; 0 where none
    was left out. `log_total`: log of the weight of all sets that were weighed."""
    kept, most = model.sets.k, model.most
    if kept == most:
        return 0.0
    before = gathered(model, [factor for factor in factors if not factor.after_work])[0]
    since = gathered(model, [factor for factor in factors if factor.after_work])[0]
    nothing = sum(float(table[0]) for table in (*before.values(), *since.values()))
    lift, later, inside = _lifts(model, before), _lifts(model, since), inside_of(model, worked)
    odds = chances / (1.0 - chances)
    stays = of_each_size((odds * lift * later)[~inside], most)
    was = of_each_size((odds * lift)[inside], most)
    comes = of_each_size((fresh_odds(model, chances, worked) * later)[inside], most)
    total = 0.0
    for outside in range(most + 1):
        for old in range(most + 1 - outside):
            for new in range(most + 1 - outside):
                # Without work nothing is renewed: there is one state, of the faults outside alone.
                if max(old, new) + outside > kept:
                    total += stays[outside] * was[old] * comes[new]
    log_most = float(np.log(total)) + nothing + prior_of(model, chances).empty - log_total
    return 1.0 / (1.0 + float(np.exp(-log_most)))


def _lifts(model: Compiled, sites: dict[str, Floats]) -> Floats:
    """(n,) the largest factor by which one more fault can raise the chance of the evidence at its sites."""
    found = np.zeros(model.sets.n)
    for code, table in sites.items():
        own = model.sites[code].faults
        local = fault_sets(len(own), model.most).members
        for number, fault in enumerate(own):
            joined = np.flatnonzero((local == number).any(axis=1))
            before = rank(sorted_rows(np.where(local[joined] == number, len(own), local[joined])), len(own))
            found[fault] += (table[joined] - table[before]).max()
    return np.exp(found)
