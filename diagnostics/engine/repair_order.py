"""In which order to try repairs, and what that takes.

With one fault, repairs that always cure what they are for, and minutes that do not depend on what was tried before, the
least expected minutes come of falling chance over minutes (Heckerman, Breese and Rommelse, Communications of the ACM
38(3), 1995, 49–57); minutes that only the right repair costs, such as its proof, do not change the order. If none of
them was it, a last resort ends the matter, and it is worth calling before repairs that are too long for their chance.

Two steps go beyond that theory, and are then rules of thumb and no more the proven best: minutes that shrink where an
earlier repair has opened the place, and cars with several faults.
"""

from collections.abc import Sequence

import numpy as np

from diagnostics.engine.compiled import Floats, Ints


def by_ratio(chances: Floats, alone: Floats, after: Floats) -> tuple[list[int], list[float]]:
    """The order of falling chance over minutes, and the minutes of each when its turn comes. Equal ratios keep the
    order in which they came.

    `chances` (r,) that each repair is needed; `alone` (r,) minutes of trying it with nothing tried before; `after`
    (r, r) the same of the second once the first was tried, no more than `alone`; with independent minutes, `alone`.
    """
    left, minutes = np.array(chances, dtype=float), np.array(alone, dtype=float)
    order, tries = [], []
    for _turn in range(len(left)):
        best = int((left / minutes).argmax())
        order.append(best)
        tries.append(float(minutes[best]))
        left[best] = -1.0
        minutes = np.minimum(minutes, after[best])
    return order, tries


def expected(
    weights: Floats, last: Ints, tries: Sequence[float], proofs: Floats, last_resort: float
) -> tuple[Floats, Floats]:
    """What trying the first repairs of an order takes, for each number of them, before the last resort.

    `weights` (m,) of the states that the car may be in; `last` (m,) how many repairs of the order put each right, more
    than there are where they never do; `tries` (r,) minutes of each in order; `proofs` (m,) minutes that the right ones
    cost on top. Returns (r + 1,) the expected minutes, times the sum of the weights, if none … all of them are tried,
    and (r + 2,) the minutes until each is done.
    """
    r = len(tries)
    until = np.concatenate([[0.0], np.cumsum(tries), [0.0]])
    solved = np.cumsum(np.bincount(last, weights * (until[last] + proofs), r + 2)[: r + 1])
    open_yet = weights.sum() - np.cumsum(np.bincount(last, weights, r + 2)[: r + 1])
    return solved + open_yet * (until[: r + 1] + last_resort), until


def minutes_if(most: int, last: Ints, until: Floats, proofs: Floats, last_resort: float) -> Floats:
    """(m,) minutes under each state if the first `most` repairs are tried; `until` as `expected` gives it."""
    return np.where(last <= most, until[last] + proofs, until[most] + last_resort)
