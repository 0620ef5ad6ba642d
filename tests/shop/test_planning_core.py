"""Minutes of work as an axis: an end of work never falls into the night, the break or a closed day."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.planning.durations import Factor
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.simulate import simulate
from shop.planning.workdays import Hours, axis, spans

BERLIN = ZoneInfo("Europe/Berlin")
HOURS = Hours(dt.time(8), dt.time(17), 60, (True,) * 5 + (False,) * 2, "Europe/Berlin")
STARTS = {
    "a Monday": dt.datetime(2026, 11, 23, 8, tzinfo=BERLIN),
    "before summer time": dt.datetime(2026, 3, 27, 15, 20, tzinfo=BERLIN),
    "before winter time": dt.datetime(2026, 10, 23, 15, 20, tzinfo=BERLIN),
}


@pytest.mark.parametrize("start", STARTS.values(), ids=STARTS)
@settings(max_examples=100, deadline=None)
@given(minutes=st.integers(0, 5000))
def test_so_many_minutes_of_work_lie_between_now_and_the_instant_reached(start: dt.datetime, minutes: int) -> None:
    clock = axis(start, HOURS).reached(np.array([float(minutes)]))[0]
    end = dt.datetime.fromtimestamp(float(clock) * 60, dt.UTC)
    assert minutes_between(start, end, HOURS) == pytest.approx(minutes, abs=0.01)


def minutes_between(start: dt.datetime, end: dt.datetime, hours: Hours) -> float:
    """Written plainly: day by day, stretch by stretch."""
    day, last, total = start.date(), end.astimezone(BERLIN).date(), 0.0
    while day <= last:
        for first, until in spans(day, hours):
            total += max(0.0, (min(until, end) - max(first, start)).total_seconds() / 60)
        day += dt.timedelta(days=1)
    return total


def test_ten_hours_from_monday_morning_are_ready_on_tuesday_at_ten() -> None:
    task = PlannedTask(key=1, job=1, planned=600.0, factor=Factor(1.0, 0.0, 0))
    floor = ShopFloor((task,), ((1, None),), (1,), 0, HOURS)
    ready = simulate(floor, STARTS["a Monday"])[1]
    assert ready.likely == dt.datetime(2026, 11, 24, 10, tzinfo=BERLIN)
