"""Observations from a CSV file: every row either becomes an entry or comes back with its number and why not."""

import csv
import re
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import TextIO

import numpy as np

from diagnostics.engine.words import _
from diagnostics.learning.columns import ALL_GOOD, UNKNOWN_SINCE, Observations
from diagnostics.learning.records import CLIMATES, Ints, Skipped

COLUMNS = ("unit", "system", "position", "part", "made_on", "fitted_on", "climate", "checked_on", "outcome", "mode")
OPTIONAL = ("car", "revision", "known_from")
LONGEST = 200
"""Characters of a field."""
EARLIEST_YEAR, LATEST_YEAR = 1900, 2200
_DAYS, _MODES = 1_000_000, 100_000
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
"""Alone of what ISO 8601 allows: days by week are nothing that people write, and a slip may look like one."""


class NoObservationsError(ValueError):
    """The file cannot be read as observations at all; the words say why."""


def read_observations(file: TextIO, *, today: date | None = None) -> tuple[Observations, tuple[Skipped, ...]]:
    """Entries and the rows that were not taken. `file` is text; columns come in any order, further ones are ignored.

    A `made_on` of YYYY is a car known by its year only. Without a column `car` every unit is taken to sit in a car of
    its own. Nothing is taken that lies after the day after `today` (in UTC; it is
    tomorrow already elsewhere). Raises NoObservationsError where the heading is missing or
    incomplete, or where it is no CSV.
    """
    rows = _Rows(_reader(file), (today or datetime.now(tz=UTC).date()).toordinal() + 1)
    for number, fields in rows:
        rows.take(number, fields)
    return rows.observations(), tuple(sorted(rows.skipped, key=lambda one: one.row))


class _Lines:
    """The lines of a file; `row`: those of the row that is being read."""

    def __init__(self, file: TextIO) -> None:
        self.file = iter(file)
        self.row: list[str] = []

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        self.row.append(next(self.file))
        return self.row[-1]


def _reader(file: TextIO) -> Iterator[list[str] | csv.Error]:
    """The rows; in place of one that cannot be read, why.

    A quotation mark that nobody closes would swallow what follows, up to the end: it costs its own line alone, those
    after it are read one by one.
    """
    lines, width = _Lines(file), 0
    reader = csv.reader(lines, strict=True)
    while True:
        lines.row.clear()
        try:
            found: list[str] | csv.Error = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            found = error
        except UnicodeDecodeError as error:
            raise NoObservationsError(_("The file is no CSV text in UTF-8: {why}.").format(why=error)) from error
        width = width or (len(found) if isinstance(found, list) else 0)
        swallowed = lines.row[1:]
        if not swallowed or (isinstance(found, list) and len(found) == width):
            yield found
            continue
        yield csv.Error(_("a quotation mark is opened and not closed"))
        for line in swallowed:
            try:
                yield from csv.reader([line], strict=True)
            except csv.Error as error:
                yield error


@dataclass(slots=True)
class _Names:
    """Names numbered as they appear."""

    codes: dict[str, int] = field(default_factory=dict)

    def code(self, name: str) -> int:
        return self.codes.setdefault(name, len(self.codes))

    def sorted(self, codes: Ints) -> tuple[Ints, tuple[str, ...]]:
        """`codes` over the names in alphabetical order, and those."""
        names = sorted(self.codes)
        place = np.empty(len(names), dtype=np.int64)
        for number, name in enumerate(names):
            place[self.codes[name]] = number
        return place[codes], tuple(names)


class _Rows:
    def __init__(self, reader: Iterator[list[str] | csv.Error], today: int) -> None:
        first = next(reader, [])
        if isinstance(first, csv.Error):
            raise NoObservationsError(_("The heading cannot be read as CSV: {why}.").format(why=first))
        heading = [name.strip().lstrip("\ufeff").lower() for name in first]
        if not heading:
            raise NoObservationsError(_("The file is empty; expected a heading: {names}.").format(names=_list(COLUMNS)))
        if len(heading) == 1 and (";" in heading[0] or "\t" in heading[0]):
            told = _("The columns are not divided by commas; expected a heading: {names}.")
            raise NoObservationsError(told.format(names=",".join(COLUMNS)))
        missing = [name for name in COLUMNS if name not in heading]
        if missing:
            told = _("The heading lacks {missing}; expected: {names}.")
            raise NoObservationsError(told.format(missing=_list(missing), names=_list(COLUMNS)))
        twice = sorted({name for name in heading if name in (*COLUMNS, *OPTIONAL) and heading.count(name) > 1})
        if twice:
            raise NoObservationsError(_("The heading names {names} more than once.").format(names=_list(twice)))
        self.width = len(heading)
        self.at = [heading.index(name) for name in COLUMNS]
        self.more = [heading.index(name) if name in heading else -1 for name in OPTIONAL]
        self.reader, self.today = reader, today
        self.skipped: list[Skipped] = []
        self.entries = array("q")  # a million rows of numbers, not of objects
        self.names = {name: _Names() for name in ("unit", "car", "system", "position", "part", "revision", "mode")}
        self.units: dict[str, tuple[str, ...]] = {}
        self.seen: set[int] = set()
        self.days: dict[str, int | None] = {}
        self.months: dict[str, tuple[int, bool] | None] = {}

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        for number, fields in enumerate(self.reader, start=2):
            if isinstance(fields, csv.Error):
                told = _("The row cannot be read as CSV, mind its quotation marks: {why}.")
                self.skipped.append(Skipped(number, told.format(why=fields)))
            elif fields and any(map(str.strip, fields)):
                yield number, fields

    def take(self, number: int, fields: list[str]) -> None:
        try:
            self.entries.extend((number, *self._entry(fields)))
        except _BadRowError as error:
            self.skipped.append(Skipped(number, str(error)))

    def _entry(self, fields: list[str]) -> tuple[int, ...]:
        if len(fields) != self.width:
            told = _("{count} fields; expected {width}.")
            raise _BadRowError(told.format(count=len(fields), width=self.width))
        values = [field.strip() for field in fields]
        if any(len(value) > LONGEST or "\0" in value for value in values):
            raise _BadRowError(_("A field is longer than {most} characters or holds a NUL.").format(most=LONGEST))
        row = tuple(values[place] for place in self.at)
        extra = tuple(values[place] if place >= 0 else "" for place in self.more)
        unit, system, position, part, made_on, fitted_on, climate, checked_on, outcome, mode = row
        car, revision, known_from = extra
        for name, value in zip(("unit", "system", "position", "part"), row, strict=False):
            if not value:
                raise _BadRowError(_("{name} is empty.").format(name=name))
        month, year_only = self._month(made_on)
        day = self._day("checked_on", checked_on)
        since = self._day("fitted_on", fitted_on) if fitted_on else UNKNOWN_SINCE
        known = self._day("known_from", known_from) if known_from else 0
        _refuse_order(month, since, day)
        if day > self.today:
            raise _BadRowError(_("checked_on {day} lies in the future.").format(day=checked_on))
        if climate not in CLIMATES:
            raise _BadRowError(_told("climate", climate, _list(CLIMATES)))
        if outcome not in ("good", "failed"):
            raise _BadRowError(_told("outcome", outcome, _list(("good", "failed"))))
        if (outcome == "failed") != bool(mode):
            raise _BadRowError(
                _("A failed unit without its mode.")
                if outcome == "failed"
                else _("A good unit with a mode of failing.")
            )
        self._refuse_other_place(unit, (system, position, part, made_on, fitted_on, climate, revision, car))
        code = self.names
        number, failed = code["unit"].code(unit), code["mode"].code(mode) if mode else -1
        key = (number * _DAYS + day) * _MODES + failed + 1
        if key in self.seen:
            raise _BadRowError(_("The same observation stands in an earlier row."))
        self.seen.add(key)
        return (
            number,
            code["car"].code(car or f"\0{unit}"),
            code["system"].code(system),
            code["position"].code(position),
            code["part"].code(part),
            code["revision"].code(revision),
            month,
            year_only,
            CLIMATES.index(climate),
            since,
            known,
            day,
            ALL_GOOD if outcome == "good" else 0,
            failed,
        )

    def _refuse_other_place(self, unit: str, place: tuple[str, ...]) -> None:
        first = self.units.setdefault(unit, place)
        if first == place:
            return
        if first[:2] != place[:2]:
            told = _("Unit {unit} stands at {first} in an earlier row; a unit has one position.")
            raise _BadRowError(told.format(unit=unit, first=" ".join(first[:2])))
        raise _BadRowError(
            _(
                "Unit {unit} has another part, month, day of fitting, climate, revision or car in an earlier row."
            ).format(unit=unit)
        )

    def _day(self, name: str, text: str) -> int:
        if text not in self.days:
            self.days[text] = _ordinal(text)
        day = self.days[text]
        if day is None:
            raise _BadRowError(_told(name, text, _("a day as YYYY-MM-DD")))
        return day

    def _month(self, text: str) -> tuple[int, bool]:
        if text not in self.months:
            self.months[text] = _month_of(text)
        month = self.months[text]
        if month is None:
            raise _BadRowError(_told("made_on", text, _("a month as YYYY-MM, or a year as YYYY")))
        return month

    def observations(self) -> Observations:
        table = np.frombuffer(self.entries, dtype=np.int64).reshape(-1, 15).T.copy()
        named = {
            name: self.names[name].sorted(table[place])
            for place, name in ((3, "system"), (4, "position"), (5, "part"), (6, "revision"))
        }
        modes = sorted(self.names["mode"].codes)
        place = np.array([modes.index(name) for name in self.names["mode"].codes] or [0], dtype=np.int64)
        return Observations(
            unit=table[1],
            car=table[2],
            system_code=named["system"][0],
            position_code=named["position"][0],
            part_code=named["part"][0],
            revision_code=named["revision"][0],
            month=table[7],
            year_only=table[8].astype(bool),
            climate=table[9],
            since_day=table[10],
            known_day=table[11],
            day=table[12],
            good=table[13],
            failed=np.where(table[14] >= 0, place[np.maximum(table[14], 0)], -1),
            mended=np.zeros(table.shape[1], dtype=bool),
            checks=np.ones(table.shape[1], dtype=np.int64),
            row=table[0],
            systems=named["system"][1],
            positions=named["position"][1],
            parts=named["part"][1],
            revisions=named["revision"][1],
            modes=tuple(modes),
        )


class _BadRowError(ValueError):
    pass


def _refuse_order(month: int, since: int, day: int) -> None:
    made = date(month // 12, month % 12 + 1, 1).toordinal()
    if day < made:
        raise _BadRowError(_("checked_on lies before made_on: the car was not built yet."))
    if since != UNKNOWN_SINCE and since < made:
        raise _BadRowError(_("fitted_on lies before made_on: the car was not built yet."))
    if since != UNKNOWN_SINCE and day < since:
        raise _BadRowError(_("checked_on lies before fitted_on: the unit was not fitted yet."))


def _ordinal(text: str) -> int | None:
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        return None
    return day.toordinal() if day is not None and EARLIEST_YEAR <= day.year <= LATEST_YEAR else None


def _month_of(text: str) -> tuple[int, bool] | None:
    year, dash, month = text.partition("-")
    if not (len(year) == 4 and year.isascii() and year.isdecimal() and EARLIEST_YEAR <= int(year) <= LATEST_YEAR):
        return None
    if not dash:
        return int(year) * 12, True
    if not (len(month) == 2 and month.isascii() and month.isdecimal() and 1 <= int(month) <= 12):
        return None
    return int(year) * 12 + int(month) - 1, False


def _told(name: str, value: str, expected: str) -> str:
    return _("{name} “{value}”: expected {expected}.").format(name=name, value=value[:40], expected=expected)


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)
