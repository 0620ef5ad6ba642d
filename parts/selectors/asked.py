"""How many pieces of each part were asked for in each month so far."""

import datetime as dt
from collections.abc import Sequence

import numpy as np
from django.db.models import Count, Min, Sum
from django.db.models.functions import TruncMonth
from django.utils import timezone

from diagnostics.models import Unit
from parts.models import Movement, MovementKind
from parts.planning.counts import Floats
from shop.models import Job

MOST_MONTHS = 60
"""What was longer ago says little of today's cars."""


def asked_by_month(chains: Sequence[Sequence[str]], today: dt.date) -> Floats:
    """(chains, months): pieces fitted in cars, and handed out that are no unit, in each whole month before `today`, the
    oldest first, since the shop's first job (at most MOST_MONTHS). `chains`: numbers of the parts that count as one.

    What was fitted before the shop kept a ledger counts as well: its cars' units tell of it.
    """
    begin = _begin()
    now = today.year * 12 + today.month - 1
    first = max(begin if begin is not None else now, now - MOST_MONTHS)
    found = np.zeros((len(chains), max(now - first, 0)))
    place = {number.casefold(): row for row, chain in enumerate(chains) for number in chain}
    since = dt.date(first // 12, first % 12 + 1, 1)
    for number, month, pieces in [*_fitted(since), *_handed_out(since)]:
        row, at = place.get(number.casefold()), month - first
        if row is not None and 0 <= at < found.shape[1]:
            found[row, at] += pieces
    # More brought back in a month than handed out: the rest belongs to months before.
    return np.maximum(found, 0.0)


def _fitted(since: dt.date) -> list[tuple[str, int, int]]:
    rows = (
        Unit.objects.filter(fitted_on__gte=since)
        .order_by()
        .values_list("part", TruncMonth("fitted_on"))
        .annotate(pieces=Count("pk"))
    )
    return [(part, _month(day), pieces) for part, day, pieces in rows]


def _handed_out(since: dt.date) -> list[tuple[str, int, int]]:
    kinds = (MovementKind.ISSUED, MovementKind.RETURNED)
    rows = (
        Movement.objects.filter(kind__in=kinds, unit__isnull=True, undone_by__isnull=True, at__date__gte=since)
        .order_by()
        .values_list("part__number", TruncMonth("at"))
        .annotate(pieces=Sum("shelf"))
    )
    return [(part, _month(timezone.localdate(at)), -pieces) for part, at, pieces in rows]


def _begin() -> int | None:
    """The month of the shop's first job."""
    first = Job.objects.aggregate(first=Min("opened_at"))["first"]
    return _month(timezone.localdate(first)) if first is not None else None


def _month(day: dt.date) -> int:
    return day.year * 12 + day.month - 1
