"""What people do at the shelf: goods in without an order, scrapping, cores and their rebuilding, barring a batch."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from parts.models import Lot, Movement, MovementKind, Part
from parts.services.ledger import lot_arrived, moved, price_of, quantity_of
from parts.services.waiting import needs_served, promised_down, waiting_locked
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record


@transaction.atomic
def goods_in(
    *, part: Part, by: User, quantity: int, lot: str = "", price: Decimal | None = None, why: str = ""
) -> Movement:
    """Pieces that came without an order of ours. `price`: net a piece; `lot`: batch or serial number where followed."""
    require(by, "shelf.write")
    quantity_of(part, quantity)
    price_of(part, price)
    waiting_locked([part])
    came = lot_arrived(part=part, number=lot, quantity=quantity, supplier_id=None)
    movement = moved(
        part=part, kind=MovementKind.RECEIVED, by=by, shelf=quantity, lot=came, price=price, why=why
    )  # fmt: skip
    words = _("{quantity} × {part} taken in.").format(quantity=quantity, part=part.number)
    trail_record(by=by, kind="shelf.received", words=words)
    needs_served(part=part, by=by)
    return movement


@transaction.atomic
def scrap(*, part: Part, by: User, quantity: int, why: str, lot: Lot | None = None, core: bool = False) -> Movement:
    """Throw pieces away, of the shelf or, with `core`, of those that wait to be rebuilt. Where too few are left for
    what is reserved, reservations are released, what asked last first."""
    require(by, "shelf.write")
    quantity_of(part, quantity)
    if not why.strip():
        raise ShopError(_("Say why {part} is scrapped.").format(part=part.number))
    if core:
        movement = moved(part=part, kind=MovementKind.SCRAPPED, by=by, cores=-quantity, why=why)
    else:
        waiting_locked([part])
        if lot is not None:
            lot = Lot.objects.select_for_update().get(pk=lot.pk)
        promised_down(part=part, leaving=0 if lot and lot.barred else quantity, by=by, why=_("scrapped"))
        movement = moved(part=part, kind=MovementKind.SCRAPPED, by=by, shelf=-quantity, lot=lot, why=why)
    words = _("{quantity} × {part} scrapped. {why}").format(quantity=quantity, part=part.number, why=why.strip())
    trail_record(by=by, kind="shelf.scrapped", words=words)
    return movement


@transaction.atomic
def core_in(*, part: Part, by: User, quantity: int = 1, why: str = "") -> Movement:
    """A part that came off, kept to be rebuilt."""
    require(by, "shelf.issue")
    quantity_of(part, quantity)
    _refuse_not_rebuildable(part)
    movement = moved(part=part, kind=MovementKind.CORE, by=by, cores=quantity, why=why)
    words = _("{quantity} × core of {part} taken back.").format(quantity=quantity, part=part.number)
    trail_record(by=by, kind="shelf.core", words=words)
    return movement


@transaction.atomic
def rebuilt(*, part: Part, by: User, quantity: int = 1, lot: str = "", why: str = "") -> Movement:
    """Cores that were rebuilt are on the shelf again, as stock of the same part."""
    require(by, "shelf.write")
    quantity_of(part, quantity)
    _refuse_not_rebuildable(part)
    waiting_locked([part])
    came = lot_arrived(part=part, number=lot, quantity=quantity, supplier_id=None)
    movement = moved(
        part=part, kind=MovementKind.REBUILT, by=by, shelf=quantity, cores=-quantity, lot=came, why=why
    )  # fmt: skip
    words = _("{quantity} × {part} rebuilt and back on the shelf.").format(quantity=quantity, part=part.number)
    trail_record(by=by, kind="shelf.rebuilt", words=words)
    needs_served(part=part, by=by)
    return movement


@transaction.atomic
def lot_bar(*, lot: Lot, by: User, why: str) -> Lot:
    """Nothing of this batch is to be fitted any more, and what was reserved of it is missing; '' takes the bar away."""
    require(by, "shelf.write")
    waiting_locked([lot.part])
    lot = Lot.objects.select_for_update(of=("self",)).select_related("part").get(pk=lot.pk)
    why = why.strip()[:200]
    if lot.barred == why:
        raise Conflict(_("Nothing changed for {lot}.").format(lot=lot.number))
    if not lot.barred:
        promised_down(part=lot.part, leaving=lot.quantity, by=by, why=_("{lot} is barred").format(lot=lot.number))
    lot.barred = why
    lot.save(update_fields=["barred"])
    if not why:
        needs_served(part=lot.part, by=by)
    words = (
        _("{part} {lot} is barred: {why}") if lot.barred else _("{part} {lot} may be fitted again.")
    ).format(part=lot.part.number, lot=lot.number, why=lot.barred)  # fmt: skip
    trail_record(by=by, kind="shelf.barred", words=words)
    return lot


def _refuse_not_rebuildable(part: Part) -> None:
    if not part.rebuildable:
        raise ShopError(
            _("{part} is not a part that is rebuilt; say so in the catalogue first.").format(part=part.number)
        )
