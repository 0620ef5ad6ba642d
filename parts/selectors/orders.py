"""The reads of orders and suppliers."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Prefetch, Q, QuerySet
from django.utils import timezone

from parts.models import Movement, Need, Offer, Order, OrderLine, OrderState, Part, Supplier
from parts.planning.counts import quantiles
from parts.planning.lead_times import LeadTime, days_pmf
from parts.selectors.coming import waiting
from parts.selectors.lead_times import lead_times

A_PAGE = 50
NUMBERS = 200
"""Part numbers that a form offers; any other is typed."""
OVER = (OrderState.CLOSED, OrderState.CANCELLED)


@dataclass(frozen=True, slots=True)
class OrderRow:
    """`late`: days since the day on which it was expected, 0 where that is still to come or not known; `net`: of the
    lines that have a price, `unpriced` others have none; `open` pieces still to come."""

    order: Order
    late: int
    pieces: int
    open: int
    net: Decimal
    unpriced: int


@dataclass(frozen=True, slots=True)
class LineRow:
    """`offer`: what the supplier offers the part for; `net`: price times pieces; `waits`: who misses the part."""

    line: OrderLine
    offer: Offer | None
    net: Decimal | None
    waits: tuple[Need, ...]
    receipts: tuple[Movement, ...]


@dataclass(frozen=True, slots=True)
class Days:
    """Of ten orders one is here within `low` days, five within `middle` and nine within `high`."""

    low: int
    middle: int
    high: int


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """`days`: what is reckoned from `came` orders of which something was delivered and from what is stated; None where
    neither is known. `open` orders are on the way, `late` of them over their day."""

    supplier: Supplier
    days: Days | None
    came: int
    offers: int
    open: int
    late: int


def drafts() -> list[OrderRow]:
    return rows_of(_orders().filter(state=OrderState.DRAFT).order_by("supplier__name"))


def on_the_way(page: int = 1) -> tuple[list[OrderRow], Page[Order]]:
    """Orders that were sent, the latest by their day first, those without any day last."""
    found = _orders().filter(state=OrderState.SENT).order_by(F("expected_on").asc(nulls_last=True), "sent_at", "pk")
    shown = Paginator(found, A_PAGE).get_page(page)
    return rows_of(shown), shown


def over(page: int = 1) -> tuple[list[OrderRow], Page[Order]]:
    found = _orders().filter(state__in=OVER).order_by("-ended_at", "-pk")
    shown = Paginator(found, A_PAGE).get_page(page)
    return rows_of(shown), shown


def late_orders(today: dt.date) -> QuerySet[Order]:
    return _orders().filter(state=OrderState.SENT, expected_on__lt=today).order_by("expected_on", "pk")


def rows_of(orders: Iterable[Order]) -> list[OrderRow]:
    return [row_of(order, list(order.lines.all()), timezone.localdate()) for order in orders]


def row_of(order: Order, lines: Sequence[OrderLine], today: dt.date) -> OrderRow:
    on_its_way = order.state == OrderState.SENT and order.expected_on is not None
    late = (today - order.expected_on).days if on_its_way and order.expected_on is not None else 0
    priced = [net for net in map(net_of, lines) if net is not None]
    return OrderRow(
        order, max(late, 0), sum(line.quantity for line in lines), sum(line.open for line in lines),
        sum(priced, Decimal(0)), len(lines) - len(priced),
    )  # fmt: skip


def net_of(line: OrderLine) -> Decimal | None:
    """What a line costs as ordered, without tax."""
    return None if line.price is None else line.price * line.quantity


def lines_of(order: Order) -> list[LineRow]:
    """The lines with what the supplier offers, who waits for them and what came; four queries."""
    lines = list(
        order.lines.select_related("part", "order").prefetch_related(
            Prefetch("receipts", Movement.objects.filter(undone_by=None, undoes=None).select_related("lot", "by"))
        )
    )
    offers = offers_of(order.supplier, [line.part for line in lines])
    waits: dict[int, list[Need]] = {}
    if order.state in (OrderState.DRAFT, OrderState.SENT):
        for need in waiting([line.part for line in lines]):
            waits.setdefault(need.part_id, []).append(need)
    return [
        LineRow(
            line, offers.get(line.part_id), net_of(line), tuple(waits.get(line.part_id, ())), tuple(line.receipts.all())
        )
        for line in lines
    ]


def offers_of(supplier: Supplier, parts: Iterable[Part]) -> dict[int, Offer]:
    """Part key -> what the supplier offers it for."""
    return {offer.part_id: offer for offer in Offer.objects.filter(supplier=supplier, part__in=list(parts))}


def numbers_to_order(supplier: Supplier | None = None) -> tuple[tuple[str, str], ...]:
    """Numbers and names of parts: those that the supplier offers, or of all that nothing supersedes."""
    parts = Part.objects.filter(superseded_by=None) if supplier is None else Part.objects.filter(
        offers__supplier=supplier
    )  # fmt: skip
    return tuple(parts.values_list("number", "name")[:NUMBERS])


def suppliers(today: dt.date) -> list[SupplierRow]:
    """Everybody who delivers, and how fast; five queries."""
    return _supplier_rows(Supplier.objects.all(), today)


def supplier_row(supplier: Supplier, today: dt.date) -> SupplierRow:
    return _supplier_rows(Supplier.objects.filter(pk=supplier.pk), today)[0]


def _supplier_rows(rows: QuerySet[Supplier], today: dt.date) -> list[SupplierRow]:
    late = Q(orders__state=OrderState.SENT, orders__expected_on__lt=today)
    found = rows.annotate(
        n_open=Count("orders", filter=Q(orders__state=OrderState.SENT), distinct=True),
        n_late=Count("orders", filter=late, distinct=True),
        n_offers=Count("offers", distinct=True),
        n_came=Count("orders", filter=Q(orders__lines__received__gt=0), distinct=True),
    )
    learned = lead_times(today, ())
    return [
        SupplierRow(
            one, _days(one, learned.suppliers.get(one.pk), one.n_came), one.n_came, one.n_offers, one.n_open,
            one.n_late,
        )
        for one in found
    ]  # fmt: skip


def _days(supplier: Supplier, lead: LeadTime | None, came: int) -> Days | None:
    if lead is None or (supplier.lead_days is None and not came):
        return None  # that its orders are late tells no day
    low, middle, high = quantiles(days_pmf(lead), (0.1, 0.5, 0.9))
    return Days(int(low), int(middle), int(high))


def _orders() -> QuerySet[Order]:
    return Order.objects.select_related("supplier").prefetch_related("lines")
