"""Minutes of work between instants, in a shop's opening hours and time zone."""

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DAYS = 500
"""How far an axis looks ahead."""


@dataclass(frozen=True, slots=True)
class Hours:
    """Opening hours; `days` from Monday, True where the shop is open. The break lies in the middle of the day."""

    opens: dt.time
    closes: dt.time
    break_minutes: int
    days: tuple[bool, ...]
    zone: str


def spans(day: dt.date, hours: Hours) -> list[tuple[dt.datetime, dt.datetime]]:
    """The stretches of work of a day, aware, in UTC; none on a day on which the shop is closed."""
    if not hours.days[day.weekday()]:
        return []
    opens, closes = (_minute(hours.opens), _minute(hours.closes))
    pause = min(hours.break_minutes, closes - opens)
    middle = (opens + closes - pause) // 2
    cut = [(opens, middle), (middle + pause, closes)] if pause else [(opens, closes)]
    found: list[tuple[dt.datetime, dt.datetime]] = []
    for first, last in cut:
        begins, ends = _at(day, first, hours), _at(day, last, hours)
        # An hour that the clocks skip is told as the one after it: no stretch begins before the last one has ended.
        begins = max(begins, found[-1][1]) if found else begins
        if ends > begins:
            found.append((begins, ends))
    return found


def _minute(at: dt.time) -> int:
    return at.hour * 60 + at.minute


def _at(day: dt.date, minute: int, hours: Hours) -> dt.datetime:
    at = dt.time(minute // 60, minute % 60)
    return dt.datetime.combine(day, at, ZoneInfo(hours.zone)).astimezone(dt.UTC)


@dataclass(frozen=True, slots=True)
class Axis:
    """Minutes of work counted from an instant on, for `days` days; both ways for whole arrays.

    `clock`: minutes since 1970 (UTC) at the edges of the stretches, `work`: minutes of work until there.
    """

    clock: Floats
    work: Floats

    def worked(self, clock: Floats) -> Floats:
        """Minutes of work at minutes since 1970; within the axis, else its ends."""
        return np.interp(clock, self.clock, self.work)

    def reached(self, work: Floats) -> Floats:
        """Minutes since 1970 at which so many minutes of work are over; beyond the axis it goes on at its pace."""
        within = np.minimum(work, self.work[-1])
        pace = (self.clock[-1] - self.clock[0]) / max(self.work[-1], 1.0)
        # Where nothing is worked the count stands still: the earliest of those instants is the one, and what comes
        # after is counted back from the end of its own stretch, never across the night.
        ends = np.searchsorted(self.work, within)
        return np.asarray(self.clock[ends] - (self.work[ends] - within) + (work - within) * pace)

    def resumed(self, work: Floats) -> Floats:
        """Minutes since 1970 at which work goes on after so many minutes of it: as `reached`, but after a night and not
        before it. At the axis' end its last instant."""
        within = np.minimum(work, self.work[-1])
        begins = np.searchsorted(self.work, within, side="right") - 1
        return np.asarray(self.clock[begins] + (within - self.work[begins]))


def axis(now: dt.datetime, hours: Hours, days: int = DAYS) -> Axis:
    """The axis from `now` (aware) on."""
    first = now.astimezone(ZoneInfo(hours.zone)).date()
    start = now.timestamp() / 60
    clock, work = [start], [0.0]
    for begins, ends in _many_spans(first, days, hours):
        if ends <= start:
            continue
        begins = max(begins, start)
        clock += [begins, ends]
        work += [work[-1], work[-1] + ends - begins]
    return Axis(np.array(clock), np.array(work))


@lru_cache(maxsize=8)
def _many_spans(first: dt.date, days: int, hours: Hours) -> tuple[tuple[float, float], ...]:
    return tuple(
        (begins.timestamp() / 60, ends.timestamp() / 60)
        for count in range(days)
        for begins, ends in spans(first + dt.timedelta(days=count), hours)
    )
