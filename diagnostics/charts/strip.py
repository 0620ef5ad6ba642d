"""The strip of production months by position: what was seen, what failed, how much more than expected, and the ranges.

A content model for the page (an SVG template) and for paper alike: columns are stretches of months, numbers are counts,
nothing is measured in points.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp
from typing import Final

from diagnostics.learning.records import MonthTally

GRAINS: Final = (1, 3, 6, 12)
"""Months that a column may hold."""
LEVELS: Final = (0.05, 0.005)
"""A cell is shaded as more, and as far more, where chance alone would make so many failures no oftener than this."""
AT_MOST: Final = 260
"""Cells with failures that a picture may have: each is a link of its own, and a page stays under 150 kB."""
WIDEST: Final = 66
"""Columns of a picture."""


@dataclass(frozen=True, slots=True)
class StripCell:
    """Units of one position and one column. `level`: 0 as expected, 1 more, 2 far more than expected."""

    column: int
    units: int
    failed: int
    expected: float
    level: int

    @property
    def share(self) -> float:
        return self.failed / self.units if self.units else 0.0


@dataclass(frozen=True, slots=True)
class StripColumn:
    """A stretch of production months, both included."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class StripMark:
    """A production range on its row; places in columns, as fractions from the left edge of the strip.

    `first_low` to `first_high` and `last_low` to `last_high` hold LEVEL of the probability of each end. `key`: the row
    of the range in the database.
    """

    key: int
    state: str
    left: float
    right: float
    first_low: float
    first_high: float
    last_low: float
    last_high: float
    open_first: bool
    open_last: bool
    words: str


@dataclass(frozen=True, slots=True)
class StripRow:
    position: str
    name: str
    cells: tuple[StripCell, ...]
    marks: tuple[StripMark, ...]
    units: int
    failed: int
    expected: float


@dataclass(frozen=True, slots=True)
class Strip:
    """`grain`: months a column. `rows` in the order of the positions; cells where nothing was seen are not there."""

    grain: int
    columns: tuple[StripColumn, ...]
    rows: tuple[StripRow, ...]

    @property
    def failed(self) -> int:
        return sum(row.failed for row in self.rows)


def merged(tallies: Iterable[Sequence[MonthTally]], *, modes_apart: bool) -> dict[tuple[str, int], MonthTally]:
    """(position, month) -> what several models say of it together.

    `modes_apart`: the models are of the same units in different modes, so that failures add up and units do not (the
    most that were looked at in one mode); else of different units, and all adds up.
    """
    found: dict[tuple[str, int], MonthTally] = {}
    for months in tallies:
        for one in months:
            at = (one.position, one.month)
            before = found.get(at)
            if before is None:
                found[at] = one
                continue
            units = max(before.units, one.units) if modes_apart else before.units + one.units
            failed, expected = before.failed + one.failed, before.expected + one.expected
            found[at] = MonthTally(one.month, one.position, units, failed, expected)
    return found


def grain_for(months: Mapping[tuple[str, int], MonthTally], wanted: int | None = None) -> int:
    """`wanted` where a picture so fine stays light and narrow, else the finest that does."""
    if not months:
        return wanted or GRAINS[0]
    seen = [month for _position, month in months]
    start, span = min(seen), max(seen) - min(seen) + 1
    for grain in GRAINS:
        if wanted is not None and grain < wanted:
            continue
        cells = {(position, (month - start) // grain) for (position, month), one in months.items() if one.failed}
        if len(cells) <= AT_MOST and (span <= WIDEST * grain or wanted == grain):
            return grain
    return GRAINS[-1]


def make_strip(
    months: Mapping[tuple[str, int], MonthTally],
    *,
    names: Mapping[str, str],
    grain: int,
    marks: Mapping[str, Sequence[StripMark]],
) -> Strip:
    """`names`: the positions in their order, with what they are called; `marks` by position."""
    if not months:
        return Strip(grain, (), ())
    first, last = span_of(months, grain)
    columns = tuple(StripColumn(start, start + grain - 1) for start in range(first, last + 1, grain))
    sums: dict[str, dict[int, list[float]]] = {}
    for (position, month), one in months.items():
        cell = sums.setdefault(position, {}).setdefault((month - first) // grain, [0, 0, 0.0])
        cell[0] += one.units
        cell[1] += one.failed
        cell[2] += one.expected
    rows = []
    for position in [*names, *sorted(sums.keys() - names.keys())]:
        cells = tuple(_cell(column, *values) for column, values in sorted(sums.get(position, {}).items()))
        if not cells:
            continue
        rows.append(
            StripRow(
                position=position,
                name=names.get(position, position),
                cells=cells,
                marks=tuple(marks.get(position, ())),
                units=sum(cell.units for cell in cells),
                failed=sum(cell.failed for cell in cells),
                expected=sum(cell.expected for cell in cells),
            )
        )
    return Strip(grain, columns, tuple(rows))


def span_of(months: Iterable[tuple[str, int]], grain: int) -> tuple[int, int]:
    """First and last month of whole columns: columns begin with a quarter, a half-year, a year."""
    seen = [month for _position, month in months]
    return min(seen) // grain * grain, max(seen) // grain * grain + grain - 1


def _cell(column: int, units: float, failed: float, expected: float) -> StripCell:
    chance = at_least(int(failed), expected)
    level = sum(chance < below for below in LEVELS)
    return StripCell(column, int(units), int(failed), expected, level)


def at_least(failed: int, expected: float) -> float:
    """Chance of `failed` failures or more where a Poisson number of them has the mean `expected`."""
    term, below = exp(-expected), 0.0
    for count in range(failed):
        below += term
        term *= expected / (count + 1)
    return max(1.0 - below, 0.0)
