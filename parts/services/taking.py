"""A unit that is fitted comes off the shelf in the same act, and one that is taken back lies there again.

The diagnostics app books the unit (work on a position); what it is taken from is asked here, inside its transaction.
"""

from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.fitting import Fitted
from diagnostics.models import Unit
from parts.models import Lot, Movement, MovementKind, Need, NeedState, Part, Stock, Tracking
from parts.services.ledger import moved, stock_locked, stocks_locked
from parts.services.waiting import held_up, released, served_afterwards
from shop.errors import Conflict, ShopError
from shop.models import Job, User
from shop.services import trail_record


def take_for_unit(fitted: Fitted) -> None:
    """Book the piece of a unit off the shelf, first of all what is reserved for its job, and the core that came off in.

    Nothing is booked for a part that this shop never kept. ShopError or Conflict where a part that it keeps is not
    there and nobody says where it came from.
    """
    part = Part.objects.filter(number__iexact=fitted.unit.part).first()
    core = _core_of(fitted.old) if fitted.old is not None and fitted.core_kept else None
    need = open_need(fitted.job, part, fitted.unit.position) if part else None
    stocks_locked(one for one in (part, core) if one is not None)
    if part is not None:
        kept = Stock.objects.filter(part=part, moves__gt=0).exists()
        if kept and not fitted.elsewhere:
            _take(fitted, part, need)
        elif need is not None:
            _one_less(need, fitted.by)
        if kept and fitted.elsewhere:
            _told_elsewhere(fitted, part)
        held_up(job=fitted.job, by=fitted.by)
    if core is not None:
        moved(part=core, kind=MovementKind.CORE, by=fitted.by, cores=1, job=fitted.job)


def issue(*, part: Part, job: Job, by: User, quantity: int, lot: Lot | None, unit: Unit | None, why: str) -> Movement:
    """Pieces off the shelf to a job, out of its needs first; inside a transaction."""
    need = open_need(job, part, unit.position if unit else "")
    held = min(need.held, quantity) if need else 0
    movement = moved(
        part=part, kind=MovementKind.ISSUED, by=by, shelf=-quantity, reserved=-held,
        lot=lot, job=job, need=need, unit=unit, why=why,
    )  # fmt: skip
    if need is None:
        return movement
    need.held -= held
    need.issued = out_of_need(need)
    if need.issued == need.quantity:
        need.state = NeedState.ISSUED
        _task_part_here(need)
    need.save(update_fields=["held", "issued", "state"])
    return movement


def out_of_need(need: Need) -> int:
    """Pieces handed out for a need by the ledger, of those that it asks for."""
    return min(-sum(need.movements.values_list("shelf", flat=True)), need.quantity)


def open_need(job: Job, part: Part, position: str) -> Need | None:
    """What the job asked for of this part: for that position, else for any."""
    rows = Need.objects.select_for_update(of=("self",)).select_related("part", "task_part")
    needs = list(rows.filter(job=job, part=part, state=NeedState.OPEN))
    here = [need for need in needs if need.position == position]
    anywhere = [need for need in needs if not need.position or not position]
    return next(iter(here + anywhere), None)


def _take(fitted: Fitted, part: Part, need: Need | None) -> None:
    stock = stock_locked(part)
    if stock.free + (need.held if need else 0) < 1:
        raise Conflict(
            _(
                "No {part} is free on the shelf ({there} there, {reserved} reserved). If it came from elsewhere, say"
                " from where, such as the customer’s own."
            ).format(part=part.number, there=stock.shelf, reserved=stock.reserved)
        )
    lot = _lot_of(fitted, part)
    issue(part=part, job=fitted.job, by=fitted.by, quantity=1, lot=lot, unit=fitted.unit, why="")


def _lot_of(fitted: Fitted, part: Part) -> Lot | None:
    """The piece with the unit's serial number; of a part followed by batch the oldest that nothing stands against."""
    if part.tracking == Tracking.NONE:
        if fitted.lot:
            raise ShopError(_("{part} is not followed by batch or serial number.").format(part=part.number))
        return None
    return lot_named(part, fitted.unit.serial if part.tracking == Tracking.SERIAL else fitted.lot)


def lot_named(part: Part, number: str) -> Lot:
    """The batch or serial number that a piece is taken from; of a batch that nobody named the oldest that nothing
    stands against. ShopError or Conflict where there is none or it is barred."""
    lots = Lot.objects.filter(part=part, quantity__gt=0)
    usable = lots.filter(barred="")
    if number:
        lot = lots.filter(number__iexact=number).first()
    else:
        lot = usable.first() if part.tracking == Tracking.BATCH else None
    if lot is None:
        known = ", ".join(usable.values_list("number", flat=True)[:5]) or _("none")
        raise ShopError(
            _("Which piece of {part} is it? Expected a {kind} that is on the shelf: {known}.").format(
                part=part.number,
                kind=_("batch number") if part.tracking == Tracking.BATCH else _("serial number"),
                known=known,
            )
        )
    if lot.barred:
        raise Conflict(_("{part} {lot} is barred: {why}").format(part=part.number, lot=lot.number, why=lot.barred))
    return lot


def _told_elsewhere(fitted: Fitted, part: Part) -> None:
    words = _("{part} at {position} did not come off the shelf: {why}").format(
        part=part.number, position=fitted.unit.position, why=fitted.elsewhere
    )
    trail_record(by=fitted.by, kind="shelf.elsewhere", words=words, job=fitted.job)


def _one_less(need: Need, by: User) -> None:
    """The unit came from elsewhere: the job needs one piece less from the shelf, and what was reserved is free."""
    if need.held > need.quantity - need.issued - 1:
        released(need=need, quantity=1, by=by, why=_("fitted from elsewhere"))
        served_afterwards([need.part], by)
    if need.quantity - need.issued > 1:
        need.quantity -= 1
    else:
        need.state = NeedState.ISSUED if need.issued else NeedState.DROPPED
        _task_part_here(need)
    need.save(update_fields=["quantity", "state"])


def _core_of(old: Unit) -> Part:
    part = Part.objects.filter(number__iexact=old.part, rebuildable=True).first()
    if part is None:
        raise ShopError(_("{part} is not a part that is rebuilt here.").format(part=old.part or _("This part")))
    return part


def _task_part_here(need: Need) -> None:
    if need.task_part is not None and need.task_part.here_on is None:
        need.task_part.here_on = timezone.localdate()
        need.task_part.save(update_fields=["here_on"])
