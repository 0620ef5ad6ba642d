"""Minutes of work as an axis: an end of work never falls into the night, the break or a closed day. What days away,
bays, bookings and three points make of the day on which a job is ready."""

import datetime as dt
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.planning.draws import minutes_left
from shop.planning.durations import AS_SAID, TRADE_MEDIAN, Factor, factors
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.layout import laid_out
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
    floor = ShopFloor((task,), ((1, None),), (1,), (), HOURS)
    ready = simulate(floor, STARTS["a Monday"])[1]
    assert ready.likely == dt.datetime(2026, 11, 24, 10, tzinfo=BERLIN)


def certain(key: int, planned: float, **more: Any) -> PlannedTask:
    """A task that takes what is planned."""
    return PlannedTask(key=key, job=key, planned=planned, factor=Factor(1.0, 0.0, 0), **more)


def day(number: int, hour: int) -> dt.datetime:
    return dt.datetime(2026, 11, number, hour, tzinfo=BERLIN)


def ready_of(*tasks: PlannedTask, people: tuple[int, ...] = (7,), **floor: Any) -> dict[int, dt.datetime]:
    promised = tuple((task.job, None) for task in tasks)
    found = simulate(ShopFloor(tasks, promised, people, floor.pop("bays", ()), HOURS, **floor), day(23, 8), runs=20)
    return {job: ready.likely for job, ready in found.items()}


TUESDAY = ((7, dt.date(2026, 11, 24), dt.date(2026, 11, 24)),)


def test_work_rests_on_the_days_on_which_the_only_person_is_away_later_on() -> None:
    """Ten hours from Monday at eight, Tuesday away: Wednesday at ten."""
    assert ready_of(certain(1, 600.0), away=TUESDAY)[1] == day(25, 10)
    assert ready_of(certain(1, 480.0), away=TUESDAY)[1] == day(23, 17)
    assert ready_of(certain(1, 480.0, parts=(dt.date(2026, 11, 24),)), away=TUESDAY)[1] >= day(25, 17)


def test_another_takes_what_whoever_goes_away_could_not_finish() -> None:
    """Both are free; number 7 is away from Tuesday for three weeks. What needs more than Monday is for number 8."""
    long = ((7, dt.date(2026, 11, 24), dt.date(2026, 12, 14)),)
    assert ready_of(certain(1, 600.0), people=(7, 8), away=long)[1] == day(24, 10)
    mine = ready_of(certain(1, 600.0, person=7), certain(2, 600.0), people=(7, 8), away=long)
    assert mine == {1: dt.datetime(2026, 12, 15, 10, tzinfo=BERLIN), 2: day(24, 10)}


def test_a_task_for_somebody_who_is_away_keeps_nobody_elses_bay() -> None:
    """One bay: what can be done at once goes first, though the other job has the lower number."""
    gone = ((7, dt.date(2026, 11, 23), dt.date(2026, 11, 27)),)
    found = ready_of(certain(1, 60.0, person=7), certain(2, 60.0), people=(7, 8), bays=(11,), away=gone)
    assert found[2] == day(23, 9)


def test_two_tasks_with_the_same_bay_come_one_after_the_other_though_another_is_free() -> None:
    two = {"people": (7, 8), "bays": (11, 12)}
    apart = ready_of(certain(1, 120.0), certain(2, 120.0), **two)
    assert apart == {1: day(23, 10), 2: day(23, 10)}
    chosen = ready_of(certain(1, 120.0, bay=12), certain(2, 120.0, bay=12), **two)
    assert sorted(chosen.values()) == [day(23, 10), day(23, 12)]


def test_a_task_does_not_begin_before_the_time_its_bay_is_booked_for() -> None:
    found = ready_of(certain(1, 60.0, bay=11, booked=day(25, 14)), certain(2, 60.0), bays=(11,))
    assert found == {1: day(25, 15), 2: day(23, 9)}


def test_three_points_are_spread_by_themselves_and_the_record_moves_their_middle_alone() -> None:
    wide, narrow = certain(1, 100.0, least=50, most=300), certain(1, 100.0, least=95, most=105)
    rng = [np.random.default_rng(1) for _each in range(3)]
    drawn = [minutes_left(task, one, 4000) for task, one in zip((wide, narrow), rng, strict=False)]
    assert np.std(drawn[0]) == pytest.approx((300 - 50) / 6, rel=0.1)
    assert np.mean(drawn[0]) == pytest.approx((50 + 400 + 300) / 6, rel=0.05)
    assert np.std(drawn[1]) == pytest.approx((105 - 95) / 6, rel=0.1)
    slower = minutes_left(replace(wide, factor=Factor(1.5, 0.9, 40)), rng[2], 4000)
    assert slower == pytest.approx(1.5 * drawn[0])


def test_before_there_is_a_record_nothing_is_put_on_top_of_three_points() -> None:
    """Who says 50, 100, 300 has said that it may take longer; who says 100 has not."""
    assert factors([], AS_SAID)[""].median == pytest.approx(1.0)
    assert factors([])[""].median == pytest.approx(TRADE_MEDIAN)


def laid_on(*tasks: PlannedTask) -> dict[int, tuple[dt.datetime, dt.datetime, float]]:
    laid = laid_out(tasks, day(23, 8), HOURS).tasks
    return {key: (one.begins, one.ends, one.times.slack) for key, one in laid.items()}


def test_a_plan_lies_on_the_working_days_with_its_slack() -> None:
    """Ten hours from Monday, then an hour; beside them two hours that can wait."""
    found = laid_on(certain(1, 600.0), certain(2, 60.0, before=(1,)), certain(3, 120.0))
    assert found == {
        1: (day(23, 8), day(24, 10), 0.0), 2: (day(24, 10), day(24, 11), 0.0), 3: (day(23, 8), day(23, 10), 540.0)
    }  # fmt: skip


def test_what_begins_after_a_full_day_begins_the_next_morning() -> None:
    found = laid_on(certain(1, 480.0), certain(2, 60.0, before=(1,)))
    assert [at[:2] for at in found.values()] == [(day(23, 8), day(23, 17)), (day(24, 8), day(24, 9))]


def test_a_task_is_laid_after_its_part_its_booking_and_outside_work_of_calendar_days() -> None:
    part = certain(1, 60.0, parts=(dt.date(2026, 11, 25), None))
    booked = certain(2, 60.0, booked=day(24, 14))
    away = certain(3, 0.0, outside_days=7, sent_on=dt.date(2026, 11, 22))
    after = certain(4, 60.0, before=(1, 3))
    found = laid_on(part, booked, away, after)
    assert found[1][:2] == (day(25, 8), day(25, 9))
    assert found[2][:2] == (day(24, 14), day(24, 15))
    assert found[4][:2] == (day(30, 8), day(30, 9))  # back on Sunday the 29th
    assert found[3][2] == found[4][2] == 0.0
    assert found[1][2] == 2 * 480 + 7 * 60  # free from Wednesday at nine until Friday evening
    assert laid_out((part, booked, away, after), day(23, 8), HOURS).days == tuple(
        (minute, dt.date(2026, 11, number))
        for minute, number in zip((0, 480, 960, 1440, 1920, 2400), (23, 24, 25, 26, 27, 30), strict=True)
    )
