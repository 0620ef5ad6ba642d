"""Where everything of the strip stands in its picture on a page: the names of the positions stay, the months scroll.

A cell without a failure is a short line; one with failures carries their number in an outline, on half a ground where
more failed than expected, on a full ground where far more did (strip.LEVELS): they differ without any colour.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from diagnostics.charts.strip import Strip, StripCell, StripColumn, StripMark, StripRow
from diagnostics.charts.words import month_name, months_phrase
from diagnostics.engine.drawing.marks import Label, number
from diagnostics.engine.words import _

SIDE: Final = 150.0
HEAD: Final = 18.0
ROW: Final = 46.0
"""Room for a thumb: what is touched of a cell (template diagnostics/ranges/strip.html) is as high as its row."""
CELL: Final = 20.0
CELL_TOP: Final = 22.0
BAR: Final = 10.0
NAME_LETTERS: Final = 25
WIDE, NARROW, MANY = 26.0, 16.0, 44
"""A column is WIDE where there are at most MANY of them."""


@dataclass(frozen=True, slots=True)
class CellView:
    x: float
    y: float
    middle: float
    level: int
    failed: int
    url: str
    words: str


@dataclass(frozen=True, slots=True)
class MarkView:
    """A range: `bar` over its likeliest months, `whiskers` over where its ends may lie."""

    bar: str
    whiskers: str
    state: str
    url: str
    words: str


@dataclass(frozen=True, slots=True)
class RowView:
    words: str
    ticks: str
    """Cells where units were seen and none failed."""
    cells: tuple[CellView, ...]
    marks: tuple[MarkView, ...]


@dataclass(frozen=True, slots=True)
class StripView:
    side: float
    width: float
    height: float
    cell: float
    years: str
    year_labels: tuple[Label, ...]
    side_labels: tuple[Label, ...]
    rows: tuple[RowView, ...]
    title: str
    words: str


def strip_view(
    strip: Strip,
    *,
    title: str,
    cell_url: Callable[[StripRow, StripColumn], str],
    mark_url: Callable[[StripMark], str],
) -> StripView:
    """The picture of a strip with at least one row."""
    cell = WIDE if len(strip.columns) <= MANY else NARROW
    width, height = cell * len(strip.columns) + 2, HEAD + ROW * len(strip.rows) + 4
    side, rows = [], []
    for number_, row in enumerate(strip.rows):
        top = HEAD + ROW * number_
        side += _side(row, top)
        rows.append(_row(strip, row, top, cell, cell_url, mark_url))
    years, labels = _years(strip, cell, height)
    return StripView(
        side=SIDE,
        width=width,
        height=height,
        cell=cell,
        years=years,
        year_labels=labels,
        side_labels=tuple(side),
        rows=tuple(rows),
        title=title,
        words=_words(strip),
    )


def cell_words(cell: StripCell, column: StripColumn) -> str:
    """'April 2004 to June 2004: 3 of 7 failed, 0.8 expected'"""
    months = month_name(column.first)
    if column.first != column.last:
        months = _("{first} to {last}").format(first=months, last=month_name(column.last))
    words = _("{months}: {failed} of {units} failed, {expected} expected")
    return words.format(months=months, failed=cell.failed, units=cell.units, expected=f"{cell.expected:.1f}")


def _side(row: StripRow, top: float) -> list[Label]:
    name = row.name if len(row.name) <= NAME_LETTERS else row.name[: NAME_LETTERS - 1].rstrip(" ,") + "…"
    return [
        Label(0, top + CELL_TOP + 3, row.position, "code"),
        Label(SIDE - 8, top + CELL_TOP + 3, f"{row.failed}/{row.units}", "count", "end"),
        Label(0, top + CELL_TOP + 16, name, "name"),
    ]


def _row(
    strip: Strip,
    row: StripRow,
    top: float,
    cell: float,
    cell_url: Callable[[StripRow, StripColumn], str],
    mark_url: Callable[[StripMark], str],
) -> RowView:
    base = top + CELL_TOP + CELL
    sound = [one for one in row.cells if not one.failed]
    ticks = "".join(f"M{number(1 + cell * one.column + 2)} {number(base - 1)}h{number(cell - 4)}" for one in sound)
    cells = tuple(
        CellView(
            x=1 + cell * one.column,
            y=top + CELL_TOP,
            middle=1 + cell * (one.column + 0.5),
            level=one.level,
            failed=one.failed,
            url=cell_url(row, strip.columns[one.column]),
            words=cell_words(one, strip.columns[one.column]),
        )
        for one in row.cells
        if one.failed
    )
    width = cell * len(strip.columns)
    marks = tuple(_mark(one, top + BAR, width, mark_url(one)) for one in row.marks)
    words = _("{position} {name}: {failed} of {units} failed, {expected} expected").format(
        position=row.position, name=row.name, failed=row.failed, units=row.units, expected=f"{row.expected:.1f}"
    )
    return RowView(words=words, ticks=ticks, cells=cells, marks=marks)


def _mark(mark: StripMark, y: float, width: float, url: str) -> MarkView:
    left, right = 1 + width * mark.left, 1 + width * mark.right
    bar = f"M{number(left)} {number(y)}H{number(right)}"
    whiskers = ""
    for is_open, low, high, tip, back in (
        (mark.open_first, mark.first_low, mark.first_high, left, 5),
        (mark.open_last, mark.last_low, mark.last_high, right, -5),
    ):
        if is_open:  # an arrow: it may go on where nothing was seen
            whiskers += f"M{number(tip + back)} {number(y - 4)}L{number(tip)} {number(y)}l{back} 4"
            continue
        from_, to = number(1 + width * low), number(1 + width * high)
        at, low_y = number(y), number(y - 4)
        whiskers += f"M{from_} {low_y}v8M{to} {low_y}v8M{from_} {at}H{to}"
    return MarkView(bar=bar, whiskers=whiskers, state=mark.state, url=url, words=mark.words)


def _years(strip: Strip, cell: float, height: float) -> tuple[str, tuple[Label, ...]]:
    lines, labels = "", []
    every = 1 if cell * 12 / strip.grain >= 34 else 2 if cell * 24 / strip.grain >= 34 else 5
    for at, column in enumerate(strip.columns):
        year, month = divmod(column.first, 12)
        if month == 0 and year % every == 0:
            x = 1 + cell * at
            lines += f"M{number(x)} 2V{number(height)}"
            labels.append(Label(x + 3, 12, f"{year}", "name"))
    return lines, tuple(labels)


def _words(strip: Strip) -> str:
    first, last = strip.columns[0].first, strip.columns[-1].last
    failed = [row for row in strip.rows if row.failed]
    words = _("{rows} positions of cars made {months}; failures at {failing} of them, {failed} in all.").format(
        rows=len(strip.rows), months=months_phrase(first, last), failing=len(failed), failed=strip.failed
    )
    marks = [f"{row.position}: {mark.words}" for row in strip.rows for mark in row.marks]
    return " ".join([words, *marks, _("The table has the same numbers.")])
