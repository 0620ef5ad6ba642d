"""Taking a movement back by a counter-entry: the ledger keeps both."""

from django.db import transaction
from django.utils.translation import gettext as _

from parts.models import Movement, MovementKind, Need, NeedState, Order, OrderLine, OrderState
from parts.services.ledger import moved
from parts.services.taking import out_of_need
from parts.services.waiting import held_up, needs_served, out_at, waiting_locked
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record

BY_ANYONE_AT_THE_SHELF = frozenset({MovementKind.ISSUED, MovementKind.RETURNED, MovementKind.CORE})


@transaction.atomic
def movement_undo(*, movement: Movement, by: User, why: str) -> Movement:
    """Take a movement back. Conflict for one that something hangs on, with what to do instead: a unit that was fitted,
    a reservation, pieces that went on to somebody else."""
    require(by, "shelf.issue" if movement.kind in BY_ANYONE_AT_THE_SHELF else "shelf.write")
    if not why.strip():
        raise ShopError(_("Say why this is taken back."))
    order = Order.objects.select_for_update().filter(lines__receipts=movement).first()
    line = OrderLine.objects.select_for_update().filter(receipts=movement).first()
    waiting_locked([movement.part], jobs=[movement.job] if movement.job else [])
    need = Need.objects.select_for_update(of=("self",)).select_related("job").filter(movements=movement).first()
    _refuse(movement)
    again = _held_again(need, movement) if need is not None else 0
    back = moved(
        part=movement.part, kind=MovementKind.UNDONE, by=by, why=why, undoes=movement,
        shelf=-movement.shelf, reserved=again, cores=-movement.cores,
        lot=movement.lot, job=movement.job, need=need, order_line=line,
    )  # fmt: skip
    if order is not None and line is not None:
        _not_received(order, line, movement)
    if need is not None:
        need.issued, need.held = out_of_need(need), need.held + again
        if need.issued < need.quantity and _opens_again(need):
            need.state = NeedState.OPEN
        need.save(update_fields=["issued", "held", "state"])
    words = _("{part}: “{kind}” of {pieces} taken back. {why}").format(
        part=movement.part.number, kind=MovementKind(movement.kind).label, pieces=pieces_of(movement), why=why.strip()
    )
    trail_record(by=by, kind="shelf.undone", words=words, job=movement.job)
    if back.shelf > 0:
        needs_served(part=movement.part, by=by)
    if movement.job is not None:
        held_up(job=movement.job, by=by)
    return back


def may_be_undone(movement: Movement) -> bool:
    """Whether a page offers it; `movement` with its `undone_by` read."""
    kinds = (MovementKind.UNDONE, MovementKind.RESERVED, MovementKind.RELEASED)
    return movement.kind not in kinds and movement.unit_id is None and not hasattr(movement, "undone_by")


def _refuse(movement: Movement) -> None:
    number = movement.part.number
    if movement.kind == MovementKind.UNDONE or Movement.objects.filter(undoes=movement).exists():
        raise Conflict(_("This movement of {part} is taken back already.").format(part=number))
    if movement.kind in (MovementKind.RESERVED, MovementKind.RELEASED):
        raise Conflict(_("What is reserved of {part} follows what its job needs; change it there.").format(part=number))
    if movement.unit is not None:
        raise Conflict(
            _("{part} is fitted at {position}; book it off there and return it to the shelf.").format(
                part=number, position=movement.unit.position
            )
        )
    if movement.kind == MovementKind.ISSUED and movement.job is not None:
        out = out_at(movement.part, movement.job)
        if out < pieces_of(movement):
            raise Conflict(
                _("{job} has only {out} × {part} of these yet; the others came back.").format(
                    job=movement.job.number, out=out, part=number
                )
            )


def _held_again(need: Need, movement: Movement) -> int:
    """Pieces that are reserved for the need once more: those that were when they were handed out, as far as it still
    asks for them."""
    out = -sum(need.movements.values_list("shelf", flat=True)) + movement.shelf
    left = need.quantity - out - need.held
    return max(min(-movement.reserved, left), 0) if _opens_again(need) else 0


def _opens_again(need: Need) -> bool:
    """The job still runs and nobody has asked anew meanwhile."""
    others = Need.objects.filter(job=need.job, part=need.part, position=need.position, state=NeedState.OPEN)
    return need.job.is_open and not others.exclude(pk=need.pk).exists()


def _not_received(order: Order, line: OrderLine, movement: Movement) -> None:
    line.received -= movement.shelf
    line.save(update_fields=["received"])
    if order.state == OrderState.CLOSED and line.open:
        order.state, order.ended_at = OrderState.SENT, None
        order.save(update_fields=["state", "ended_at"])


def pieces_of(movement: Movement) -> int:
    """How many pieces a movement is about."""
    return abs(movement.shelf or movement.reserved or movement.cores)
