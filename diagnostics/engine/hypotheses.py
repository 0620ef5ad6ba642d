"""All sets of up to k faults as arrays, in one fixed order: the empty set, single faults, pairs, triples, each in
lexicographic order. A set's place in that order is computed, never searched.

The order makes the arithmetic over all sets fast: the triples that begin with fault a are that fault before all pairs
behind it, and those pairs stand together. So sums and marginals over a million sets are a few hundred additions of
whole stretches, without an index.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.integer]
Floats = NDArray[np.float64]
MOST_FAULTS = 3


@dataclass(frozen=True)
class FaultSets:
    """`members`: (H, k) fault indices of each set in rising order, `n` where a place is empty; the smallest whole
    numbers that hold them."""

    n: int
    k: int
    members: Ints

    def __len__(self) -> int:
        return len(self.members)

    @property
    def size(self) -> Ints:
        """(H,) number of faults of each set."""
        sizes = np.arange(self.k + 1, dtype=np.int32)
        return np.repeat(sizes, [comb(self.n, int(size)) for size in sizes])

    @cached_property
    def pairs(self) -> slice:
        """Where the pairs stand; empty where k is 1."""
        return slice(1 + self.n, 1 + self.n + (comb(self.n, 2) if self.k > 1 else 0))

    def triples(self) -> Iterator[tuple[int, slice, slice]]:
        """For each first fault: it, where its triples stand, and where among the pairs their other two stand."""
        start, behind, pairs = self.pairs.stop, 0, comb(self.n, 2)
        for first in range(self.n - 2 if self.k > 2 else 0):
            behind += self.n - 1 - first
            yield first, slice(start, start + pairs - behind), slice(behind, pairs)
            start += pairs - behind


def count(n: int, k: int) -> int:
    return sum(comb(n, size) for size in range(k + 1))


@lru_cache(maxsize=16)
def fault_sets(n: int, k: int) -> FaultSets:
    """All sets of up to `k` of `n` faults. Raises ValueError unless 1 <= k <= 3."""
    if not 1 <= k <= MOST_FAULTS:
        raise ValueError(f"sets of 1 to {MOST_FAULTS} faults, not {k}")
    members = np.full((count(n, k), k), n, dtype=np.int16 if n < np.iinfo(np.int16).max else np.int32, order="F")
    members[1 : n + 1, 0] = np.arange(n)
    sets = FaultSets(n, k, members)
    if k > 1:
        members[sets.pairs, :2] = np.column_stack(np.triu_indices(n, 1))
    for first, here, behind in sets.triples():
        members[here, 0] = first
        members[here, 1:] = members[sets.pairs, :2][behind]
    members.setflags(write=False)
    return sets


def rank(members: NDArray[np.integer], n: int) -> Ints:
    """The place of each set in the order of `fault_sets(n, k)`; rows (m, k) in rising order, `n` where empty."""
    k = members.shape[1]
    columns = [members[:, i].astype(np.int64) for i in range(k)]
    size = (members < n).sum(axis=1)
    place = np.zeros(len(members), dtype=np.int64)
    a = columns[0]
    place = np.where(size == 1, 1 + a, place)
    if k >= 2:
        b = columns[1]
        pairs = 1 + n + a * n - a * (a + 1) // 2 + (b - a - 1)
        place = np.where(size == 2, pairs, place)
    if k >= 3:
        b, c = columns[1], columns[2]
        before = comb(n, 3) - _comb3(n - a) + _comb2(n - a - 1) - _comb2(n - b) + (c - b - 1)
        place = np.where(size == 3, 1 + n + comb(n, 2) + before, place)
    return place.astype(np.int32)


def _comb2(x: NDArray[np.int64]) -> NDArray[np.int64]:
    return x * (x - 1) // 2


def _comb3(x: NDArray[np.int64]) -> NDArray[np.int64]:
    return x * (x - 1) * (x - 2) // 6


def sorted_rows(members: NDArray[np.integer]) -> NDArray[np.integer]:
    """Each row in rising order, by a sorting network over the columns: much faster than sorting a million short
    rows."""
    columns = [members[:, i] for i in range(members.shape[1])]
    for end in range(len(columns) - 1, 0, -1):
        for i in range(end):
            columns[i], columns[i + 1] = np.minimum(columns[i], columns[i + 1]), np.maximum(columns[i], columns[i + 1])
    return np.column_stack(columns)


@dataclass(frozen=True, slots=True)
class Crowd:
    """The sets with two or more of some faults.

    `places` (m,) of these sets, `cells` (m,): local set × (n + 1) + the one fault besides, `n` where there is none.
    Local sets are numbered in the order of `fault_sets(len(faults), k)`.
    """

    places: Ints
    cells: Ints
    width: int

    @property
    def local(self) -> Ints:
        return self.cells // self.width

    @property
    def besides(self) -> Ints:
        return self.cells % self.width


def crowd_of(sets: FaultSets, faults: Sequence[int]) -> Crowd:
    """The sets of the whole with two or more of `faults` (rising)."""
    n, k = sets.n, sets.k
    here = np.array([*faults, n])
    local = fault_sets(len(faults), k)
    chosen = np.flatnonzero(local.size >= 2)
    full = here[local.members[chosen]]
    outside = np.append(np.setdiff1d(np.arange(n), here), n)
    alone = np.flatnonzero(local.size[chosen] < k)  # these leave room for one fault besides
    rows = np.concatenate([full, np.repeat(full[alone], len(outside) - 1, axis=0)])
    rows[len(full) :, -1] = np.tile(outside[:-1], len(alone))
    besides = np.concatenate([np.full(len(full), n), np.tile(outside[:-1], len(alone))])
    codes = np.concatenate([chosen, np.repeat(chosen[alone], len(outside) - 1)])
    places = rank(sorted_rows(rows), n)
    order = np.argsort(places)  # so that what is gathered lies nearly in a row
    return Crowd(places[order], (codes * (n + 1) + besides)[order].astype(np.int32), n + 1)


def weigh(cells: NDArray[np.integer], weights: Floats, n: int) -> Floats:
    """(n,) sum of the weights that fall into each cell."""
    return np.bincount(cells, weights=weights, minlength=n).astype(np.float64, copy=False)  # whole numbers if empty


def sums(sets: FaultSets, values: Floats) -> Floats:
    """(H,) sum of the values (n,) of each set's members."""
    found = np.empty(len(sets))
    found[0] = 0.0
    found[1 : sets.n + 1] = values
    pairs = found[sets.pairs]
    if sets.k > 1:
        low, high = sets.members[sets.pairs, :2].T
        np.add(values[low], values[high], out=pairs)
    for first, here, behind in sets.triples():
        np.add(pairs[behind], values[first], out=found[here])
    return found


def marginals(sets: FaultSets, weights: Floats) -> Floats:
    """(n,) total weight of the sets that each fault is in."""
    found = weights[1 : sets.n + 1].copy()
    pairs = weights[sets.pairs].copy()
    for first, here, behind in sets.triples():
        found[first] += weights[here].sum()
        pairs[behind] += weights[here]
    if sets.k > 1:
        for column in sets.members[sets.pairs, :2].T:
            found += weigh(column, pairs, sets.n)
    return found


def together(sets: FaultSets, weights: Floats) -> Floats:
    """(n, n) total weight of the sets that each two faults are both in; on the diagonal that of each fault."""
    n = sets.n
    found = np.zeros((n, n))
    if sets.k > 1:
        pairs = weights[sets.pairs].copy()
        low, high = sets.members[sets.pairs, :2].T.astype(np.intp)
        for first, here, behind in sets.triples():
            block = weights[here]
            pairs[behind] += block
            found[first] += weigh(low[behind], block, n) + weigh(high[behind], block, n)
        found[low, high] += pairs
    found += found.T
    np.fill_diagonal(found, marginals(sets, weights))
    return found


def heaviest(weights: Floats, most: int) -> Ints:
    """Places of the `most` largest weights, the largest first; of equal ones the first in order."""
    most = min(most, len(weights))
    top = weights.max()
    few = np.arange(len(weights))
    for power in range(1, 40, 2):  # nearly always all but a few thousand are far behind
        some = np.flatnonzero(weights >= top * 10.0**-power)
        if len(some) >= most:
            few = some
            break
    # What ties with the last one stays in until the order decides.
    least = np.partition(weights[few], len(few) - most)[len(few) - most]
    few = few[weights[few] >= least]
    order = np.argsort(-weights[few], kind="stable")[:most]
    found: Ints = few[order].astype(np.int32)
    return found
