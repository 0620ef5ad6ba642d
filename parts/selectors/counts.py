"""A stocktake as its page shows it."""

from dataclasses import dataclass

from parts.models import CountLine, Part, Stocktake

UNCOUNTED = 60
"""Parts still to count that the page names at once."""


@dataclass(frozen=True, slots=True)
class Count:
    """`lines`: what was counted, the last first. `differing`: how many of them differ from what the ledger had.
    `uncounted`: parts with pieces of which nothing was counted, by place; `more`: how many beyond those named."""

    stocktake: Stocktake
    lines: tuple[CountLine, ...]
    differing: int
    uncounted: tuple[Part, ...]
    more: int


def count_of(stocktake: Stocktake) -> Count:
    """Two queries; three while it is open."""
    lines = tuple(stocktake.lines.select_related("part", "lot", "by").order_by("-at", "-pk"))
    differing = sum(1 for line in lines if line.difference)
    if stocktake.closed_at is not None:
        return Count(stocktake, lines, differing, (), 0)
    left = Part.objects.filter(stock__shelf__gt=0).exclude(pk__in={line.part_id for line in lines})
    total = left.count()
    uncounted = tuple(left.order_by("place", "number")[:UNCOUNTED])
    return Count(stocktake, lines, differing, uncounted, total - len(uncounted))
