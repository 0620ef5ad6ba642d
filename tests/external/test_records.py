"""Tables written by others than the code that reads them: XlsxWriter, Python's csv module, the examples of RFC 4180."""

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from reports.records.tables import Table, open_table
from reports.records.values import Reader

DAY = dt.datetime(2014, 6, 30)  # noqa: DTZ001 - a day in a workbook has no zone


def _workbook(path: Path, fill: Any, **options: Any) -> Table:
    book = xlsxwriter.Workbook(str(path), options)
    fill(book)
    book.close()
    return open_table(path)


def _rows(table: Table) -> list[tuple[Any, ...]]:
    return [row.cells for row in table.rows()]


# RFC 4180, section 2: examples 1 (CRLF after each record), 2 (none after the last), 5 to 7 (quoted fields, a line
# break and a comma inside, a doubled quotation mark).
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
        ("h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx", [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
        ('h1,h2,h3\r\n"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
        ('h1,h2,h3\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [("aaa", "b\r\nbb", "ccc"), ("zzz", "yyy", "xxx")]),
        ('h1,h2,h3\r\n"aaa","b""bb","ccc"', [("aaa", 'b"bb', "ccc")]),
        ('h1,h2,h3\r\n"aaa","b,bb","ccc"', [("aaa", "b,bb", "ccc")]),
    ],
)
def test_the_examples_of_rfc_4180(tmp_path: Path, text: str, expected: list[tuple[str, ...]]) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(text.encode())
    table = open_table(path)
    assert table.headings == ("h1", "h2", "h3")
    assert _rows(table) == expected


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_what_pythons_csv_module_writes(tmp_path: Path, encoding: str, delimiter: str) -> None:
    rows = [
        ("Müller, Jörg", "Größe 3; lang", 'sagt "nein"'),
        ("Čapek" if "utf" in encoding else "Éva", "", "€ 5\nzwei"),
    ]
    path = tmp_path / "t.csv"
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows([("Kunde", "Größe", "Wort"), *rows])
    table = open_table(path)
    assert table.headings == ("Kunde", "Größe", "Wort")
    assert _rows(table) == rows


@pytest.mark.parametrize("since_1904", [False, True])
def test_days_of_a_workbook_in_both_systems(tmp_path: Path, since_1904: bool) -> None:
    """XlsxWriter states a day as its number in the system of the workbook; one cell is styled as a day, one is not."""

    def fill(book: Any) -> None:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["styled", "number", "text"])
        sheet.write_datetime(1, 0, DAY, book.add_format({"num_format": "dd.mm.yyyy"}))
        sheet.write_number(1, 1, (DAY - (dt.datetime(1904, 1, 1) if since_1904 else dt.datetime(1899, 12, 30))).days)  # noqa: DTZ001
        sheet.write_string(1, 2, "30.06.2014")

    table = _workbook(tmp_path / "t.xlsx", fill, date_1904=since_1904)
    assert table.serial_1904 is since_1904
    reader = Reader("", table.serial_1904)
    assert [reader.day(cell) for cell in _rows(table)[0]] == [DAY.date()] * 3


def test_merged_cells_take_the_value_of_the_first_and_it_is_said(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["vin", "job", "what"])
        sheet.merge_range(1, 0, 3, 0, "CAR A")
        sheet.merge_range(2, 1, 2, 2, "both")
        for row, what in enumerate(["one", None, "three"], start=1):
            if what:
                sheet.write_row(row, 1, [f"J{row}", what])

    table = _workbook(tmp_path / "t.xlsx", fill)
    assert _rows(table) == [("CAR A", "J1", "one"), ("CAR A", "both", "both"), ("CAR A", "J3", "three")]
    assert any("2 merged ranges, the first in row 2" in remark for remark in table.remarks)


def test_a_formula_gives_the_value_stored_beside_it(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        sheet = book.add_worksheet("Kilometer")
        sheet.write_row(0, 0, ["a", "sum"])
        sheet.write_number(1, 0, 40000)
        sheet.write_formula(1, 1, "=A2+2000", None, 42000)
        book.add_worksheet("Other").write_row(0, 0, ["x"])

    table = _workbook(tmp_path / "t.xlsx", fill)
    assert _rows(table) == [(40000, 42000)]
    assert table.sheets == ("Kilometer", "Other")
    assert open_table(tmp_path / "t.xlsx", sheet="Other").headings == ("x",)


def test_empty_rows_are_left_out_and_the_numbers_stay_those_of_the_sheet(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        sheet = book.add_worksheet()
        for row, words in ((2, "heading"), (3, "first"), (7, "second"), (9, "  ")):
            sheet.write_string(row, 0, words)

    table = _workbook(tmp_path / "t.xlsx", fill)
    assert table.headings == ("heading",)
    assert [(row.number, row.cells) for row in table.rows()] == [(4, ("first",)), (8, ("second",))]
