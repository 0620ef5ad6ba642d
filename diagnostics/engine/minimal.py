"""Minimal diagnoses: the smallest sets of faults with which the evidence is consistent (Reiter 1987; de Kleer,
Williams 1987)."""

from collections.abc import Callable, Hashable, Iterable
from itertools import combinations
from typing import TypeVar

Part = TypeVar("Part", bound=Hashable)


def minimal_diagnoses(
    parts: Iterable[Part], consistent: Callable[[frozenset[Part]], bool], most: int
) -> list[frozenset[Part]]:
    """All minimal sets of at most `most` of `parts` for which `consistent(set)` holds, smaller sets first.

    A set is minimal if none of its proper subsets is consistent. Where faulty parts may behave in any way (weak fault
    models) every superset of a consistent set is consistent and the minimal ones stand for all; with declared modes
    they need not. `consistent` is asked once for each set that has no consistent subset.
    """
    every = list(dict.fromkeys(parts))
    found: list[frozenset[Part]] = []
    for size in range(min(most, len(every)) + 1):
        for chosen in combinations(every, size):
            candidate = frozenset(chosen)
            if not any(smaller <= candidate for smaller in found) and consistent(candidate):
                found.append(candidate)
    return found
