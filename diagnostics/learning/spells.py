"""From observations to lives: one spell for each unit and mode, grouped by population.

A unit's failure in a mode came between the last day it was seen good in it and the first day it was seen failed. A unit
that came off for another reason was good in this mode when last seen. What was mended in place starts a new spell, as
does a unit fitted later; both belong to the later population of their part. Units of which nothing was ever seen in
any mode do not count.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.columns import ALL_GOOD, Observations
from diagnostics.learning.records import YEAR_DAYS, Bools, Floats, Ints, Population, Spells

TINY_DAYS = 1.0
"""An age at least: who is seen in the month of production is not yet of negative age."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """All observations of one part (and revision) of one top system, fitted when the car was made or later."""

    system: str
    part: str
    positions: tuple[str, ...]
    rows: Observations


def groups_of(observations: Observations) -> Iterator[Group]:
    """By system and part, in the order of their names."""
    if not len(observations):
        return
    key = observations.system_code.astype(np.int64) * len(observations.parts) + observations.part_code
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    found = []
    for start, stop in zip(starts, [*starts[1:], len(order)], strict=True):
        rows = observations.take(order[start:stop])
        system = observations.systems[int(rows.system_code[0])]
        part = observations.parts[int(rows.part_code[0])]
        codes = sorted({observations.positions[int(code)] for code in np.unique(rows.position_code)})
        found.append(Group(system, part, tuple(codes), rows))
    yield from sorted(found, key=lambda group: (group.system, group.part))


def modes_of(group: Group) -> tuple[str, ...]:
    """Modes that some unit of the group failed in or was told to be good in, by name."""
    rows = group.rows
    failed = {rows.modes[int(code)] for code in np.unique(rows.failed) if code >= 0}
    some = int(np.bitwise_or.reduce(np.where(rows.good == ALL_GOOD, 0, rows.good)))
    seen = {mode for number, mode in enumerate(rows.modes) if some >> number & 1}
    return tuple(sorted(failed | seen))


def spells_of(group: Group, mode: str) -> Iterator[Spells]:
    """The populations of a group in one mode: original units, then later ones by revision."""
    rows = group.rows
    code = rows.modes.index(mode) if mode in rows.modes else -1
    good = (rows.good == ALL_GOOD) | ((rows.good >> max(code, 0) & 1).astype(bool) if code >= 0 else False)
    failed = (rows.failed == code) if code >= 0 else np.zeros(len(rows), dtype=bool)
    told = np.flatnonzero(good | failed)
    if not len(told):
        return
    lives = _lives(rows.take(told), failed[told])
    place = np.array([group.positions.index(name) if name in group.positions else 0 for name in rows.positions])
    for original in (True, False):
        for revision in sorted({rows.revisions[int(one)] for one in np.unique(lives.revision)}):
            chosen = (lives.original == original) & (lives.revision == rows.revisions.index(revision))
            chosen &= lives.failed > lives.entry
            if chosen.any():
                population = Population(group.system, group.part, revision, original, mode, group.positions)
                yield lives.spells(population, chosen, place)


@dataclass(frozen=True, slots=True, eq=False)
class _Lives:
    entry: Floats
    good: Floats
    failed: Floats
    month: Ints
    year_only: Bools
    climate: Ints
    position: Ints
    car: Ints
    revision: Ints
    original: Bools

    def spells(self, population: Population, chosen: Bools, place: Ints) -> Spells:
        """The chosen ones, in an order of their own: sums of the same lives are then the same to the last digit."""
        position = place[self.position]
        keys = (position, self.climate, self.year_only, self.month, self.failed, self.good, self.entry)
        rows = np.flatnonzero(chosen)
        rows = rows[np.lexsort(tuple(key[rows] for key in keys))]
        entry = self.entry[rows]
        return Spells(
            population=population,
            entry=entry,
            good=np.maximum(self.good[rows], entry),
            failed=self.failed[rows],
            month=self.month[rows],
            year_only=self.year_only[rows],
            climate=self.climate[rows],
            position=position[rows],
            car=self.car[rows],
            count=np.ones(len(rows)),
        )


def _lives(rows: Observations, failed: Bools) -> _Lives:
    """One entry a spell, in the order of units and days: a spell ends with the day on which the unit was seen failed,
    what is seen of the same unit later is of a mended one."""
    order = np.lexsort((~rows.mended, ~failed, rows.day, rows.unit))
    rows, failed = rows.take(order), failed[order]
    keep = ~_adds_nothing(rows, failed)
    rows, failed = rows.take(np.flatnonzero(keep)), failed[keep]
    new_unit = np.concatenate([[True], rows.unit[1:] != rows.unit[:-1]])
    mended = np.concatenate([[False], failed[:-1]]) & ~new_unit
    start = new_unit | mended
    first = np.flatnonzero(start)
    number = np.cumsum(start) - 1
    since = rows.since.copy()
    begun = np.where(mended[first], rows.day[np.maximum(first - 1, 0)].astype(float), since[first])
    days = np.maximum(rows.day - begun[number], TINY_DAYS)
    known = np.where(rows.known_day > 0, np.maximum(rows.known_day - begun[number], 0.0), 0.0)
    before = ~failed & (days <= known)
    last_good = np.zeros(len(first))
    np.maximum.at(last_good, number, np.where(failed | before, 0.0, days))
    first_failed = np.full(len(first), np.inf)
    np.minimum.at(first_failed, number, np.where(failed, days, np.inf))
    last_good = np.where(last_good >= first_failed, first_failed * (1 - 1e-9), last_good)
    return _Lives(
        entry=known[first] / YEAR_DAYS,
        good=last_good / YEAR_DAYS,
        failed=first_failed / YEAR_DAYS,
        month=rows.month[first],
        year_only=rows.year_only[first],
        climate=rows.climate[first],
        position=rows.position_code[first],
        car=rows.car[first],
        revision=rows.revision_code[first],
        original=rows.original[first] & ~mended[first],
    )


def _adds_nothing(rows: Observations, failed: Bools) -> Bools:
    """What else is seen of a unit on the day of its failure (once mended it is of no age yet), and its failure told
    once more before anything was mended."""
    same_unit = np.concatenate([[False], rows.unit[1:] == rows.unit[:-1]])
    n = np.arange(len(rows))
    last = np.maximum.accumulate(np.where(failed | ~same_unit, n, 0))  # failure of this unit, or its first entry
    that_day = ~failed & failed[last] & (rows.day == rows.day[last])
    failed_before = np.concatenate([[False], failed[:-1]]) & same_unit
    same_day = np.concatenate([[False], rows.day[1:] == rows.day[:-1]])
    mended_before = np.concatenate([[False], rows.mended[:-1]])
    return np.asarray(that_day | (failed & failed_before & (same_day | ~mended_before)))
