"""All sets of up to k faults as arrays, in one fixed order: the empty set, single faults, pairs, triples, each in
lexicographic order. A set's place in that order is computed, never searched."""

from dataclasses import dataclass
from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int32]
MOST_FAULTS = 3


@dataclass(frozen=True, slots=True)
class FaultSets:
    """`members`: (H, k) fault indices of each set in rising order, `n` where a place is empty. `size`: (H,)."""

    n: int
    k: int
    members: Ints
    size: Ints

    def __len__(self) -> int:
        return len(self.size)


def count(n: int, k: int) -> int:
    return sum(comb(n, size) for size in range(k + 1))


@lru_cache(maxsize=64)
def fault_sets(n: int, k: int) -> FaultSets:
    """All sets of up to `k` of `n` faults. Raises ValueError unless 1 <= k <= 3."""
    if not 1 <= k <= MOST_FAULTS:
        raise ValueError(f"sets of 1 to {MOST_FAULTS} faults, not {k}")
    parts = [np.full((1, k), n, dtype=np.int32)]
    for size in range(1, k + 1):
        part = np.full((comb(n, size), k), n, dtype=np.int32)
        part[:, :size] = _combinations(n, size)
        parts.append(part)
    members = np.asfortranarray(np.concatenate(parts))  # read column by column
    members.setflags(write=False)
    return FaultSets(n, k, members, (members < n).sum(axis=1).astype(np.int32))


def _combinations(n: int, size: int) -> Ints:
    """(comb(n, size), size) in lexicographic order."""
    if size == 1:
        return np.arange(n, dtype=np.int32)[:, None]
    smaller = _combinations(n, size - 1)
    # Each first member a goes before all combinations of the rest that start behind it: the tail of `smaller`.
    behind = np.searchsorted(smaller[:, 0], np.arange(n), side="right")
    blocks = []
    for first in range(n):
        tail = smaller[behind[first] :]
        blocks.append(np.column_stack([np.full(len(tail), first, dtype=np.int32), tail]))
    return np.concatenate(blocks) if blocks else np.empty((0, size), dtype=np.int32)


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


def sorted_rows(members: Ints) -> Ints:
    """Each row in rising order, by a sorting network over the columns: much faster than sorting a million short
    rows."""
    columns = [members[:, i] for i in range(members.shape[1])]
    for end in range(len(columns) - 1, 0, -1):
        for i in range(end):
            columns[i], columns[i + 1] = np.minimum(columns[i], columns[i + 1]), np.maximum(columns[i], columns[i + 1])
    return np.column_stack(columns)


def project(sets: FaultSets, keep: NDArray[np.integer], n_kept: int) -> Ints:
    """The place of each set's part that lies in a subset of the faults.

    `keep`: (n,) new index of each fault in the subset, `n_kept` where it is left out; rising with the old index.
    Returns (H,) places in the order of `fault_sets(n_kept, k)`.
    """
    lookup = np.append(np.asarray(keep, dtype=np.int32), np.int32(n_kept))
    return rank(sorted_rows(lookup[sets.members]), n_kept)


def weigh(cells: NDArray[np.integer], weights: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """(n,) sum of the weights that fall into each cell."""
    return np.asarray(np.bincount(cells, weights=weights, minlength=n), dtype=np.float64)


def marginals(members: Ints, weights: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """(n,) weight of the sets that contain each member; rows (m, k), `n` where empty."""
    found = np.zeros(n + 1)
    for column in members.T:
        found += weigh(column, weights, n + 1)
    return found[:n]


def sums(members: Ints, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m,) sum of the values of each set's members; `values` (n + 1,), the last one for an empty place."""
    found = np.zeros(len(members))
    for column in members.T:
        found += values[column]
    return found
