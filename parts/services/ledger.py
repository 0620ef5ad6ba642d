"""The one way by which a movement gets into the ledger.

`moved` holds the balance's row until the end of the transaction: of two people who take the last piece, the second
reads what the first left. Locks are taken in one order everywhere: orders and stocktakes, their lines, jobs, needs,
balances (of several parts by key), batches.
"""

from collections.abc import Iterable
from decimal import Decimal

from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import Unit
from parts.models import Lot, Movement, MovementKind, Need, OrderLine, Part, Stock, Tracking
from shop.errors import Conflict, ShopError
from shop.models import Job, User

MOST = 9_999
"""Pieces in one movement: more is a slip of the finger."""


def stock_locked(part: Part) -> Stock:
    """The balance of a part, held until the transaction ends."""
    Stock.objects.get_or_create(part=part)
    return Stock.objects.select_for_update(of=("self",)).select_related("part").get(part=part)


def stocks_locked(parts: Iterable[Part]) -> None:
    """The balances of several parts, held in one order until the transaction ends."""
    keys = sorted({part.pk for part in parts})
    there = set(Stock.objects.filter(part__in=keys).values_list("part", flat=True))
    Stock.objects.bulk_create([Stock(part_id=key) for key in keys if key not in there], ignore_conflicts=True)
    list(Stock.objects.select_for_update().filter(part__in=keys).order_by("part").values_list("part", flat=True))


def barred_pieces(part: Part) -> int:
    """Pieces on the shelf that are not to be fitted."""
    if part.tracking == Tracking.NONE:
        return 0
    return Lot.objects.filter(part=part).exclude(barred="").aggregate(n=Sum("quantity"))["n"] or 0


def to_promise(stock: Stock) -> int:
    """Free pieces that may be fitted: those that can be reserved."""
    return stock.free - barred_pieces(stock.part)


def moved(
    *,
    part: Part,
    kind: MovementKind,
    by: User,
    shelf: int = 0,
    reserved: int = 0,
    cores: int = 0,
    lot: Lot | None = None,
    job: Job | None = None,
    need: Need | None = None,
    order_line: OrderLine | None = None,
    unit: Unit | None = None,
    price: Decimal | None = None,
    why: str = "",
    undoes: Movement | None = None,
) -> Movement:
    """Write a movement; inside a transaction. Conflict where the shelf has not so much, or all of it is reserved."""
    stock = stock_locked(part)
    part = stock.part  # as it is now: how its pieces are followed may have changed since the caller read it
    _refuse_below_nought(part, stock, shelf, reserved, cores)
    lot = _lot_moved(part, lot, shelf)
    stock.shelf += shelf
    stock.reserved += reserved
    stock.cores += cores
    stock.moves += 1
    stock.save()
    return Movement.objects.create(
        part=part, seq=stock.moves, kind=kind, shelf=shelf, reserved=reserved, cores=cores,
        shelf_after=stock.shelf, reserved_after=stock.reserved, cores_after=stock.cores,
        lot=lot, job=job, need=need, order_line=order_line, unit=unit, price=price,
        why=why.strip()[:200], by=by, at=timezone.now(), undoes=undoes,
    )  # fmt: skip


def quantity_of(part: Part, quantity: int) -> int:
    """ShopError for a number of pieces that cannot be."""
    if not 1 <= quantity <= MOST:
        raise ShopError(
            _("{quantity} pieces of {part}: expected 1 to {most}.").format(
                quantity=quantity, part=part.number, most=MOST
            )
        )
    return quantity


def price_of(part: Part, price: Decimal | None) -> Decimal | None:
    """ShopError for a price that cannot be."""
    if price is not None and price < 0:
        raise ShopError(_("Price of {part}: expected 0 or more.").format(part=part.number))
    return price


def lot_arrived(*, part: Part, number: str, quantity: int, supplier_id: int | None) -> Lot | None:
    """The batch or serial number that pieces came with; None for a part of which none is followed."""
    number = number.strip()
    if part.tracking == Tracking.NONE:
        if number:
            raise ShopError(_("{part} is not followed by batch or serial number.").format(part=part.number))
        return None
    if not number:
        asked = _("batch number") if part.tracking == Tracking.BATCH else _("serial number")
        raise ShopError(_("{part} needs its {number}: it is on the bag or on the part.").format(
            part=part.number, number=asked
        ))  # fmt: skip
    serial = part.tracking == Tracking.SERIAL
    if serial and quantity != 1:
        raise ShopError(_("A serial number is of one piece: book {part} one by one.").format(part=part.number))
    lot, made = Lot.objects.get_or_create(
        part=part,
        number=number,
        defaults={"serial": serial, "supplier_id": supplier_id, "received_on": timezone.localdate()},
    )
    if not made and serial and lot.quantity:
        raise Conflict(_("{part} with serial {serial} is on the shelf already.").format(
            part=part.number, serial=number
        ))  # fmt: skip
    return lot


def _refuse_below_nought(part: Part, stock: Stock, shelf: int, reserved: int, cores: int) -> None:
    if stock.shelf + shelf < 0:
        raise Conflict(
            _("{part}: {asked} asked for, {there} on the shelf.").format(
                part=part.number, asked=-shelf, there=stock.shelf
            )
        )
    if stock.reserved + reserved > stock.shelf + shelf:
        raise Conflict(
            _("{part}: {asked} asked for, {free} free of {there} on the shelf; the others are reserved.").format(
                part=part.number, asked=max(-shelf, reserved), free=stock.free, there=stock.shelf
            )
        )
    if stock.reserved + reserved < 0:
        raise Conflict(_("{part}: only {reserved} are reserved.").format(part=part.number, reserved=stock.reserved))
    if stock.cores + cores < 0:
        raise Conflict(_("{part}: {asked} cores asked for, {there} there.").format(
            part=part.number, asked=-cores, there=stock.cores
        ))  # fmt: skip


def _lot_moved(part: Part, lot: Lot | None, shelf: int) -> Lot | None:
    if part.tracking == Tracking.NONE or not shelf:
        return lot
    if lot is None:
        raise ShopError(_("Say which batch or serial number of {part} it is.").format(part=part.number))
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    if lot.part_id != part.pk:
        raise ShopError(_("{lot} is no batch of {part}.").format(lot=lot.number, part=part.number))
    if shelf < 0 and lot.quantity + shelf < 0:
        raise Conflict(
            _("{part} {lot}: {asked} asked for, {there} on the shelf.").format(
                part=part.number, lot=lot.number, asked=-shelf, there=lot.quantity
            )
        )
    if lot.serial and lot.quantity + shelf > 1:
        raise Conflict(_("{part} with serial {serial} is on the shelf already.").format(
            part=part.number, serial=lot.number
        ))  # fmt: skip
    lot.quantity += shelf
    lot.save(update_fields=["quantity"])
    return lot
