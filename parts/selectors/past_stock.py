"""The shelf as it stood at the end of a past day, from what moved until then."""

import datetime as dt

from django.db.models import QuerySet, Sum
from django.utils import timezone

from parts.models import Movement, Need, NeedState, OrderLine, Part
from parts.planning.part_plan import Stock
from parts.services.waiting import LIKELY


def past_stock(day: dt.date) -> dict[str, Stock]:
    """Part number -> pieces on the shelf, on order, and promised to jobs at the end of `day`; four queries.

    The books do not say when a piece was given up or a need was dropped: what is so now counts as so then.
    """
    after = timezone.make_aware(dt.datetime.combine(day + dt.timedelta(days=1), dt.time.min))
    moved = Movement.objects.filter(at__lt=after)
    # Later rows of a part write over earlier ones.
    shelf = dict(moved.order_by("part", "seq").values_list("part", "shelf_after"))
    coming, promised = _coming(moved, after), _promised(moved, after)
    return {
        number: Stock(shelf.get(key, 0), coming.get(key, 0), promised.get(key, 0))
        for key, number in Part.objects.values_list("pk", "number")
    }


def _coming(moved: QuerySet[Movement], after: dt.datetime) -> dict[int, int]:
    """Sent by then, and neither over nor here."""
    came = _sums(moved.filter(order_line__isnull=False), "order_line")
    found: dict[int, int] = {}
    lines = OrderLine.objects.filter(order__sent_at__lt=after).exclude(order__ended_at__lt=after)
    for key, part, quantity, given_up in lines.values_list("pk", "part", "quantity", "given_up"):
        found[part] = found.get(part, 0) + max(quantity - given_up - came.get(key, 0), 0)
    return found


def _promised(moved: QuerySet[Movement], after: dt.datetime) -> dict[int, int]:
    out = _sums(moved.filter(need__isnull=False), "need")
    found: dict[int, int] = {}
    needs = Need.objects.filter(asked_at__lt=after, chance__gte=LIKELY).exclude(state=NeedState.DROPPED)
    for key, part, quantity in needs.values_list("pk", "part", "quantity"):
        found[part] = found.get(part, 0) + max(quantity + out.get(key, 0), 0)  # handed out is below nought
    return found


def _sums(moved: QuerySet[Movement], by: str) -> dict[int, int]:
    return dict(moved.order_by().values_list(by).annotate(pieces=Sum("shelf")))
