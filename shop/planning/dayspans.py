"""Stretches of time as a page of days shows them: cut at midnight, side by side where they overlap, on a scale."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class Piece:
    """What one day has of a stretch, as minutes by the clock on the wall: `0 <= first < last <= 1440`. `begins`: the
    stretch begins on this day; it may be the same stretch's second day."""

    day: dt.date
    first: int
    last: int
    begins: bool


@dataclass(frozen=True, slots=True)
class Lane:
    """Place beside others: number `index` of `count`."""

    index: int
    count: int


def pieces(starts_at: dt.datetime, ends_at: dt.datetime, zone: dt.tzinfo) -> list[Piece]:
    """The days of a stretch, in `zone`. Both ends aware, the end after the start.

    A stretch that ends on the wall's clock no later than it began (clocks went back in between) gets its shortest
    piece, a quarter of an hour, so that it is seen.
    """
    here, until = starts_at.astimezone(zone), ends_at.astimezone(zone)
    out, day = [], here.date()
    while day <= until.date():
        first = _minute(here) if day == here.date() else 0
        last = _minute(until) if day == until.date() else DAY_MINUTES
        begins = day == here.date()
        if last > first:
            out.append(Piece(day, first, last, begins))
        elif begins:
            first = min(first, DAY_MINUTES - 15)
            out.append(Piece(day, first, first + 15, True))
        day += dt.timedelta(days=1)
    return out


def _minute(at: dt.datetime) -> int:
    return at.hour * 60 + at.minute


def lanes(spans: Sequence[tuple[int, int]]) -> list[Lane]:
    """A lane for each span (first, last), so that none covers another; spans that touch through others share a count.

    Greedy by start, which needs as few lanes as overlap at once.
    """
    order = sorted(range(len(spans)), key=lambda n: spans[n])
    found: dict[int, Lane] = {}
    group: list[tuple[int, int]] = []  # (number, lane) of the spans that hang together
    ends: list[int] = []
    for number in order:
        first, last = spans[number]
        if group and first >= max(ends):
            found |= {n: Lane(at, len(ends)) for n, at in group}
            group, ends = [], []
        free = next((at for at, end in enumerate(ends) if end <= first), len(ends))
        ends[free : free + 1] = [last]
        group.append((number, free))
    found |= {n: Lane(at, len(ends)) for n, at in group}
    return [found[n] for n in range(len(spans))]


def hours_shown(opens: dt.time, closes: dt.time, spans: Sequence[tuple[int, int]]) -> tuple[int, int]:
    """First and last hour of the scale: the opening hours, and whatever else there is."""
    first = min([opens.hour * 60, *(one for one, _last in spans)])
    last = max([closes.hour * 60 + closes.minute, *(one for _first, one in spans)])
    return first // 60, -(-last // 60)
