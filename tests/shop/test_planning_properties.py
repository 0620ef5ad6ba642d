"""What holds of every plan: order, slack, chains, durations, minutes of work, and of the day that is foretold."""

import datetime as dt
import itertools
import math
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from shop.planning.durations import TRADE, Factor, Record, shrunk
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.network import CycleError, in_order, schedule
from shop.planning.presence import presence
from shop.planning.simulate import ReadyBy, simulate
from shop.planning.workdays import Hours, axis, spans

ZONE = ZoneInfo("Europe/Berlin")
NOW = dt.datetime(2026, 3, 26, 9, 10, tzinfo=ZONE)  # a Thursday; clocks change on the Sunday
often = settings(max_examples=100, deadline=None)
some = settings(max_examples=25, deadline=None)


@st.composite
def networks(draw: st.DrawFn) -> tuple[dict[int, float], dict[int, list[int]]]:
    """Minutes, and before each task some of those with a lower number; the keys in any order."""
    count = draw(st.integers(1, 12))
    keys = draw(st.permutations(range(count)))
    minutes = {key: float(draw(st.integers(0, 500))) for key in keys}
    return minutes, {key: sorted(draw(st.sets(st.integers(0, key - 1), max_size=3))) if key else [] for key in keys}


@often
@given(networks())
def test_every_task_comes_after_those_it_waits_for(network: tuple[dict[int, float], dict[int, list[int]]]) -> None:
    _minutes, before = network
    order = in_order(before)
    assert sorted(order) == sorted(before)
    assert all(order.index(one) < order.index(key) for key, first in before.items() for one in first)


@often
@given(networks())
def test_a_chain_without_slack_is_as_long_as_the_whole(network: tuple[dict[int, float], dict[int, list[int]]]) -> None:
    minutes, before = network
    times = schedule(minutes, before)
    whole = max(one.earliest_finish for one in times.values())
    assert all(one.slack >= 0 for one in times.values())
    at = next(key for key, one in times.items() if one.earliest_finish == whole)
    chain = [at]
    while times[at].earliest_start > 0:
        at = next(one for one in before[at] if times[one].earliest_finish == times[at].earliest_start)
        chain.append(at)
    assert all(times[key].slack == 0 for key in chain)
    assert sum(minutes[key] for key in chain) == whole


@often
@given(networks(), st.data())
def test_a_ring_is_always_named(network: tuple[dict[int, float], dict[int, list[int]]], data: st.DataObject) -> None:
    """A path closed by one more wait: the ring that is named is one of waits that are there, and it is closed."""
    minutes, before = network
    first = data.draw(st.sampled_from(sorted(before)))
    last, path = first, [first]
    while after := [key for key, waits in before.items() if last in waits]:
        last = data.draw(st.sampled_from(after))
        path.append(last)
    ring = {**before, first: [*before[first], last]}
    for ask in (lambda: in_order(ring), lambda: schedule(minutes, ring)):
        with pytest.raises(CycleError) as found:
            ask()
        named = found.value.cycle
        assert named[0] == named[-1]
        assert all(one in ring[key] for one, key in itertools.pairwise(named))


ratios = st.lists(st.floats(0.2, 5.0), min_size=1, max_size=40)
priors = st.builds(Factor, st.floats(0.5, 2.0), st.floats(0.05, 1.0), st.just(0))


@often
@given(ratios, priors)
def test_a_factor_lies_between_what_was_thought_and_the_records(found: list[float], to: Factor) -> None:
    own = math.exp(sum(math.log(ratio) for ratio in found) / len(found))
    low, high = sorted((own, to.median))
    assert low - 1e-9 <= shrunk([Record("", 60, 60 * ratio) for ratio in found], to).median <= high + 1e-9


@often
@given(ratios, priors)
def test_more_of_the_same_records_draw_nearer_to_them(found: list[float], to: Factor) -> None:
    records = [Record("", 60, 60 * ratio) for ratio in found]
    own = sum(math.log(ratio) for ratio in found) / len(found)
    distance = [round(abs(math.log(shrunk(records * times, to).median) - own), 9) for times in (1, 2, 8, 64)]
    assert distance == sorted(distance, reverse=True)
    assert distance[-1] <= abs(math.log(to.median) - own) / 8 + 1e-9


zones = st.sampled_from(["Europe/Berlin", "UTC", "America/New_York"])


@st.composite
def opening(draw: st.DrawFn) -> Hours:
    opens, minutes = draw(st.integers(0, 12 * 60)), draw(st.integers(60, 11 * 60))
    open_days = draw(st.sets(st.integers(0, 6), min_size=1))
    closes = opens + minutes
    return Hours(
        dt.time(opens // 60, opens % 60), dt.time(closes // 60, closes % 60), draw(st.integers(0, 55)),
        tuple(day in open_days for day in range(7)), draw(zones),
    )  # fmt: skip


def is_open(clock: float, hours: Hours) -> bool:
    """Whether an instant (minutes since 1970) lies in a stretch of work or at its edge."""
    at = dt.datetime.fromtimestamp(clock * 60, dt.UTC)
    day = at.astimezone(ZoneInfo(hours.zone)).date()
    tiny = dt.timedelta(seconds=1)
    return any(first - tiny <= at <= last + tiny for first, last in spans(day, hours))


shares = st.lists(st.floats(0, 1), min_size=2, max_size=20)  # of the minutes that an axis has


NIGHT = Hours(dt.time(2), dt.time(3), 31, (False,) * 6 + (True,), "Europe/Berlin")


@often
@example(NIGHT, [0.0, 1.0])  # open in the hour that the clocks skip: its stretches stood in the wrong order
@given(opening(), shares)
def test_minutes_of_work_and_the_clock_are_each_others_inverse(hours: Hours, parts: list[float]) -> None:
    line = axis(NOW, hours)
    work = line.work[-1] * np.array(sorted(parts))
    clock = line.reached(work)
    assert line.worked(clock) == pytest.approx(work, abs=1e-6)
    assert (np.diff(clock) >= 0).all()
    assert (np.diff(line.worked(np.linspace(clock[0], clock[-1], 50))) >= -1e-9).all()


@often
@given(opening(), shares)
def test_work_never_ends_in_the_night_the_break_or_on_a_closed_day(hours: Hours, parts: list[float]) -> None:
    line = axis(NOW, hours)
    ends = line.reached(line.work[-1] * np.array(parts))
    assert all(is_open(float(clock), hours) for clock in ends if clock > line.clock[0])


stretches_away = st.lists(st.tuples(st.floats(0, 3000), st.floats(1, 1500)), max_size=4)


@often
@given(stretches_away, st.floats(0, 4000), st.floats(0, 4000))
def test_nobody_works_while_away(away: list[tuple[float, float]], at: float, takes: float) -> None:
    """Minutes there between begin and end, counted one by one, are those that the work takes."""
    gone = [(first, first + length) for first, length in away]
    one = presence(gone)
    begins = float(one.begin(np.array([at]))[0])
    ends = float(one.end(np.array([begins]), np.array([takes]))[0])
    assert begins >= at
    assert not any(first <= begins < until - 1e-6 for first, until in gone)
    assert there(begins, ends, gone) == pytest.approx(takes, abs=1e-6)
    assert there(at, begins, gone) == pytest.approx(0, abs=1e-6)


def there(first: float, until: float, gone: list[tuple[float, float]]) -> float:
    edges = sorted({first, until, *(min(max(edge, first), until) for one in gone for edge in one)})
    return sum(
        last - begin for begin, last in itertools.pairwise(edges)
        if not any(one <= (begin + last) / 2 < other for one, other in gone)
    )  # fmt: skip


HOURS = Hours(dt.time(8), dt.time(17), 60, (True,) * 5 + (False,) * 2, "Europe/Berlin")
days_ahead = st.integers(-3, 30).map(lambda days: NOW.date() + dt.timedelta(days=days))


@st.composite
def floors(draw: st.DrawFn) -> ShopFloor:
    people = tuple(range(1, 1 + draw(st.integers(1, 3))))
    bays = tuple(range(11, 11 + draw(st.integers(0, 2))))
    tasks: list[PlannedTask] = []
    for key in range(draw(st.integers(1, 8))):
        job = key % 3
        mine = [task.key for task in tasks if task.job == job]
        planned = draw(st.integers(0, 600))
        points = draw(st.booleans())
        outside = draw(st.sampled_from([None, None, None, draw(st.integers(0, 15))]))
        booked = draw(st.none() | st.integers(-5, 300))
        tasks.append(
            PlannedTask(
                key, job, float(planned), planned / 2 if points else None, planned * 2.0 if points else None,
                worked=float(draw(st.integers(0, 300))), factor=TRADE,
                before=tuple(draw(st.sets(st.sampled_from(mine), max_size=2))) if mine else (),
                parts=tuple(draw(st.lists(st.none() | days_ahead, max_size=2))),
                outside_days=outside, sent_on=draw(st.none() | st.just(NOW.date())) if outside is not None else None,
                person=draw(st.none() | st.sampled_from(people)), needs_bay=draw(st.booleans()),
                bay=draw(st.none() | st.sampled_from(bays)) if bays else None,
                booked=NOW + dt.timedelta(hours=booked) if booked is not None else None, blocked=draw(st.booleans()),
            )
        )  # fmt: skip
    promised = tuple((job, draw(st.none() | days_ahead)) for job in range(3))
    away = tuple(
        (draw(st.sampled_from(people)), first, first + dt.timedelta(days=draw(st.integers(0, 9))))
        for first in draw(st.lists(days_ahead, max_size=3))
    )
    return ShopFloor(tuple(tasks), promised, people, bays, HOURS, away)


@some
@given(floors(), st.integers(0, 99))
def test_the_same_seed_tells_the_same_day(floor: ShopFloor, seed: int) -> None:
    assert simulate(floor, NOW, runs=40, seed=seed) == simulate(floor, NOW, runs=40, seed=seed)


@some
@given(floors())
def test_what_is_told_of_a_job_agrees_with_itself(floor: ShopFloor) -> None:
    found = simulate(floor, NOW, runs=60)
    assert set(found) == {task.job for task in floor.tasks}
    for job, ready in found.items():
        assert NOW <= ready.early <= ready.likely <= ready.late
        keys, shares = zip(*ready.critical, strict=True)
        assert set(keys) <= {task.key for task in floor.tasks if task.job == job}
        assert all(0 < share <= 1 for share in shares)
        assert list(shares) == sorted(shares, reverse=True)


@some
@given(floors())
def test_a_job_is_never_done_before_its_own_work_could_be(floor: ShopFloor) -> None:
    """Nobody else in the shop, no waits: what is left of one task at its least, from now on, is a bound of the day."""
    tasks = tuple(replace(task, factor=Factor(1.0, 0.0, 0), least=None, most=None) for task in floor.tasks)
    found = simulate(replace(floor, tasks=tasks), NOW, runs=20)
    line = axis(NOW, HOURS)
    for task in tasks:
        if task.outside_days is None:
            left = max(task.planned - task.worked, 0.1 * task.planned)
            bound = float(line.reached(np.array([left]))[0])
            assert found[task.job].early.timestamp() / 60 >= bound - 1e-3


@some
@given(floors(), st.integers(0, 40))
def test_a_part_that_comes_later_never_makes_its_job_earlier_where_one_person_works_on_one_job(
    floor: ShopFloor, days: int
) -> None:
    """One job in the order of its list, one person: with more of either a later part can let other work slip in
    before, and the whole can end earlier (Graham's anomalies, known of every such schedule)."""
    tasks = [replace(task, job=0, person=None, blocked=False, booked=None) for task in floor.tasks]
    tasks = [replace(task, before=(tasks[at - 1].key,) if at else ()) for at, task in enumerate(tasks)]
    day = NOW.date() + dt.timedelta(days=5)
    when: dict[int, ReadyBy] = {}
    for later in (0, days):
        row = replace(tasks[-1], parts=(day + dt.timedelta(days=later),))
        one = replace(floor, tasks=(*tasks[:-1], row), people=(1,), promised=((0, None),))
        when[later] = simulate(one, NOW, runs=40)[0]
    assert when[days].early >= when[0].early
    assert when[days].likely >= when[0].likely
    assert when[days].late >= when[0].late
