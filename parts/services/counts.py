"""Stocktakes: count, look at the differences, book them."""

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.models import CountLine, Lot, Movement, MovementKind, Part, Stocktake, Tracking
from parts.services.ledger import MOST, moved, stock_locked
from parts.services.waiting import needs_served, promised_down, waiting_locked
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record


@transaction.atomic
def stocktake_begin(*, by: User, note: str = "") -> Stocktake:
    require(by, "shelf.write")
    count = Stocktake.objects.create(begun_by=by, begun_at=timezone.now(), note=note.strip()[:140])
    trail_record(by=by, kind="count.begun", words=_("A count of the shelf was begun. {note}").format(note=count.note))
    return count


@transaction.atomic
def count_write(
    *, stocktake: Stocktake, part: Part, by: User, counted: int, lot: Lot | None = None, why: str = ""
) -> CountLine:
    """What lies there of a part (of one batch or serial number where it is followed); counted again, the new number
    stands and is compared with what the ledger has now."""
    require(by, "shelf.write")
    stocktake = _open(stocktake)
    most = 1 if part.tracking == Tracking.SERIAL else MOST
    if not 0 <= counted <= most:
        raise ShopError(
            _("{counted} × {part} counted: expected 0 to {most}.").format(counted=counted, part=part.number, most=most)
        )
    if (part.tracking != Tracking.NONE) != (lot is not None):
        raise ShopError(_("Count {part} by batch or serial number, as it is followed.").format(part=part.number))
    stock = stock_locked(part)
    if lot is not None:
        lot = Lot.objects.select_for_update().get(pk=lot.pk, part=part)
    line, _made = CountLine.objects.update_or_create(
        stocktake=stocktake, part=part, lot=lot,
        defaults={
            "counted": counted, "expected": lot.quantity if lot else stock.shelf,
            "why": why.strip()[:140], "by": by, "at": timezone.now(),
        },
    )  # fmt: skip
    return line


@transaction.atomic
def count_strike(*, line: CountLine, by: User) -> None:
    require(by, "shelf.write")
    _open(line.stocktake)
    CountLine.objects.filter(pk=line.pk).delete()


@transaction.atomic
def stocktake_close(*, stocktake: Stocktake, by: User) -> Stocktake:
    """Book every difference. Where fewer lie there than are reserved, reservations are released, what asked last first;
    all differences are booked, or none."""
    require(by, "shelf.write")
    stocktake = _open(stocktake)
    lines = list(stocktake.lines.select_related("part", "lot"))
    waiting_locked({line.part for line in lines})
    changed = [line for line in lines if line.difference]
    for line in sorted(changed, key=lambda line: line.part_id):
        _book(line, by)
    stocktake.closed_at = timezone.now()
    stocktake.save(update_fields=["closed_at"])
    words = _("Shelf counted: {lines} parts or batches, {changed} with a difference.").format(
        lines=len(lines), changed=len(changed)
    )
    trail_record(by=by, kind="count.closed", words=words)
    return stocktake


def _book(line: CountLine, by: User) -> None:
    stock = stock_locked(line.part)
    if _booked_since(line):
        raise Conflict(
            _("{part} was put right by another count meanwhile. Count it again.").format(part=line.part.number)
        )
    if stock.shelf + line.difference < 0:
        raise Conflict(
            _(
                "{part}: {counted} counted where {expected} were expected, but {shelf} are left since. Count it again."
            ).format(
                part=line.part.number, counted=line.counted, expected=line.expected, shelf=stock.shelf
            )
        )  # fmt: skip
    barred = line.lot is not None and line.lot.barred
    if line.difference < 0 and not barred:
        promised_down(part=line.part, leaving=-line.difference, by=by, why=_("fewer on the shelf than thought"))
    why = line.why or _("counted {counted}, expected {expected}").format(counted=line.counted, expected=line.expected)
    moved(part=line.part, kind=MovementKind.COUNTED, by=by, shelf=line.difference, lot=line.lot, why=why)
    if line.difference > 0:
        needs_served(part=line.part, by=by)


def _booked_since(line: CountLine) -> bool:
    """Whether another count that was closed meanwhile, or one that was taken back, has moved the same pieces."""
    counted = Movement.objects.filter(Q(kind=MovementKind.COUNTED) | Q(undoes__kind=MovementKind.COUNTED))
    return counted.filter(part=line.part, lot=line.lot, at__gt=line.at).exists()


def _open(stocktake: Stocktake) -> Stocktake:
    stocktake = Stocktake.objects.select_for_update().get(pk=stocktake.pk)
    if stocktake.closed_at is not None:
        raise Conflict(_("This count is closed; begin another one."))
    return stocktake
