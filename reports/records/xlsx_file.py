"""XLSX: untrusted zip and XML, read by openpyxl with defusedxml, one sheet, streamed. Formulas give the value that
stands stored beside them."""

import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.utils.cell import range_boundaries
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from diagnostics.engine.words import _
from reports.records.tables import MOST_COLUMNS, Cell, Table, TableError, table_of

MOST_BYTES = 300 * 1024 * 1024
"""Uncompressed, all entries of the zip together: 100,000 rows of 30 columns come to about half of it."""
MOST_ENTRIES = 2000
MOST_MERGED = 20_000
_BLOCK = 1 << 20
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})"')
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, ParseError, OSError, EOFError, ValueError, KeyError, TypeError, IndexError,
    AttributeError, RuntimeError, NotImplementedError,
)  # fmt: skip
"""What openpyxl, the zip and the XML parsers raise on broken or hostile files."""


@dataclass(frozen=True, slots=True)
class Merged:
    """Cells merged into one, counted from 1."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(slots=True)
class XlsxSource:
    path: Path
    sheet: str
    merged: tuple[Merged, ...] = ()
    remarks: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[tuple[int, tuple[Cell, ...]]]:
        waiting = sorted(self.merged, key=lambda one: one.top, reverse=True)
        active: list[tuple[Merged, Cell]] = []
        try:
            book = openpyxl.load_workbook(self.path, read_only=True, data_only=True)
            try:
                sheet: Any = book[self.sheet]
                sheet.reset_dimensions()  # what the file claims to be its size may be anything
                for number, values in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True), start=1):
                    cells = [_cell(value) for value in values]
                    active = [one for one in active if one[0].bottom >= number]
                    while waiting and waiting[-1].top <= number:
                        new = waiting.pop()
                        active.append((new, cells[new.left - 1] if new.left <= len(cells) else None))
                    yield number, _filled(cells, active)
            finally:
                book.close()
        except _DAMAGED as error:
            raise _damaged(error) from error


def open_xlsx(path: Path, sheet: str) -> Table:
    """Raises TableError for a zip that would unpack to more than MOST_BYTES, one that is no workbook, and a sheet that
    is not there."""
    _refuse_bomb(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            names = tuple(one.title for one in book.worksheets)
            if not names or (sheet and sheet not in names):
                raise _no_sheet(sheet, names)
            name = sheet or names[0]
            merged = _merged(path, str(getattr(book[name], "_worksheet_path", "")))
            serial_1904 = book.epoch == CALENDAR_MAC_1904
        finally:
            book.close()
    except TableError:
        raise
    except _DAMAGED as error:
        raise _damaged(error) from error
    source = XlsxSource(path, name, merged, _remarks(name, names, merged, serial_1904))
    return table_of(source, sheet=name, sheets=names, serial_1904=serial_1904)


def _remarks(name: str, names: tuple[str, ...], merged: tuple[Merged, ...], serial_1904: bool) -> list[str]:
    said = [_("Read from the sheet “{name}”.").format(name=name)]
    if len(names) > 1:
        said.append(_("The workbook has {count} sheets; only this one is read.").format(count=len(names)))
    if serial_1904:
        said.append(_("Its days are counted from 1904."))
    if merged:
        told = _("{count} merged ranges, the first in row {row}: each of their cells takes the value of the first.")
        said.append(told.format(count=len(merged), row=min(one.top for one in merged)))
    return said


def _no_sheet(sheet: str, names: tuple[str, ...]) -> TableError:
    if not names:
        return TableError(_("The workbook has no sheet with cells."))
    told = _("The workbook has no sheet “{sheet}”; it has: {names}.")
    return TableError(told.format(sheet=sheet[:60], names=", ".join(names)[:200]))


def _damaged(error: BaseException) -> TableError:
    if isinstance(error, TableError):
        return error
    return TableError(_("The file is damaged or no XLSX workbook; save it anew as XLSX or CSV, and bring that."))


def _refuse_bomb(path: Path) -> None:
    """A zip is read no further than the sizes that it states: where those are small, no more is unpacked."""
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    except _DAMAGED as error:
        raise _damaged(error) from error
    if len(entries) > MOST_ENTRIES or sum(entry.file_size for entry in entries) > MOST_BYTES:
        told = _("The workbook unpacks to more than {limit} MB; divide it, or bring it as CSV.")
        raise TableError(told.format(limit=MOST_BYTES // (1024 * 1024)))


def _merged(path: Path, entry: str) -> tuple[Merged, ...]:
    """The merged ranges of a sheet, which its XML lists after all rows: found without building the rows."""
    found: list[Merged] = []
    with zipfile.ZipFile(path) as archive, archive.open(entry) as file:
        left = b""
        while block := file.read(_BLOCK):
            text = left + block
            end = 0
            for match in _MERGED.finditer(text):
                end = match.end()
                found.append(_range(match[1].decode()))
                if len(found) > MOST_MERGED:
                    raise TableError(_("The sheet has more than {most} merged ranges.").format(most=MOST_MERGED))
            left = text[max(end, len(text) - 200) :]
    return tuple(found)


def _range(words: str) -> Merged:
    left, top, right, bottom = range_boundaries(words)
    return Merged(int(left or 1), int(top or 1), int(right or 1), int(bottom or 1))


def _filled(cells: list[Cell], active: list[tuple[Merged, Cell]]) -> tuple[Cell, ...]:
    for one, value in active:
        for place in range(one.left - 1, min(one.right, len(cells))):
            cells[place] = value
    return tuple(cells)


def _cell(value: Any) -> Cell:
    """Times of day and spans are of no use here: their words are."""
    return str(value) if isinstance(value, timedelta) else value
