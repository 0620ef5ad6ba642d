"""An order as it leaves the shop: a paper for the supplier, and a table for a spreadsheet."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import BODY, CELL, CELL_BOLD, CELL_RIGHT, SOFT_SMALL, STRONG, TITLE, Flow, facts, table, text
from diagnostics.paper.marks import Seam
from parts.models import Order, OrderState
from parts.selectors.orders import LineRow
from shop.estimates import money_words
from shop.models import ShopProfile
from shop.words import day_words


def order_pdf(order: Order, lines: Sequence[LineRow]) -> bytes:
    """The order on A4: who orders from whom, the lines with both numbers, and the sum without tax."""
    fonts_ready()
    shop = ShopProfile.objects.first() or ShopProfile()
    title = _("Order {number}").format(number=order.number)
    whole = Paper(
        title=title,
        author=shop.name,
        subject=str(order.supplier),
        running=order.number,
        head=f"{shop.name} · {title}" if shop.name else title,
        issued_at=order.sent_at or order.made_at,
    )
    return whole.made_of(_story(order, lines, shop))[0]


def order_rows(order: Order, lines: Sequence[LineRow]) -> Iterator[tuple[object, ...]]:
    """The rows of its table, the first one names the columns."""
    currency = (ShopProfile.objects.first() or ShopProfile()).currency
    yield (
        _("Order"), _("Supplier"), _("Their number"), _("Part number"), _("Name"), _("Pieces"), _("Price"), _("Sum"),
        _("Currency"), _("Received"), _("Still to come"),
    )  # fmt: skip
    for row in lines:
        line = row.line
        yield (
            order.number, str(order.supplier), row.offer.their_number if row.offer else "", line.part.number,
            line.part.name, line.quantity, _blank(line.price), _blank(row.net), currency, line.received, line.open,
        )  # fmt: skip


def _blank(amount: Decimal | None) -> object:
    return "" if amount is None else amount


def _story(order: Order, lines: Sequence[LineRow], shop: ShopProfile) -> list[Flow]:
    sender = [text(shop.name, STRONG)] if shop.name else []
    sender += [text(words, SOFT_SMALL) for words in (shop.address, shop.phone, shop.email) if words]
    told = [
        (_("To"), "\n".join(filter(None, (order.supplier.name, order.supplier.email)))),
        (_("Day"), day_words(order.sent_at or timezone.now())),
        (_("Your reference"), order.their_reference),
        (_("Expected on"), day_words(order.expected_on)),
    ]
    state = {
        OrderState.DRAFT: _("Draft: not ordered yet."),
        OrderState.CANCELLED: _("Called off. {why}").format(why=order.note).strip(),
    }.get(OrderState(order.state))
    story = [*sender, Seam(), text(_("Order {number}").format(number=order.number), TITLE)]
    story += [text(state, STRONG)] if state else []
    story += [facts(told, label=0.2), _lines(lines, shop.currency), *_sum(lines, shop.currency)]
    if order.note and order.state != OrderState.CANCELLED:
        story += [Seam(), text(order.note, BODY)]
    return story


def _lines(lines: Sequence[LineRow], currency: str) -> Flow:
    heads = (_("Your number"), _("Our number"), _("Name"), _("Pieces"), _("Price"), _("Sum"))
    rows = [
        [
            text(row.offer.their_number if row.offer else "", CELL),
            text(row.line.part.number, CELL_BOLD),
            text(row.line.part.name, CELL),
            text(str(row.line.quantity), CELL_RIGHT),
            text(_money(row.line.price, currency), CELL_RIGHT),
            text(_money(row.net, currency), CELL_RIGHT),
        ]
        for row in lines
    ]
    return table(heads, rows, (0.18, 0.19, 0.27, 0.09, 0.13, 0.14), right=(3, 4, 5))


def _money(amount: Decimal | None, currency: str) -> str:
    return "–" if amount is None else money_words(amount, currency)


def _sum(lines: Sequence[LineRow], currency: str) -> list[Flow]:
    priced = [row.net for row in lines if row.net is not None]
    words = [text(_("Sum without tax: {sum}").format(sum=money_words(sum(priced, Decimal(0)), currency)), STRONG)]
    if len(priced) < len(lines):
        words.append(text(_("Lines without a price are not in the sum: please state it."), SOFT_SMALL))
    return words
