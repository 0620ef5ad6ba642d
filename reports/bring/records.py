"""A table is brought: every row judged first, then, where none is refused, all of it written in one transaction."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from diagnostics.services import learning_follow
from reports.bring.base import BATCH, Books, Cells, Kind
from reports.bring.cars import Cars
from reports.bring.checks import Checks
from reports.bring.fitted import Fitted
from reports.bring.jobs import Jobs
from reports.bring.stock import OnShelf
from reports.records.columns import FIELDS, guessed_kind, kind_words, matched, places
from reports.records.fates import Fate, Tally
from reports.records.tables import Cell, Table, TableError
from reports.records.values import Order, Reader, ValueRefused, order_of
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record

_KINDS: Mapping[str, Callable[[Books], Kind[Any]]] = {
    "cars": Cars,
    "jobs": Jobs,
    "checks": Checks,
    "fitted": Fitted,
    "stock": OnShelf,
}
Tell = Callable[[int, int, str], None]
"""Rows done, rows in all, words; may raise Cancelled. Not called inside the transaction that writes."""


@dataclass(frozen=True, slots=True)
class Brought:
    """What became, or would become, of every row, in the order of the table."""

    fates: tuple[Fate, ...]
    tally: Tally
    written: bool


class NotBrought(ShopError):  # noqa: N818 - read as words where it is raised
    """Rows are refused, so nothing was written; `brought` has all fates."""

    def __init__(self, brought: Brought) -> None:
        first = brought.tally.first_refused
        told = _("{count} rows are refused, so nothing was brought. The first, row {row}: {why}")
        count = brought.tally.counts["refused"]
        super().__init__(told.format(count=count, row=first.row if first else 0, why=first.words if first else ""))
        self.brought = brought


@dataclass(frozen=True, slots=True)
class Asked:
    """A kind of table and which heading holds which field of it (field -> heading), as far as they are known."""

    kind: str
    matching: dict[str, str]


def table_asked(table: Table, kind: str, matching: Mapping[str, str]) -> Asked:
    """What is asked of a table: the kind guessed where none is given, headings matched where they are not.
    ShopError where the kind cannot be told."""
    kind = kind or guessed_kind(table.headings)
    if not kind:
        told = _("What the table holds cannot be told from its headings: {headings}. Say which kind it is: {kinds}.")
        raise ShopError(told.format(headings=", ".join(table.headings)[:400], kinds=", ".join(_KINDS)))
    if kind not in FIELDS:
        told = _("“{kind}” is no kind of table; expected one of: {kinds}.")
        raise ShopError(told.format(kind=kind[:40], kinds=", ".join(_KINDS)))
    guessed = {
        name: heading for name, heading in matched(table.headings, kind).items() if heading not in matching.values()
    }
    return Asked(kind, guessed | dict(matching))


def records_import(
    *,
    table: Table,
    kind: str,
    matching: Mapping[str, str],
    by: User,
    dry_run: bool,
    order: Order = "",
    tell: Tell = lambda _done, _total, _words: None,
    hold: Callable[[], None] = lambda: None,
    keep: Callable[["Brought"], None] = lambda _brought: None,
) -> Brought:
    """Judge every row and, unless `dry_run`, write them all in one transaction. `matching`: field -> heading; `order`:
    how days such as 03/04/2014 are meant. `hold` is called first in that transaction (it may raise Cancelled), `keep`
    last, with what was written.

    ShopError where the table cannot be taken; NotBrought where a row is refused: then nothing is written.
    """
    require(by, "records.bring")
    try:
        parsed = list(_parsed(table, kind, matching, order, tell))
    except TableError as error:
        raise ShopError(str(error)) from error
    books = Books(by)
    judged = _judged(kind, parsed, books, write=False, tell=tell)
    if dry_run:
        return judged
    if judged.tally.counts["refused"]:
        raise NotBrought(judged)
    try:
        with transaction.atomic():
            hold()
            brought = _judged(kind, parsed, books, write=True)
            if brought.tally.counts["refused"]:  # somebody wrote into the books since they were looked at
                raise NotBrought(brought)
            trail_record(by=by, kind="records.brought", words=_told(kind, brought.tally))
            if kind in ("checks", "fitted"):
                learning_follow()
            keep(brought)
    except IntegrityError as error:
        raise Conflict(_("Somebody has just written the same into the books; try it anew.")) from error
    return brought


def fates_of(brought: Brought) -> Iterator[tuple[str, ...]]:
    """The rows of a CSV of all fates, its heading first."""
    yield "row", "fate", "key", "words"
    for fate in brought.fates:
        # What begins with these a spreadsheet would take for a formula, and the key is the file's own.
        key = f"'{fate.key}" if fate.key[:1] in ("=", "+", "-", "@") else fate.key
        yield str(fate.row), fate.fate, key, fate.words


def _told(kind: str, tally: Tally) -> str:
    told = _("Old records brought ({kind}): {new} new, {changed} changed, {same} as they were.")
    counts = tally.counts
    return told.format(kind=kind_words(kind), new=counts["new"], changed=counts["changed"], same=counts["same"])


def _parsed(
    table: Table, kind: str, matching: Mapping[str, str], order: Order, tell: Tell
) -> Iterator[tuple[int, Any] | Fate]:
    """Every row as its kind takes it, or why it cannot be taken. Raises TableError and ShopError for the whole."""
    columns = places(table.headings, kind, matching)
    reader = _reader(table, kind, columns, order)
    bringer = _KINDS[kind](Books(User()))
    for count, row in enumerate(table.rows()):
        if count % BATCH == 0:
            tell(0, 1, _("Reading row {row}").format(row=row.number))
        if row.broken:
            yield Fate(row.number, "refused", "", row.broken)
            continue
        cells = Cells(row.cells, columns, reader)
        try:
            yield row.number, bringer.parse(cells)
        except ValueRefused as error:
            yield Fate(row.number, "refused", _key(cells), str(error))
        except ShopError as error:
            yield Fate(row.number, "refused", _key(cells), error.words)


def _key(cells: Cells) -> str:
    """What a row speaks of that could not be taken: its car, or its part."""
    return (cells.text("vin") or cells.text("part"))[:20]


def _reader(table: Table, kind: str, columns: Mapping[str, int], order: Order) -> Reader:
    """ShopError where days in the table may be meant in two ways and nobody has said how."""
    days = [
        columns[field.name]
        for field in FIELDS[kind]
        if (field.day or field.name == "made_on") and field.name in columns
    ]
    if not order:
        found = order_of(_column_cells(table, days))
        if found is None:
            raise ShopError(
                _("Days such as 03/04/2014 stand in the table: say whether the day or the month comes first.")
            )
        order = found
    return Reader(order, table.serial_1904)


def _column_cells(table: Table, columns: Sequence[int]) -> Iterator[Cell]:
    for row in table.rows():
        if not row.broken:
            for place in columns:
                yield row.cells[place]


def _judged(
    kind: str,
    parsed: Sequence[tuple[int, Any] | Fate],
    books: Books,
    *,
    write: bool,
    tell: Tell | None = None,
) -> Brought:
    bringer, fates, tally = _KINDS[kind](books), [one for one in parsed if isinstance(one, Fate)], Tally()
    rows = [one for one in parsed if not isinstance(one, Fate)]
    for start in range(0, len(rows), BATCH):
        if tell is not None:
            tell(start, len(rows), _("Looking up row {row}").format(row=rows[start][0]))
        fates += bringer.judge(rows[start : start + BATCH], write=write)
    fates.sort(key=lambda fate: fate.row)
    for fate in fates:
        tally.take(fate)
    return Brought(tuple(fates), tally, write)
