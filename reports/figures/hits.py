"""Suspects against what was found."""

from collections.abc import Iterable
from dataclasses import dataclass

Fault = tuple[str, str]
"""Position and mode."""


@dataclass(frozen=True, slots=True)
class Suspected:
    fault: Fault
    probability: float


def judged(suspects: Iterable[Suspected], found: set[Fault]) -> tuple[int, float]:
    """(place, Brier score): the place of the likeliest suspect that was found, 1 for the first of all, 0 where none of
    them was; and the sum of (probability - found)² over all suspects and all that was found (Brier 1950, for several
    faults at once)."""
    chances: dict[Fault, float] = {}
    for one in suspects:
        chances[one.fault] = max(one.probability, chances.get(one.fault, 0.0))
    ordered = sorted(chances, key=lambda fault: (-chances[fault], fault))
    place = next((at for at, fault in enumerate(ordered, 1) if fault in found), 0)
    score = sum((chances.get(fault, 0.0) - (fault in found)) ** 2 for fault in {*ordered, *found})
    return place, score
