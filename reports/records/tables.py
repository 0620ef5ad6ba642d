"""Tables from files: CSV in the encodings and with the delimiters that office programs write, and XLSX.

What the file is follows from its bytes, never from its name. Rows are streamed and can be read more than once.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Protocol

from diagnostics.engine.words import _

MOST_COLUMNS = 100
MOST_ROWS = 100_000
LONGEST = 4000
"""Characters of a cell."""

Cell = str | int | float | bool | date | datetime | time | None


class TableError(ValueError):
    """The file cannot be taken as a table; the words say what, where, and what was expected."""


@dataclass(frozen=True, slots=True)
class Row:
    """`number` as a spreadsheet counts it (the heading is row 1). `broken`: why the row cannot be read, else ''."""

    number: int
    cells: tuple[Cell, ...]
    broken: str = ""


class Source(Protocol):
    """Where rows come from: `lines` yields the number and the cells of every line, empty ones as well."""

    remarks: list[str]

    def lines(self) -> Iterator[tuple[int, tuple[Cell, ...]]]: ...


@dataclass(frozen=True, slots=True)
class Table:
    """`headings`: one for each column, none twice. `remarks`: what was found out about the file, in sentences.
    `sheet` and `sheets`: of a workbook, the one that is read and all that it has. `serial_1904`: what a plain number
    means as a day in a workbook; None: nothing, as in text."""

    headings: tuple[str, ...]
    source: Source
    heading_row: int
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    serial_1904: bool | None = None

    @property
    def remarks(self) -> tuple[str, ...]:
        return tuple(self.source.remarks)

    def rows(self) -> Iterator[Row]:
        """Every row below the heading that has something in it. Raises TableError where the file breaks off, and
        beyond MOST_ROWS."""
        width, count = len(self.headings), 0
        for number, cells in self.source.lines():
            if number <= self.heading_row or all(_empty(cell) for cell in cells):
                continue
            count += 1
            if count > MOST_ROWS:
                raise TableError(_("The table has more than {most} rows; divide it.").format(most=MOST_ROWS))
            yield _row(number, cells, width)


def open_table(path: Path, *, sheet: str = "") -> Table:
    """The table in a file; `sheet`: the name of the sheet of a workbook, '' for its first. Raises TableError."""
    from reports.records.csv_file import open_csv  # both need the names above
    from reports.records.xlsx_file import open_xlsx

    try:
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as error:
        raise TableError(_("The file cannot be read: {why}.").format(why=error.strerror)) from error
    if not start:
        raise TableError(_("The file is empty; expected a table with a heading in its first row."))
    if start.startswith(b"PK\x03\x04"):
        return open_xlsx(path, sheet)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise TableError(_("This is a workbook in the old XLS format; save it as XLSX or CSV, and bring that."))
    if sheet:
        raise TableError(_("A sheet is asked for, but this is a text file, which has none."))
    return open_csv(path)


def table_of(
    source: Source, *, sheet: str = "", sheets: tuple[str, ...] = (), serial_1904: bool | None = None
) -> Table:
    """The table of a source, its heading being the first line that has something in it."""
    for number, cells in source.lines():
        if not all(_empty(cell) for cell in cells):
            return Table(_headings(cells), source, number, sheet, sheets, serial_1904)
    raise TableError(_("The table is empty; expected a heading in its first row."))


def _headings(cells: tuple[Cell, ...]) -> tuple[str, ...]:
    """The words of the heading, without the empty columns at its end; a second one of a name is told apart."""
    words = [" ".join(str(cell).split()) if cell is not None else "" for cell in cells]
    while words and not words[-1]:
        words.pop()
    if len(words) > MOST_COLUMNS:
        raise TableError(
            _("The heading has {count} columns; expected at most {most}.").format(count=len(words), most=MOST_COLUMNS)
        )
    seen: set[str] = set()
    out = []
    for place, word in enumerate(words, start=1):
        name, times = word or _("column {number}").format(number=place), 1
        unique = name
        while unique in seen:
            times += 1
            unique = f"{name} ({times})"
        seen.add(unique)
        out.append(unique[:200])
    return tuple(out)


def _row(number: int, cells: tuple[Cell, ...], width: int) -> Row:
    beyond = [cell for cell in cells[width:] if not _empty(cell)]
    if beyond:
        told = _("The row has {count} fields, the heading has {width}.")
        return Row(number, cells[:width], told.format(count=_last(cells), width=width))
    cells = (*cells[:width], *[None] * (width - len(cells)))
    for cell in cells:
        if isinstance(cell, str) and (len(cell) > LONGEST or "\0" in cell):
            told = _("A field is longer than {most} characters or holds a NUL.")
            return Row(number, cells, told.format(most=LONGEST))
    return Row(number, cells)


def _last(cells: tuple[Cell, ...]) -> int:
    return max(place for place, cell in enumerate(cells, start=1) if not _empty(cell))


def _empty(cell: Cell) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())
