"""Tables of stock. A row is known by its part and, where single pieces are followed, the batch or serial number.

What is brought opens a part's ledger. Where the ledger has movements already, it knows better than an old file: the
same number changes nothing, another one is refused, since only a count can settle it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.models import Lot, Movement, MovementKind, Part, Stock, Tracking
from parts.services.ledger import MOST
from parts.services.waiting import needs_served, waiting_locked
from reports.bring.base import Books, Cells, Doubled, cleaned
from reports.records.fates import Fate
from reports.records.values import whole
from shop.errors import ShopError


@dataclass(frozen=True, slots=True)
class StockRow:
    """`lot`: batch or serial number, '' where none is told."""

    part: str
    name: str
    quantity: int
    place: str
    lot: str

    @property
    def key(self) -> tuple[str, str]:
        return self.part.casefold(), self.lot.casefold()


class OnShelf:
    def __init__(self, books: Books) -> None:
        self.by = books.by
        self.doubled: Doubled[tuple[str, str]] = Doubled()
        self.opened: set[str] = set()  # parts whose ledger this file has opened

    def parse(self, cells: Cells) -> StockRow:
        quantity = whole(cells.get("quantity"))
        if quantity is None:
            raise ShopError(_("The quantity is missing."))
        if not 0 <= quantity <= MOST:
            raise ShopError(_("A quantity of {quantity} cannot be; expected 0 to {most}.").format(
                quantity=quantity, most=MOST
            ))  # fmt: skip
        row = StockRow(
            part=cells.needed("part", _("part number")),
            name=cells.text("name"),
            quantity=quantity,
            place=cells.text("bin"),
            lot=cells.text("lot"),
        )
        cleaned(Part(number=row.part, name=row.name or row.part, place=row.place), "number", "name", "place")
        if row.lot:
            cleaned(Lot(number=row.lot), "number")
        return row

    def judge(self, batch: Sequence[tuple[int, StockRow]], *, write: bool) -> list[Fate]:
        parts = _parts([row.part for _number, row in batch])
        known = list(parts.values())
        stocks = {stock.part_id: stock for stock in Stock.objects.filter(part__in=known)}
        lots = {(lot.part_id, lot.number.casefold()): lot for lot in Lot.objects.filter(part__in=known)}
        fates, new, moved_to = [], [], []
        for number, row in batch:
            part = parts.get(row.part.casefold())
            key = f"{row.part} {row.lot}".strip()
            twice = self.doubled.words(row.key, number)
            refused = twice or self._refused(row, part, stocks, lots)
            if refused:
                fates.append(Fate(number, "refused", key, refused))
                continue
            if part is not None and self._there(row, part, stocks, lots):
                if row.place and row.place != part.place:
                    moved_to.append((part, row))
                    fates.append(Fate(number, "changed", key, _("place")))
                else:
                    fates.append(Fate(number, "same", key))
                continue
            self.opened.add(row.part.casefold())
            new.append((part, row))
            fates.append(Fate(number, "new", key, "" if part else _("taken into the catalogue")))
        if write:
            self._write(new)
            for part, row in moved_to:
                part.place = row.place
                part.save(update_fields=["place"])
        return fates

    def _refused(
        self, row: StockRow, part: Part | None, stocks: dict[int, Stock], lots: dict[tuple[int, str], Lot]
    ) -> str:
        if part is None:
            if not row.name:
                return _("{part} is not in the catalogue, and the file gives no name for it.").format(part=row.part)
            if row.lot:
                told = _("{part} is not in the catalogue; say there first that it is followed by batch.")
                return told.format(part=row.part)
            return ""
        if part.tracking == Tracking.NONE and row.lot:
            return _("{part} is not followed by batch or serial number.").format(part=part.number)
        if part.tracking != Tracking.NONE and not row.lot:
            return _("{part} is followed by batch or serial number; the file gives none.").format(part=part.number)
        if part.tracking == Tracking.SERIAL and row.quantity > 1:
            return _("{part}: a serial number is of one piece.").format(part=part.number)
        stock = stocks.get(part.pk)
        if stock is None or not stock.moves or row.part.casefold() in self.opened:
            return ""
        now = _pieces(row, part, stocks, lots)
        if now == row.quantity:
            return ""
        told = _("The ledger has {now} × {part}; count the shelf where it is wrong.")
        return told.format(now=now, part=" ".join(filter(None, (part.number, row.lot))))

    def _there(self, row: StockRow, part: Part, stocks: dict[int, Stock], lots: dict[tuple[int, str], Lot]) -> bool:
        """Whether the ledger says the same already."""
        opened = row.part.casefold() in self.opened
        return not opened and _pieces(row, part, stocks, lots) == row.quantity

    def _write(self, new: Sequence[tuple[Part | None, StockRow]]) -> None:
        known = [part for part, _row in new if part is not None]
        waiting_locked(known)
        made = Part.objects.bulk_create(
            Part(number=row.part, name=row.name, place=row.place) for part, row in new if part is None
        )
        fresh = {part.number: part for part in made}
        now, why = timezone.now(), _("brought from the old records")
        for old, row in new:
            part = old or fresh[row.part]
            if row.place and part.place != row.place:
                part.place = row.place
                part.save(update_fields=["place"])
            if not row.quantity:
                continue
            lot = None
            if row.lot:
                lot = Lot.objects.create(
                    part=part, number=row.lot, serial=part.tracking == Tracking.SERIAL,
                    received_on=timezone.localdate(), quantity=row.quantity,
                )  # fmt: skip
            Stock.objects.get_or_create(part=part)
            Stock.objects.filter(part=part).update(shelf=F("shelf") + row.quantity, moves=F("moves") + 1)
            stock = Stock.objects.get(part=part)
            Movement.objects.create(
                part=part, seq=stock.moves, kind=MovementKind.RECEIVED, shelf=row.quantity,
                shelf_after=stock.shelf, reserved_after=stock.reserved, cores_after=stock.cores,
                lot=lot, why=why, by=self.by, at=now,
            )  # fmt: skip
        for part in known:
            needs_served(part=part, by=self.by)


def _pieces(row: StockRow, part: Part, stocks: dict[int, Stock], lots: dict[tuple[int, str], Lot]) -> int:
    """Pieces of the row's part or batch that the ledger has."""
    if row.lot:
        lot = lots.get((part.pk, row.lot.casefold()))
        return lot.quantity if lot else 0
    stock = stocks.get(part.pk)
    return stock.shelf if stock else 0


def _parts(numbers: Sequence[str]) -> dict[str, Part]:
    """The catalogue's parts by number in small letters."""
    exact = Part.objects.filter(number__in=set(numbers))
    found = {part.number.casefold(): part for part in exact}
    for number in numbers:
        if number.casefold() not in found:
            part = Part.objects.filter(number__iexact=number).first()
            if part is not None:
                found[number.casefold()] = part
    return found
