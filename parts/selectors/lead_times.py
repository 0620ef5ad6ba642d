"""How long deliveries take, as orders and receipts tell (parts/planning/lead_times.py)."""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

from django.db.models import Count, Sum
from django.db.models.functions import TruncDate
from django.utils import timezone

from parts.models import Movement, MovementKind, Offer, OrderLine, OrderState, Part, Supplier
from parts.planning.counts import quantiles
from parts.planning.lead_times import LeadTime, LeadTimes, Wait, days_pmf, learn

SURE = 0.8
"""An order is told to be expected on the day by which so many of its like are here."""
SAME_DAY = 0.5
"""Days that “none” counts as: the logarithm of nought says nothing."""


def lead_times(today: dt.date, parts: Iterable[Part] | None = None) -> LeadTimes:
    """What the shop's orders tell of its suppliers, and what these state, on that day; three queries. Of `parts` alone
    where they are named: what is learned of the others one by one is then left out, and takes no time."""
    stated = Supplier.objects.filter(lead_days__isnull=False).values_list("pk", "lead_days")
    apart = None if parts is None else {part.pk for part in parts}
    return learn(_waits(today, apart), {key: max(float(days or 0), SAME_DAY) for key, days in stated})


def deliveries() -> dict[int, int]:
    """Supplier key -> number of orders of which pieces came; one query."""
    came = Movement.objects.filter(kind=MovementKind.RECEIVED, order_line__isnull=False, undone_by__isnull=True)
    rows = came.order_by().values_list("order_line__order__supplier")
    return dict(rows.annotate(n=Count("order_line__order", distinct=True)))


def of_part(learned: LeadTimes, offer: Offer | None) -> LeadTime:
    """How long an order of an offer takes: what came so far, and before that what is stated for this part itself."""
    if offer is None:
        return learned.shop
    found = learned.of(offer.supplier_id, offer.part_id)
    if offer.lead_days is not None and found.basis != "part":
        return LeadTime(max(float(offer.lead_days), SAME_DAY), found.spread, 0, "stated")
    return found


def sure_days(lead: LeadTime) -> int:
    """Days by which SURE of such orders are here."""
    return int(quantiles(days_pmf(lead), (SURE,))[0])


def expected_day(supplier: Supplier, parts: Sequence[Part], today: dt.date) -> dt.date | None:
    """The day by which an order sent today is here with good certainty, its slowest part counted; None where the
    supplier never delivered nor stated anything: that its orders are late tells no day."""
    offers = {offer.part_id: offer for offer in Offer.objects.filter(supplier=supplier, part__in=list(parts))}
    known = supplier.lead_days is not None or supplier.pk in deliveries()
    told = [part for part in parts if known or (part.pk in offers and offers[part.pk].lead_days is not None)]
    if not told:
        return None
    learned = lead_times(today, told)
    leads = [of_part(learned, offers.get(part.pk) or Offer(supplier=supplier, part=part)) for part in told]
    return today + dt.timedelta(days=max(sure_days(lead) for lead in leads))


def _waits(today: dt.date, apart: set[int] | None) -> Iterator[Wait]:
    """What came of each order line and when, and what is still open; what was given up is left out. Parts that are not
    to be told `apart` go as one, 0, which is none's key."""
    came = (
        Movement.objects.filter(kind=MovementKind.RECEIVED, order_line__isnull=False, undone_by__isnull=True)
        .order_by()
        .annotate(day=TruncDate("at"), sent=TruncDate("order_line__order__sent_at"))
        .values_list("order_line__order__supplier", "part", "order_line__order", "sent", "day")
        .annotate(pieces=Sum("shelf"))
    )
    for supplier, part, order, sent, day, pieces in came:
        if sent is not None:
            yield Wait(supplier, _key(part, apart), order, max((day - sent).days, 0), pieces, True)
    for line in OrderLine.objects.filter(order__state=OrderState.SENT).select_related("order"):
        if line.open and line.order.sent_at is not None:
            days = (today - timezone.localdate(line.order.sent_at)).days
            yield Wait(
                line.order.supplier_id, _key(line.part_id, apart), line.order_id, max(days, 0), line.open, False
            )  # fmt: skip


def _key(part: int, apart: set[int] | None) -> int:
    return part if apart is None or part in apart else 0
