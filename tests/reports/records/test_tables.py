"""Reading tables: what is recognised, and what is refused with what was expected."""

import zipfile
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.records import tables, xlsx_file
from reports.records.columns import FIELDS, KINDS, field_words, guessed_kind, kind_words, matched, places
from reports.records.tables import TableError, open_table
from reports.records.values import Month, Reader, ValueRefused, number, order_of, text, whole


def _refused(path: Path, data: bytes, sheet: str = "") -> str:
    path.write_bytes(data)
    with pytest.raises(TableError) as caught:
        list(open_table(path, sheet=sheet).rows())
    return str(caught.value)


def _xlsx(path: Path) -> Path:
    book = openpyxl.Workbook()
    book.worksheets[0].append(["vin", "plate"])
    book.worksheets[0].append(["0TWAH5903RT000001", "A 1"])
    book.save(path)
    return path


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n\n , \n", "empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old XLS format"),
        (b"a,b\n\x81\x8d,x", "no text in Windows-1252. Expected a table as CSV in UTF-8, UTF-16 or Windows-1252"),
        (b"a,b\n\x01,x", "Expected a table as CSV"),
        (b"\xff\xfea", "no text in UTF-16"),
        (b'a,b\n1,"open\n2,3\n', "Row 2 cannot be read as CSV, mind its quotation marks"),
        (b"PK\x03\x04 no zip", "damaged or no XLSX workbook"),
        (b"%PDF-1.7 \x00\x01", "Expected a table as CSV"),
    ],
)
def test_what_is_no_table_is_refused_in_one_sentence(tmp_path: Path, data: bytes, words: str) -> None:
    assert words in _refused(tmp_path / "f", data)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="cannot be read: No such file"):
        open_table(tmp_path / "nowhere")


def test_a_zip_that_unpacks_to_too_much_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _xlsx(tmp_path / "t.xlsx")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/bomb.xml", b"0" * 5_000_000)
    assert path.stat().st_size < 50_000
    monkeypatch.setattr(xlsx_file, "MOST_BYTES", 4 * 1024 * 1024)
    with pytest.raises(TableError, match="unpacks to more than 4 MB"):
        open_table(path)


def test_entities_in_the_xml_of_a_workbook_are_not_unfolded(tmp_path: Path) -> None:
    path, bad = _xlsx(tmp_path / "t.xlsx"), tmp_path / "bad.xlsx"
    bomb = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    with zipfile.ZipFile(path) as good, zipfile.ZipFile(bad, "w") as out:
        for entry in good.infolist():
            data = good.read(entry)
            if entry.filename == "xl/worksheets/sheet1.xml":
                data = bomb + data.replace(b"<v>0</v>", b"<v>&b;</v>")
            out.writestr(entry, data)
    with pytest.raises(TableError, match="damaged or no XLSX workbook"):
        list(open_table(bad).rows())


def test_a_sheet_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    path = _xlsx(tmp_path / "t.xlsx")
    with pytest.raises(TableError, match="no sheet “Cars”; it has: Sheet"):
        open_table(path, sheet="Cars")
    assert "has none" in _refused(tmp_path / "t.csv", b"a,b\n1,2\n", sheet="Cars")


def test_rows_too_wide_too_long_or_too_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "t.csv"
    path.write_text("a,b\n1,2,3\n1\n" + "x" * 5000 + ",2\n1,2,,\n")
    rows = list(open_table(path).rows())
    assert [row.broken[:30] for row in rows] == [
        "The row has 3 fields, the head", "", "A field is longer than 4000 ch", "",
    ]  # fmt: skip
    assert rows[1].cells == ("1", None)
    monkeypatch.setattr(tables, "MOST_ROWS", 3)
    with pytest.raises(TableError, match="more than 3 rows"):
        list(open_table(path).rows())


def test_headings_of_one_name_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("Datum;Datum;;x\n1;2;3;4\n")
    assert open_table(path).headings == ("Datum", "Datum (2)", "column 3", "x")


GERMAN = {
    "cars": ["Fahrgestell-Nr.", "Kennzeichen", "Hersteller", "Modell", "Baujahr", "Halter", "E-Mail", "Telefon"],
    "jobs": ["Auftragsnummer", "FIN", "Titel", "Beanstandung", "Annahme", "Fertig", "Kilometerstand (km)"],
    "checks": ["FIN", "Auftrag", "Datum", "BMK", "Prüfung", "Spannung [V]", "Ergebnis"],
    "fitted": ["FIN", "Einbauort", "Teilenummer", "Eingebaut am", "Ausgebaut am", "Grund"],
    "stock": ["Teilenummer", "Bestand", "Lagerplatz"],
}


@pytest.mark.parametrize("kind", KINDS)
def test_headings_are_matched_in_german_and_by_the_fields_own_names(kind: str) -> None:
    assert len(matched(GERMAN[kind], kind)) == len(GERMAN[kind])
    assert guessed_kind(GERMAN[kind]) == kind
    own = [field.name for field in FIELDS[kind]]
    assert matched(own, kind) == {name: name for name in own}
    assert guessed_kind(own) == kind
    assert kind_words(kind)
    assert all(field_words(name) for name in own)


def test_what_is_not_matched_is_asked() -> None:
    assert guessed_kind(["one", "two"]) == ""
    assert matched(["VIN", "Bemerkung"], "cars") == {"vin": "VIN"}
    for matching, words in (
        ({"vin": "VIN"}, "No column is matched to: maker, model, made_on"),
        ({"vin": "nowhere"}, "no column “nowhere”"),
        ({"colour": "VIN"}, "no field “colour”"),
        ({"vin": "VIN", "maker": "VIN"}, "matched to two fields"),
    ):
        with pytest.raises(TableError, match=words):
            places(["VIN", "Bemerkung"], "cars", matching)
    with pytest.raises(TableError, match="“boats” is no kind of table"):
        places(["VIN"], "boats", {})


@pytest.mark.parametrize(
    ("words", "order", "expected"),
    [
        ("2014-06-30", "", date(2014, 6, 30)),
        ("30.6.2014", "", date(2014, 6, 30)),
        ("30. 06.2014", "mdy", date(2014, 6, 30)),
        ("03/04/2014", "dmy", date(2014, 4, 3)),
        ("03/04/2014", "mdy", date(2014, 3, 4)),
        ("3 March 2014", "", date(2014, 3, 3)),
        ("3. März 2014", "", date(2014, 3, 3)),
        ("2014-06-30 14:05:00", "", date(2014, 6, 30)),
        ("30.06.2014 14:05", "", date(2014, 6, 30)),
        ("", "", None),
    ],
)
def test_days_as_people_write_them(words: str, order: str, expected: date | None) -> None:
    assert Reader(order).day(words) == expected  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "words",
    ["03/04/2014", "30.6.14", "31.2.2014", "tomorrow", "2014", "41820", "0001-01-01", "99999-01-01", "1/2-2014"],
)
def test_days_that_are_none_or_may_be_two_are_refused(words: str) -> None:
    with pytest.raises(ValueRefused):
        Reader().day(words)


def test_a_number_is_a_day_in_a_workbook_only() -> None:
    assert Reader("", False).day(41820) == date(2014, 6, 30)
    assert Reader("", True).day(40358) == date(2014, 6, 30)
    for reader, value in ((Reader(), 41820), (Reader("", False), 12), (Reader("", False), 2014)):
        with pytest.raises(ValueRefused):
            reader.day(value)


def test_a_moment_of_our_own_exports_stays_what_it_was() -> None:
    at = datetime(2014, 6, 30, 22, 15, tzinfo=UTC)
    assert Reader().moment(at.isoformat()) == at


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2014", Month(date(2014, 1, 1), True)),
        (2014, Month(date(2014, 1, 1), True)),
        ("2014-06", Month(date(2014, 6, 1))),
        ("06/2014", Month(date(2014, 6, 1))),
        ("6.2014", Month(date(2014, 6, 1))),
        ("Juni 2014", Month(date(2014, 6, 1))),
        ("30.6.2014", Month(date(2014, 6, 1))),
        (date(2014, 6, 30), Month(date(2014, 6, 1))),
        ("", None),
    ],
)
def test_production_months(cell: object, expected: Month | None) -> None:
    assert Reader().month(cell) == expected  # type: ignore[arg-type]


def test_which_comes_first_is_read_from_days_that_can_be_one_only_else_asked() -> None:
    assert order_of(["03/04/2014", "13/04/2014"]) == "dmy"
    assert order_of(["03/04/2014", "04/13/2014"]) == "mdy"
    assert order_of(["03/04/2014", "05-06-2014"]) is None
    assert order_of(["30.6.2014", "2014-06-30", None, 5]) == ""


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)), st.sampled_from(["dmy", "mdy"]))
def test_a_day_written_is_the_day_read(day: date, order: str) -> None:
    slashed = f"{day:%d/%m/%Y}" if order == "dmy" else f"{day:%m/%d/%Y}"
    for words in (day.isoformat(), f"{day.day}.{day.month}.{day.year}", slashed):
        assert Reader(order).day(words) == day  # type: ignore[arg-type]


@given(st.text(max_size=40))
def test_no_text_breaks_a_reader(words: str) -> None:
    for read in (Reader("dmy").day, Reader("", False).month, number, whole):
        with suppress(ValueRefused):
            read(words)


def test_numbers_with_point_or_comma_and_in_groups() -> None:
    assert (number("11,9"), number("11.9 V"), number(12), number("")) == (11.9, 11.9, 12.0, None)
    assert (whole("84.000"), whole("84,000 km"), whole("1 284 000"), whole(84000.0), whole(" ")) == (
        84000, 84000, 1284000, 84000, None,
    )  # fmt: skip
    for read, words in ((number, "1.234,5"), (number, "inf"), (whole, "84,5"), (whole, "-5"), (whole, "8.40.00")):
        with pytest.raises(ValueRefused):
            read(words)
    assert text(41.0) == "41"
