"""Days, months and numbers as people and office programs write them. What may mean two days is asked, not guessed."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

from diagnostics.engine.words import _
from reports.records.tables import Cell

Order = Literal["", "dmy", "mdy"]
ORDERS: tuple[Order, ...] = ("", "dmy", "mdy")
"""How days such as 03/04/2014 are meant: day first, month first; '' while nobody has said."""
EARLIEST, LATEST = 1900, 2200
_SERIALS = range(10_000, 110_000)
"""Days of a workbook that mean 1927 to 2201; a smaller number is a year or no day."""
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", re.ASCII)
_DOTS = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", re.ASCII)
_SLASHES = re.compile(r"(\d{1,2})([/-])(\d{1,2})\2(\d{4})", re.ASCII)
_NAMED = re.compile(r"(?:(\d{1,2})\.?\s+)?([^\W\d_]{3,9})\.?\s+(\d{4})")
_MONTH = re.compile(r"(\d{4})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{4})", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}([.,' ’\u00a0\u202f])\d{3}(?:\1\d{3})*", re.ASCII)
_CLOCK = re.compile(r"(.*\d{4}|\d{4}-\d\d-\d\d)[T ,]+\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?", re.ASCII)
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar jänner", "feb february februar", "mar march mär mrz märz maerz", "apr april",
            "may mai", "jun june juni", "jul july juli", "aug august", "sep sept september", "oct october okt oktober",
            "nov november", "dec december dez dezember",
        ),
        start=1,
    )
    for name in names.split()
}  # fmt: skip


class ValueRefused(ValueError):  # noqa: N818 - read as a word where it is raised
    """The words say what was expected."""


@dataclass(frozen=True, slots=True)
class Month:
    """The first day of a month; with `year_only` January of a year whose month nobody knows."""

    first: date
    year_only: bool = False


@dataclass(frozen=True, slots=True)
class Reader:
    """How the cells of one table are meant. `serial_1904`: see Table."""

    order: Order = ""
    serial_1904: bool | None = None

    def day(self, cell: Cell) -> date | None:
        """The day of a cell, None for an empty one; a time of day is left out. Raises ValueRefused."""
        found = self.moment(cell)
        return found.date() if isinstance(found, datetime) else found

    def moment(self, cell: Cell) -> date | datetime | None:
        """A day, or a moment where the cell states one with its offset from UTC, as our own exports do."""
        if isinstance(cell, datetime):
            return _bounded(cell.date())
        if isinstance(cell, date):
            return _bounded(cell)
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            return self._serial(cell)
        words = text(cell)
        if not words:
            return None
        try:
            stated = datetime.fromisoformat(words)
        except ValueError:
            stated = None
        if stated is not None and stated.tzinfo is not None:
            _bounded(stated.date())
            return stated
        clock = _CLOCK.fullmatch(words)
        return self._written(clock[1].strip() if clock else words)

    def month(self, cell: Cell) -> Month | None:
        """The month of a cell, or its year; None for an empty one. Raises ValueRefused."""
        if isinstance(cell, int | float) and not isinstance(cell, bool) and EARLIEST <= cell < LATEST:
            return _year(int(cell))
        words = text(cell) if isinstance(cell, str) else ""
        if re.fullmatch(r"\d{4}", words, re.ASCII):
            return _year(int(words))
        match = _MONTH.fullmatch(words)
        if match:
            year, month = (match[1], match[2]) if match[1] else (match[4], match[3])
            return Month(_date(int(year), int(month), 1, words))
        named = _NAMED.fullmatch(words)
        if named and not named[1] and named[2].casefold() in _MONTHS:
            return Month(_date(int(named[3]), _MONTHS[named[2].casefold()], 1, words))
        day = self.day(cell)
        return Month(day.replace(day=1)) if day else None

    def _serial(self, number: float) -> date:
        if self.serial_1904 is None or int(number) not in _SERIALS:
            raise ValueRefused(_no_day(f"{number:g}"))
        # Day 60 of the system of 1900 is the 29 February 1900 that never was; every day in _SERIALS comes after it.
        start = date(1904, 1, 1) if self.serial_1904 else date(1899, 12, 30)
        return start + timedelta(days=int(number))

    def _written(self, words: str) -> date:
        if match := _ISO.fullmatch(words):
            return _date(int(match[1]), int(match[2]), int(match[3]), words)
        if match := _DOTS.fullmatch(words):
            return _date(int(match[3]), int(match[2]), int(match[1]), words)
        if match := _SLASHES.fullmatch(words):
            first, second = int(match[1]), int(match[3])
            if self.order == "":
                told = _("“{words}” may mean two days; say whether the day or the month comes first.")
                raise ValueRefused(told.format(words=words))
            day, month = (first, second) if self.order == "dmy" else (second, first)
            return _date(int(match[4]), month, day, words)
        if (match := _NAMED.fullmatch(words)) and match[1] and match[2].casefold() in _MONTHS:
            return _date(int(match[3]), _MONTHS[match[2].casefold()], int(match[1]), words)
        raise ValueRefused(_no_day(words))


def order_of(cells: Iterable[Cell]) -> Order | None:
    """How the days of a table are meant, from those that can be only one day: 'dmy' or 'mdy'. '' where none begins
    with day or month and slashes or hyphens; None where that must be asked, all of them being days either way. A table
    that holds both orders is read day first, and the days that are none are refused one by one."""
    first = second = unclear = False
    for cell in cells:
        match = _SLASHES.match(cell.strip()) if isinstance(cell, str) else None
        if match:
            unclear = True
            first |= int(match[1]) > 12
            second |= int(match[3]) > 12
    if first:
        return "dmy"
    if second:
        return "mdy"
    return None if unclear else ""


def text(cell: Cell) -> str:
    """The words of a cell in one line, of a whole number without a fraction; '' for an empty one."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, date | time) and not isinstance(cell, datetime):
        return cell.isoformat()
    return " ".join(str(cell).split())


def lines(cell: Cell) -> str:
    """As `text`, of several lines."""
    return cell.strip().replace("\r\n", "\n") if isinstance(cell, str) else text(cell)


def number(cell: Cell) -> float | None:
    """A measured number, with a decimal point or comma; None for an empty cell. Raises ValueRefused."""
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return float(cell)
    words = re.sub(r"\s*(?:V|Volt|volts?|Ohm|ohms?|Ω|bar|°C|s)$", "", text(cell))
    if not words:
        return None
    if not re.fullmatch(r"[+-]?\d{1,9}(?:[.,]\d{1,9})?", words, re.ASCII):
        raise ValueRefused(_("“{words}” is no number; expected one such as 11.9 or 11,9.").format(words=words[:40]))
    return float(words.replace(",", "."))


def whole(cell: Cell) -> int | None:
    """A whole number such as kilometres, in groups of three or not; None for an empty cell. Raises ValueRefused."""
    if isinstance(cell, int | float) and not isinstance(cell, bool) and float(cell).is_integer():
        return int(cell)
    words = re.sub(r"\s*km$", "", text(cell), flags=re.IGNORECASE)
    if not words:
        return None
    grouped = _GROUPED.fullmatch(words)
    plain = words.replace(grouped[1], "") if grouped else words
    if not re.fullmatch(r"\d{1,9}", plain, re.ASCII):
        told = _("“{words}” is no whole number; expected one such as 84000 or 84.000.")
        raise ValueRefused(told.format(words=words[:40]))
    return int(plain)


def _year(year: int) -> Month:
    return Month(_date(year, 1, 1, str(year)), year_only=True)


def _date(year: int, month: int, day: int, words: str) -> date:
    try:
        return _bounded(date(year, month, day))
    except ValueRefused:
        raise
    except ValueError as error:
        raise ValueRefused(_no_day(words)) from error


def _bounded(day: date) -> date:
    if not EARLIEST <= day.year < LATEST:
        raise ValueRefused(
            _("The year {year} cannot be; expected {first} or later.").format(year=day.year, first=EARLIEST)
        )
    return day


def _no_day(words: str) -> str:
    return _("“{words}” is no day; expected one such as 2014-06-30 or 30.6.2014, the year with four digits.").format(
        words=words[:40]
    )
