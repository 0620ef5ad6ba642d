"""Orders: drafted, sent, received in parts, given up; each receipt is a movement of the ledger."""

import datetime as dt
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.models import Movement, MovementKind, Offer, Order, OrderLine, OrderState, Part, Supplier
from parts.selectors.lead_times import expected_day
from parts.services.ledger import lot_arrived, moved, price_of, quantity_of
from parts.services.waiting import held_up_by, needs_served, waiting_locked
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record
from shop.words import day_words


@transaction.atomic
def order_line_add(
    *, supplier: Supplier, part: Part, by: User, quantity: int, why: str = "", price: Decimal | None = None
) -> OrderLine:
    """Put pieces on the supplier's draft, which is begun where there is none; pieces of a part that is on it already
    are added to its line. The price is that of the supplier's offer unless told; whole packs only."""
    require(by, "order.write")
    offer = _offer_of(supplier, part, quantity)
    if price_of(part, price) is None and offer is not None:
        price = offer.price
    order = _draft(supplier, by)
    line = OrderLine.objects.filter(order=order, part=part).first()
    if line is None:
        line = OrderLine(order=order, part=part, quantity=0)
    line.quantity += quantity
    line.price = price if price is not None else line.price
    line.why = why.strip()[:240] or line.why
    line.save()
    words = _("{quantity} × {part} put on the draft {order} to {supplier}.").format(
        quantity=quantity, part=part.number, order=order.number, supplier=supplier
    )
    trail_record(by=by, kind="order.line", words=words)
    return line


@transaction.atomic
def order_line_change(*, line: OrderLine, by: User, quantity: int, price: Decimal | None = None) -> OrderLine | None:
    """Another number on a draft, and another price where one is told; 0 pieces take the line off it (and the answer is
    None)."""
    require(by, "order.write")
    price_of(line.part, price)
    order = _locked(line.order, OrderState.DRAFT)
    line = OrderLine.objects.get(pk=line.pk)
    if quantity == 0:
        words = _("{part} taken off {order}.").format(part=line.part.number, order=order.number)
        OrderLine.objects.filter(pk=line.pk).delete()
        trail_record(by=by, kind="order.line", words=words)
        return None
    _offer_of(order.supplier, line.part, quantity)
    line.quantity = quantity
    line.price = line.price if price is None else price
    line.save(update_fields=["quantity", "price"])
    words = _("{order}: {quantity} × {part}.").format(order=order.number, quantity=quantity, part=line.part.number)
    trail_record(by=by, kind="order.line", words=words)
    return line


@transaction.atomic
def order_send(
    *, order: Order, by: User, expected_on: dt.date | None = None, their_reference: str = "", note: str = ""
) -> Order:
    """The order has gone out. The day expected is what the supplier said, else what its deliveries so far tell; it may
    stay open where nobody ever said and nothing came yet. `note`: what the paper says to the supplier."""
    require(by, "order.write")
    order = _locked(order, OrderState.DRAFT)
    lines = list(order.lines.select_related("part"))
    if not lines:
        raise ShopError(_("{order} has no line; there is nothing to send.").format(order=order.number))
    today = timezone.localdate()
    if expected_on is not None and expected_on < today:
        raise ShopError(_("{day} has passed; expected today or later.").format(day=day_words(expected_on)))
    waiting_locked([line.part for line in lines])
    order.state, order.sent_at = OrderState.SENT, timezone.now()
    order.expected_on = expected_on or expected_day(order.supplier, [line.part for line in lines], today)
    order.their_reference = their_reference.strip()[:60]
    order.note = note.strip()[:200]
    order.save()
    words = _("{order} sent to {supplier}.").format(order=order.number, supplier=order.supplier)
    trail_record(by=by, kind="order.sent", words=words)
    held_up_by(parts=[line.part for line in lines], by=by)
    return order


@transaction.atomic
def order_confirm(*, order: Order, by: User, expected_on: dt.date, their_reference: str = "") -> Order:
    """The supplier said when it comes, for the first time or anew; what waits for it says so."""
    require(by, "order.write")
    order = _locked(order, OrderState.SENT)
    if expected_on < timezone.localdate():
        raise ShopError(_("{day} has passed; expected today or later.").format(day=day_words(expected_on)))
    parts = [line.part for line in order.lines.select_related("part")]
    waiting_locked(parts)
    order.expected_on = expected_on
    order.their_reference = their_reference.strip()[:60] or order.their_reference
    order.save(update_fields=["expected_on", "their_reference"])
    words = _("{order} is expected {day}.").format(order=order.number, day=day_words(expected_on))
    trail_record(by=by, kind="order.confirmed", words=words)
    held_up_by(parts=parts, by=by)
    return order


@transaction.atomic
def order_receive(
    *,
    line: OrderLine,
    by: User,
    quantity: int,
    lot: str = "",
    price: Decimal | None = None,
    surplus_why: str = "",
) -> Movement:
    """Pieces of a line came in. More than is still to come only with a reason; the last piece closes the order."""
    require(by, "shelf.write")
    quantity_of(line.part, quantity)
    price_of(line.part, price)
    order, line = _line_locked(line)
    if quantity > line.open and not surplus_why.strip():
        raise ShopError(
            _(
                "{order}: {came} × {part} came, {open} of {ordered} were still to come. Say why you take the surplus."
            ).format(
                order=order.number, came=quantity, part=line.part.number, open=line.open, ordered=line.quantity
            )
        )  # fmt: skip
    came = lot_arrived(part=line.part, number=lot, quantity=quantity, supplier_id=order.supplier_id)
    paid = price if price is not None else line.price
    if quantity > line.open:
        line.surplus_why = surplus_why.strip()[:200]
    line.received += quantity
    line.save(update_fields=["received", "surplus_why"])
    movement = moved(
        part=line.part, kind=MovementKind.RECEIVED, by=by, shelf=quantity, lot=came, order_line=line, price=paid,
        why=surplus_why,
    )  # fmt: skip
    words = _("{order}: {quantity} × {part} received.").format(
        order=order.number, quantity=quantity, part=line.part.number
    )
    trail_record(by=by, kind="order.received", words=words)
    _closed_when_all_here(order)
    needs_served(part=line.part, by=by)
    return movement


@transaction.atomic
def order_line_give_up(*, line: OrderLine, by: User, why: str) -> OrderLine:
    """What is still open of a line will not come."""
    require(by, "order.write")
    order, line = _line_locked(line)
    if not why.strip():
        raise ShopError(_("Say why {part} will not come.").format(part=line.part.number))
    if not line.open:
        raise Conflict(_("Nothing of {part} is still to come.").format(part=line.part.number))
    line.given_up += line.open
    line.save(update_fields=["given_up"])
    words = _("{order}: the rest of {part} will not come. {why}").format(
        order=order.number, part=line.part.number, why=why.strip()
    )
    trail_record(by=by, kind="order.given-up", words=words)
    _closed_when_all_here(order)
    held_up_by(parts=[line.part], by=by)
    return line


@transaction.atomic
def order_cancel(*, order: Order, by: User, why: str) -> Order:
    """A draft is thrown away, or an order that was sent is called off; not once pieces of it are here."""
    require(by, "order.write")
    order = Order.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order.pk)
    parts = [line.part for line in order.lines.select_related("part")]
    waiting_locked(parts)
    if order.state in (OrderState.CLOSED, OrderState.CANCELLED):
        raise Conflict(_("{order} is over already.").format(order=order.number))
    if order.lines.filter(received__gt=0).exists():
        raise Conflict(_("Pieces of {order} are here; give up what is still to come.").format(order=order.number))
    if order.state == OrderState.SENT and not why.strip():
        raise ShopError(_("Say why {order} is called off.").format(order=order.number))
    order.state, order.ended_at = OrderState.CANCELLED, timezone.now()
    order.note = why.strip()[:200] or order.note
    order.save()
    words = _("{order} called off. {why}").format(order=order.number, why=why.strip()).strip()
    trail_record(by=by, kind="order.cancelled", words=words)
    held_up_by(parts=parts, by=by)
    return order


def _offer_of(supplier: Supplier, part: Part, quantity: int) -> Offer | None:
    """What the supplier offers the part for; ShopError for a quantity that is not in whole packs of theirs."""
    quantity_of(part, quantity)
    offer = Offer.objects.filter(part=part, supplier=supplier).first()
    pack = offer.pack if offer else 1
    if quantity % pack:
        below = quantity - quantity % pack
        raise ShopError(
            _("{supplier} delivers {part} in packs of {pack}; expected {expected} instead of {quantity}.").format(
                supplier=supplier, part=part.number, pack=pack, quantity=quantity,
                expected=_("{less} or {more}").format(less=below, more=below + pack) if below else pack,
            )
        )  # fmt: skip
    return offer


def _draft(supplier: Supplier, by: User) -> Order:
    found = Order.objects.select_for_update().filter(supplier=supplier, state=OrderState.DRAFT).first()
    if found is not None:
        return found
    try:
        with transaction.atomic():
            return Order.objects.create(supplier=supplier, made_by=by, made_at=timezone.now())
    except IntegrityError:
        return Order.objects.select_for_update().get(supplier=supplier, state=OrderState.DRAFT)


def _locked(order: Order, expected: OrderState) -> Order:
    order = Order.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order.pk)
    if order.state != expected:
        raise Conflict(
            _("{order} is “{state}”; expected “{expected}”.").format(
                order=order.number, state=OrderState(order.state).label, expected=expected.label
            )
        )
    return order


def _line_locked(line: OrderLine) -> tuple[Order, OrderLine]:
    """The line of a sent order as it is now, and the jobs that wait for its part held."""
    order = _locked(line.order, OrderState.SENT)
    line = OrderLine.objects.select_for_update(of=("self",)).select_related("part").get(pk=line.pk)
    waiting_locked([line.part])
    return order, line


def _closed_when_all_here(order: Order) -> None:
    if all(line.open == 0 for line in order.lines.all()):
        order.state, order.ended_at = OrderState.CLOSED, timezone.now()
        order.save(update_fields=["state", "ended_at"])
