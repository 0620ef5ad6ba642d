"""What one sitting says of the units on a top: the modes that each was seen good in, and the one it failed in.

**Good.** A mode counts as seen good where the checks that passed would have let it through in at most GOOD_AT of the
cases (`passes.py`). Checks of different kinds multiply; the same kind twice tells nothing new, but of what comes and
goes: that has to be there each time. A finding at a position takes back what it speaks of, unless the fault was named:
one of the two entries is wrong, and nobody has said which.

**Failed.** Work that took a fault away names it. Where nobody said: what this kind of work can only mean there, else
what a look showed; else nothing is said of any mode, and the life of the unit ends unknown. A precaution is no failure.
What a look shows and nobody repairs is a failure too.

**Whose.** Checks before the work speak of the unit and the state before it, checks after it of what came then.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import prod
from typing import Any

from diagnostics.engine.faults import MODE_BITS, PER_INPUT, bits_of, cured_by, modes_of
from diagnostics.engine.passes import FLICKERS, Pass, Passes
from diagnostics.engine.system.model import TopSystem

GOOD_AT = 0.40
"""Largest chance that a fault went through all that passed, up to which its mode is called good. A look at a trigger,
a steady wiggle and a motion that a dry latch would have stopped are just enough; common practice, no source."""
REPLACED = "replace"
PRECAUTION = "precaution"


@dataclass(frozen=True, slots=True)
class Entry:
    """A check that counts: neither struck out nor refused. `observation` as stored (engine/case.py)."""

    at: datetime
    observation: Mapping[str, Any]
    verdict: str


@dataclass(frozen=True, slots=True)
class Done:
    """Work at a position. `kind` a value of WorkKind; `mode` what it took away, PRECAUTION, '' where nobody said."""

    at: datetime
    position: str
    kind: str
    mode: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of one unit. `fitted`: 0 for the unit that was there at the start of the sitting, n for the n-th
    that was fitted in it. `good`: MODE_BITS. `failed` '' for none; `mended`: the unit stayed and the fault went.
    `observations`: the checks behind it."""

    position: str
    fitted: int
    at: datetime
    good: int
    failed: str = ""
    mended: bool = False
    observations: int = 0


@dataclass(slots=True)
class _Stretch:
    """What was seen at one position between two works."""

    passed: list[Pass] = field(default_factory=list)
    doubted: set[str] = field(default_factory=set)
    looks: list[tuple[datetime, str]] = field(default_factory=list)
    last: datetime | None = None
    observations: int = 0

    def add(self, entry: Entry) -> None:
        self.last = entry.at
        self.observations += 1


def meaning_of(system: TopSystem, position: str, kind: str) -> str:
    """The mode that work of this kind at this position can only have taken away; '' where it may be one of several."""
    modes = cured_by(system, position, kind)
    return modes[0] if len(modes) == 1 else ""


def seen_in(passes: Passes, entries: Iterable[Entry], work: Iterable[Done]) -> tuple[Seen, ...]:
    """What one sitting says, by position in the order of the system; `entries` and `work` in any order. Work at a
    position that the system does not have says nothing."""
    system = passes.system
    done: dict[str, list[Done]] = {}
    for one in sorted(work, key=lambda one: one.at):
        if one.position in system.positions:
            done.setdefault(one.position, []).append(one)
    stretches: dict[str, list[_Stretch]] = {}
    for entry in sorted(entries, key=lambda one: one.at):
        _note(passes, entry, done, stretches)
    found: list[Seen] = []
    for code in system.positions:
        if code in stretches or code in done:
            here = done.get(code, [])
            known = stretches.get(code) or [_Stretch() for _ in range(len(here) + 1)]
            found += _merged(_of_position(passes, code, known, here))
    return tuple(found)


def _note(
    passes: Passes, entry: Entry, done: Mapping[str, Sequence[Done]], stretches: dict[str, list[_Stretch]]
) -> None:
    def stretch_of(code: str) -> _Stretch:
        here = done.get(code, ())
        if code not in stretches:
            stretches[code] = [_Stretch() for _ in range(len(here) + 1)]
        return stretches[code][sum(one.at < entry.at for one in here)]

    touched: dict[str, _Stretch] = {}
    for one in passes.of(entry.observation, entry.verdict):
        touched.setdefault(one.position, stretch_of(one.position)).passed.append(one)
    if entry.verdict == "finding" and entry.observation["check"] not in ("motion", "look"):
        for one in passes.would_clear(entry.observation):
            touched.setdefault(one.position, stretch_of(one.position)).doubted.add(one.mode)
    if entry.observation["check"] == "look":
        code, mode = entry.observation["position"], entry.observation["found"]
        if mode in modes_of(passes.system, code):
            touched.setdefault(code, stretch_of(code)).looks.append((entry.at, mode))
    for stretch in touched.values():
        stretch.add(entry)


def _of_position(passes: Passes, code: str, stretches: Sequence[_Stretch], done: Sequence[Done]) -> Iterable[Seen]:
    fitted = 0
    for stretch, work in zip(stretches, [*done, None], strict=True):
        failed, at = _failed(passes.system, code, stretch, work)
        good = _good(passes, stretch, named=bool(failed)) & ~bits_of([failed] if failed else [])
        when = at or stretch.last
        mended = bool(failed) and work is not None and work.kind != REPLACED and at == work.at
        if when is not None and (good or failed):
            yield Seen(code, fitted, when, good, failed, mended, stretch.observations)
        if work is not None and work.kind == REPLACED:
            fitted += 1


def _failed(system: TopSystem, code: str, stretch: _Stretch, work: Done | None) -> tuple[str, datetime | None]:
    """The mode in which the unit was found failed before `work`, and when; ('', None) where nobody can say."""
    looked = stretch.looks[-1] if stretch.looks else None
    if work is not None:
        if work.mode == PRECAUTION:
            return "", None
        mode = work.mode or meaning_of(system, code, work.kind)
        if not mode and looked is not None and looked[1] in cured_by(system, code, work.kind):
            mode = looked[1]
        if mode in MODE_BITS:
            return mode, work.at
    return (looked[1], looked[0]) if looked is not None else ("", None)


def _good(passes: Passes, stretch: _Stretch, *, named: bool) -> int:
    by_mode: dict[str, list[Pass]] = {}
    for one in stretch.passed:
        by_mode.setdefault(one.mode, []).append(one)
    return bits_of(
        mode
        for mode, passed in by_mode.items()
        if (named or mode not in stretch.doubted) and _let_through(passes, mode, passed) <= GOOD_AT
    )


def _let_through(passes: Passes, mode: str, passed: Iterable[Pass]) -> float:
    """Chance that a fault of this mode went through all of `passed`."""
    if mode == FLICKERS:
        return prod(one.chance for one in passed)
    least: dict[str, float] = {}
    for one in passed:
        least[one.evidence] = min(one.chance, least.get(one.evidence, 1.0))
    if mode == PER_INPUT:
        return max(least.values()) if passes.inputs <= least.keys() else 1.0
    return prod(least.values())


def _merged(rows: Iterable[Seen]) -> list[Seen]:
    """One row a unit and mode: of what was seen good the latest day, of a failure the first."""
    found: dict[tuple[int, str], Seen] = {}
    for row in rows:
        key = (row.fitted, row.failed)
        if key not in found:
            found[key] = row
            continue
        old = found[key]
        found[key] = Seen(
            row.position,
            row.fitted,
            min(old.at, row.at) if row.failed else max(old.at, row.at),
            old.good | row.good,
            row.failed,
            old.mended or row.mended,
            old.observations + row.observations,
        )
    return list(found.values())
