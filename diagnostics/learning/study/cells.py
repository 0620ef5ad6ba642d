"""The cells of the study, and what is found in a fleet of one."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.priors import GENERIC
from diagnostics.learning.ranges import control, find_ranges
from diagnostics.learning.records import Range
from diagnostics.learning.study.fleets import MONTHS, SHARES, START, TrueRange, fleet

SIZES, RATIOS = (100, 300, 1000, 5000), (2.0, 3.0, 5.0)
WINDOWS: dict[str, tuple[tuple[int, int], ...]] = {
    "early": ((0, 29),),
    "middle": ((45, 80),),
    "two": ((15, 40), (78, 103)),
    "third": ((40, 79),),
}
"""Months of production, moved by up to MOVED either way from fleet to fleet (an end of production stays one)."""
MOVED = 6


@dataclass(frozen=True, slots=True)
class Cell:
    """Fleets of so many cars with such ranges, of a part that `fails` as in SHARES. `whole`: every part is searched,
    not only the one with the ranges."""

    cars: int
    kind: str
    ratio: float
    whole: bool
    fails: str = "often"


@dataclass(frozen=True, slots=True)
class Match:
    """A true range, and what was told of it: whether each end within production and the ratio lie in their sets."""

    found: bool
    ends: tuple[bool, ...] = ()
    ratio_in: bool = False
    ratio_error: float = 0.0
    """Log of estimated over true."""


@dataclass(frozen=True, slots=True)
class Outcome:
    cell: Cell
    searched: int
    false: int
    """Ranges found that overlap no true one."""
    matches: tuple[Match, ...]


def cells(sizes: Sequence[int] = SIZES) -> list[Cell]:
    """None and each kind with each ratio, then a third of production at two sizes, where the part fails often and where
    it fails seldom, and searched as a whole."""
    plain = [Cell(n, "none", 1.0, True) for n in sizes]
    ranged = [Cell(n, kind, ratio, False) for n in sizes for kind in ("early", "middle", "two") for ratio in RATIOS]
    thirds = [Cell(n, "third", 4.0, False, fails) for fails in SHARES for n in (600, 3000)]
    return [*plain, *ranged, *thirds, *(Cell(600, "third", 4.0, True, fails) for fails in SHARES)]


def outcomes(
    chosen: Iterable[Cell], repeats: int, seed: int, mapped: Callable[..., Iterator[Outcome]]
) -> Iterator[Outcome]:
    """`mapped` as the builtin map; the same seed gives the same fleets, whoever follows them."""
    tasks = [(cell, number, seed) for cell in chosen for number in range(repeats)]
    return mapped(_followed, tasks)


def _followed(task: tuple[Cell, int, int]) -> Outcome:
    cell, number, seed = task
    return follow(cell, int(np.random.SeedSequence([seed, cell.cars, number]).generate_state(1)[0]))


def follow(cell: Cell, seed: int) -> Outcome:
    """One fleet searched as the learning does it: each population, then the control over all."""
    truth = _truth(cell, seed)
    populations = fleet(seed, cell.cars, truth, fails=cell.fails, whole=cell.whole)
    told = [find_ranges(spells, GENERIC).ranges for spells, _life in populations if len(spells.good)]
    kept = iter(control([one.probability for ranges in told for one in ranges]))
    found = [[one for one in ranges if next(kept)] for ranges in told]
    false = sum(not any(_overlap(one, true) for true in truth) for one in found[0]) if found else 0
    false += sum(len(ranges) for ranges in found[1:])
    return Outcome(cell, len(told), false, tuple(_match(true, found[0]) for true in truth))


def _truth(cell: Cell, seed: int) -> tuple[TrueRange, ...]:
    rng = np.random.default_rng(seed + 1)
    found = []
    for first, last in WINDOWS.get(cell.kind, ()):
        moved = rng.integers(-MOVED, MOVED + 1, 2)
        begin = first + int(moved[0]) if first > 0 else 0
        found.append(TrueRange(START + begin, START + min(last + int(moved[1]), MONTHS - 1), cell.ratio))
    return tuple(found)


def _overlap(one: Range, true: TrueRange) -> int:
    return max(min(one.last, true.last) - max(one.first, true.first) + 1, 0)


def _match(true: TrueRange, found: Sequence[Range]) -> Match:
    """The range found that shares the most months with a true one and is on its side."""
    near = [one for one in found if _overlap(one, true) and (one.ratio.estimate > 1) == (true.ratio > 1)]
    if not near:
        return Match(found=False)
    best = max(near, key=lambda one: _overlap(one, true))
    ends = []
    if true.first > START:
        ends.append(best.first_set[0] <= true.first <= best.first_set[1])
    if true.last < START + MONTHS - 1:
        ends.append(best.last_set[0] <= true.last <= best.last_set[1])
    inside = best.ratio.low <= true.ratio <= best.ratio.high
    return Match(True, tuple(ends), inside, float(np.log(best.ratio.estimate / true.ratio)))
