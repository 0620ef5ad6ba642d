"""CSV (RFC 4180 and what office programs make of it): the encoding and the delimiter are recognised, or refused."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from diagnostics.engine.words import _
from reports.records.tables import Cell, Table, TableError, table_of

DELIMITERS = (",", ";", "\t")
LOOKED_AT = 20
"""Rows that the delimiter is judged by."""
_BLOCK = 1 << 16
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig", "UTF-8"), (b"\xff\xfe", "utf-16", "UTF-16"), (b"\xfe\xff", "utf-16", "UTF-16"))


@dataclass(slots=True)
class CsvSource:
    path: Path
    encoding: str
    delimiter: str
    remarks: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[tuple[int, tuple[Cell, ...]]]:
        """Raises TableError where a quotation mark is left open: what follows it cannot be told apart any more."""
        number = 0
        with self.path.open(encoding=self.encoding, newline="") as file:
            reader = csv.reader(file, delimiter=self.delimiter, strict=True)
            while True:
                number += 1
                try:
                    cells = next(reader)
                except StopIteration:
                    return
                except csv.Error as error:
                    told = _("Row {number} cannot be read as CSV, mind its quotation marks: {why}.")
                    raise TableError(told.format(number=number, why=error)) from error
                yield number, tuple(cells)


def open_csv(path: Path) -> Table:
    """Raises TableError where the bytes are no text in an encoding that is known here."""
    encoding, name = _encoding(path)
    delimiter = _delimiter(path, encoding)
    words = {",": _("commas"), ";": _("semicolons"), "\t": _("tabs")}
    remark = _("Read as text in {encoding}, columns divided by {delimiter}.")
    source = CsvSource(path, encoding, delimiter, [remark.format(encoding=name, delimiter=words[delimiter])])
    return table_of(source)


def _encoding(path: Path) -> tuple[str, str]:
    """Python's name of the encoding, and its usual one."""
    with path.open("rb") as file:
        start = file.read(4096)
    for mark, encoding, name in _MARKS:
        if start.startswith(mark):
            _read_through(path, encoding, name)
            return encoding, name
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if even or odd:  # letters of UTF-16 without its mark have a zero in every other byte
        encoding = "utf-16-le" if odd > even else "utf-16-be"
        _read_through(path, encoding, "UTF-16")
        return encoding, "UTF-16"
    try:
        _read_through(path, "utf-8", "UTF-8")
    except TableError:
        _read_through(path, "cp1252", "Windows-1252")
        return "cp1252", "Windows-1252"
    return "utf-8", "UTF-8"


def _read_through(path: Path, encoding: str, name: str) -> None:
    """Raises TableError where the whole is no text in that encoding."""
    try:
        with path.open(encoding=encoding, newline="") as file:
            while block := file.read(_BLOCK):
                if any(ord(mark) < 32 and mark not in "\t\r\n" for mark in set(block)):
                    raise TableError(_expected())
    except (UnicodeError, ValueError) as error:
        told = _("The file is no text in {encoding}.").format(encoding=name)
        raise TableError(f"{told} {_expected()}") from error


def _expected() -> str:
    return _("Expected a table as CSV in UTF-8, UTF-16 or Windows-1252, or as XLSX.")


def _delimiter(path: Path, encoding: str) -> str:
    """The one by which most rows are as wide as the heading, and wider than one column."""
    with path.open(encoding=encoding, newline="") as file:
        start = file.read(_BLOCK)

    def fits(delimiter: str) -> tuple[bool, int, int]:
        rows = []
        try:
            for row in csv.reader(io.StringIO(start, newline=""), delimiter=delimiter):
                if row:
                    rows.append(len(row))
                if len(rows) == LOOKED_AT:
                    break
        except csv.Error:
            return False, 0, 0
        width = rows[0] if rows else 0
        return width > 1, rows.count(width), width

    return max(DELIMITERS, key=fits)
