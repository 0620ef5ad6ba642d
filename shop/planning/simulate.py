"""When a job will be ready: the whole shop's open tasks, many times over, with people and bays as they are.

Time is counted in minutes of work (workdays.Axis) for what people do here and in calendar days for what comes or comes
back from outside. One run after the other would take seconds: all runs of one task are computed at once, in the order
in which a single run with middle durations begins them.
"""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shop.planning import draws
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.network import in_order
from shop.planning.presence import ALWAYS_THERE, Presence, presence
from shop.planning.workdays import Axis, axis

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Runs = NDArray[np.bool_]
RUNS = 400
WAITS = ("", "part", "outside", "word", "person", "bay")
WORK_A_DAY = 340.0
"""Minutes of work in a calendar day, roughly (8 h on 5 days of 7): only the order of the middle run hangs on it."""
TOLD_FROM = 0.2
"""A wait is told where it decides the day in this share of the runs."""


@dataclass(frozen=True, slots=True)
class ReadyBy:
    """Days by which a job is ready in 10, 50 and 90 of 100 runs (aware); `critical`: task key and the share of runs in
    which it decided the day, most first; `waits`: keys of WAITS that decided it often."""

    early: dt.datetime
    likely: dt.datetime
    late: dt.datetime
    critical: tuple[tuple[int, float], ...]
    waits: tuple[str, ...]
    runs: int


@dataclass(frozen=True, slots=True)
class _Drawn:
    """Of a task in each run: minutes it takes, minute of work when its parts are there, and when no word blocks it; and
    the minute for which its bay is booked, 0 for none."""

    takes: Floats
    parts: Floats
    word: Floats
    booked: float

    @property
    def ready(self) -> float:
        return max(float(np.median(self.parts)), float(np.median(self.word)), self.booked)


@dataclass(slots=True)
class _Runs:
    """What is kept while the tasks are placed; arrays have a row a person or bay, else a column a run. Minutes of work
    throughout. `held`: the task that had the person or bay last, -1 none; `binder`: what a task's start hung on."""

    axis: Axis
    there: tuple[Presence, ...]
    free: Floats
    held: Ints
    bay_free: Floats
    bay_held: Ints
    finish: dict[int, Floats] = field(default_factory=dict)
    binder: dict[int, Ints] = field(default_factory=dict)
    wait: dict[int, Ints] = field(default_factory=dict)


def simulate(floor: ShopFloor, now: dt.datetime, *, runs: int = RUNS, seed: int = 1) -> dict[int, ReadyBy]:
    """Job -> when it is ready, for every job that has a task in `floor`. The same seed gives the same answer.

    Raises CycleError where tasks wait for one another.
    """
    tasks = {task.key: task for task in floor.tasks}
    line = axis(now, floor.hours)
    rng = np.random.default_rng(seed)
    drawn = {task.key: _drawn(task, floor, now, rng, runs, line) for task in floor.tasks}
    state = _begin(floor, line, runs)
    for key in _begun(floor, tasks, drawn, state.there):
        _place(state, tasks[key], floor, drawn[key])
    last: dict[int, list[int]] = {}
    for task in floor.tasks:
        last.setdefault(task.job, []).append(task.key)
    return {job: _ready(state, keys, runs) for job, keys in last.items()}


def _drawn(
    task: PlannedTask, floor: ShopFloor, now: dt.datetime, rng: np.random.Generator, runs: int, line: Axis
) -> _Drawn:
    draw = draws.minutes_left if task.outside_days is None else draws.outside_minutes
    takes = draw(task, rng, runs)
    parts = line.worked(draws.parts_here(task, now, floor.hours.zone, rng, runs))
    word = line.worked(draws.unblocked(task, now, rng, runs))
    booked = line.worked(np.array([task.booked.timestamp() / 60]))[0] if task.booked else 0.0
    return _Drawn(takes, parts, word, float(booked))


def _begin(floor: ShopFloor, line: Axis, runs: int) -> _Runs:
    people, bays = max(len(floor.people), 1), len(floor.bays)
    there = tuple(_there(person, floor, line) for person in floor.people) or (ALWAYS_THERE,)
    return _Runs(
        line, there, np.zeros((people, runs)), np.full((people, runs), -1), np.zeros((bays, runs)),
        np.full((bays, runs), -1),
    )  # fmt: skip


def _there(person: int, floor: ShopFloor, line: Axis) -> Presence:
    stretches = []
    for who, first, last in floor.away:
        if who == person:
            begins, ends = (draws.midnight(day, floor.hours.zone) for day in (first, last + dt.timedelta(days=1)))
            stretches.append((float(line.worked(np.array([begins]))[0]), float(line.worked(np.array([ends]))[0])))
    return presence(stretches)


def _begun(
    floor: ShopFloor, tasks: Mapping[int, PlannedTask], drawn: Mapping[int, _Drawn], there: Sequence[Presence]
) -> list[int]:
    """The tasks in the order in which one run with middle durations begins them: whoever is free takes, of what can
    begin soonest, the job promised first, so that nobody sits beside a car that waits for its part."""
    day = dict(floor.promised)
    waiting = {key: set(task.before) for key, task in tasks.items()}
    in_order({key: task.before for key, task in tasks.items()})
    ready = {key: drawn[key].ready for key in tasks}
    lets = {key: [other for other in tasks if key in waiting[other]] for key in tasks}
    can = [key for key in tasks if not waiting[key]]
    people = [float(one.begin(np.zeros(1))[0]) for one in there]
    order = []
    while can:
        key = min(can, key=lambda key: (_soonest(tasks[key], ready[key], floor, people), _rank(tasks[key], day)))
        can.remove(key)
        order.append(key)
        begins, takes = _soonest(tasks[key], ready[key], floor, people), float(np.median(drawn[key].takes))
        if tasks[key].outside_days is None:
            who = _own(tasks[key], floor)
            who = people.index(min(people)) if who is None else who
            ends = there[who].end(there[who].begin(np.array([begins])), np.array([takes]))
            people[who] = float(there[who].begin(ends)[0])
            ends_at = float(ends[0])
        else:
            ends_at = begins + takes / 1440 * WORK_A_DAY
        for other in lets[key]:
            ready[other] = max(ready[other], ends_at)
            waiting[other].discard(key)
            if not waiting[other]:
                can.append(other)
    return order


def _soonest(task: PlannedTask, ready: float, floor: ShopFloor, people: Sequence[float]) -> float:
    """When a task can begin in the middle run: `people` is from when each is free and there."""
    if task.outside_days is not None:
        return ready
    who = _own(task, floor)
    return max(ready, min(people) if who is None else people[who])


def _rank(task: PlannedTask, day: Mapping[int, dt.date | None]) -> tuple[dt.date, int]:
    return day.get(task.job) or dt.date.max, task.key


def _own(task: PlannedTask, floor: ShopFloor) -> int | None:
    """The row of the person that the task is for; None where anybody may do it."""
    return floor.people.index(task.person) if task.person in floor.people else None


def _place(state: _Runs, task: PlannedTask, floor: ShopFloor, drawn: _Drawn) -> None:
    takes = drawn.takes
    begins, binder, wait = np.zeros_like(takes), np.full(takes.shape, -1), np.zeros(takes.shape, dtype=np.int64)

    def after(at: Floats, who: Ints | int, why: str) -> None:
        nonlocal begins, binder, wait
        later = at > begins
        begins = np.where(later, at, begins)
        binder, wait = np.where(later, who, binder), np.where(later, WAITS.index(why), wait)

    for other in task.before:
        after(state.finish[other], other, "")
    after(drawn.parts, -1, "part")
    after(drawn.word, -1, "word")
    if task.outside_days is not None:
        _outside(state, task, floor, takes, begins)
        state.binder[task.key], state.wait[task.key] = binder, np.full_like(wait, WAITS.index("outside"))
        return
    after(np.full_like(takes, drawn.booked), -1, "bay")
    columns, bay = np.arange(len(takes)), _bay(state, task, floor)
    bay_free = state.bay_free[bay, columns] if bay is not None else begins
    who = _who(state, task, floor, np.maximum(begins, bay_free), takes)
    after(state.free[who, columns], state.held[who, columns], "person")
    if bay is not None:
        after(bay_free, state.bay_held[bay, columns], "bay")
    after(_by_person(state.there, who, lambda one, at: one.begin(begins[at])), -1, "person")
    ends = _by_person(state.there, who, lambda one, at: one.end(begins[at], takes[at]))
    state.free[who, columns], state.held[who, columns] = ends, task.key
    if bay is not None:
        state.bay_free[bay, columns], state.bay_held[bay, columns] = ends, task.key
    state.finish[task.key], state.binder[task.key], state.wait[task.key] = ends, binder, wait


def _bay(state: _Runs, task: PlannedTask, floor: ShopFloor) -> Ints | None:
    """The row of the bay in each run: the chosen one, else the one that is free first; None without."""
    if not task.needs_bay or not floor.bays:
        return None
    if task.bay in floor.bays:
        return np.full(state.bay_free.shape[1], floor.bays.index(task.bay))
    return np.asarray(state.bay_free.argmin(axis=0))


def _who(state: _Runs, task: PlannedTask, floor: ShopFloor, begins: Floats, takes: Floats) -> Ints:
    """The row of the person in each run: theirs, else whoever would be done first with it, of several the one who is
    free longest. Done first, not begun first: nobody begins on the eve of three weeks away what another can finish."""
    own = _own(task, floor)
    if own is not None:
        return np.full(takes.shape, own)
    can = np.maximum(state.free, begins)
    ends = np.stack([one.end(one.begin(at), takes) for one, at in zip(state.there, can, strict=True)])
    return np.asarray(np.lexsort((state.free, ends), axis=0)[0])


def _by_person(there: Sequence[Presence], who: Ints, of: Callable[[Presence, Runs], Floats]) -> Floats:
    """`of` for the runs of each person, put together; those who are never away are one."""
    found = of(ALWAYS_THERE, np.full(who.shape, True))
    for row, one in enumerate(there):
        mine = who == row
        if one.ever_away and mine.any():
            found[mine] = of(one, mine)
    return found


def _outside(state: _Runs, task: PlannedTask, floor: ShopFloor, takes: Floats, begins: Floats) -> None:
    """Outside work needs nobody here; it counts calendar days from the day it was or will be sent, at least to now."""
    sent = state.axis.reached(begins)
    if task.sent_on is not None:
        sent = np.full_like(sent, draws.midnight(task.sent_on, floor.hours.zone))
    state.finish[task.key] = np.maximum(begins, state.axis.worked(sent + takes))


def _ready(state: _Runs, keys: list[int], runs: int) -> ReadyBy:
    finish = np.stack([state.finish[key] for key in keys])
    ends = state.axis.reached(finish.max(axis=0))
    early, likely, late = (
        dt.datetime.fromtimestamp(float(at) * 60, dt.UTC) for at in np.quantile(ends, (0.1, 0.5, 0.9))
    )
    shares, waits = _decided(state, keys, finish.argmax(axis=0), runs)
    return ReadyBy(early, likely, late, shares, waits, runs)


def _decided(
    state: _Runs, keys: list[int], last: Ints, runs: int
) -> tuple[tuple[tuple[int, float], ...], tuple[str, ...]]:
    """Back from the last task of each run along what each start hung on, as long as it is this job's: who kept its
    person or bay busy is another job's plan."""
    named, hung = np.array(keys), np.stack([state.binder[key] for key in keys])
    order = np.argsort(named)
    rows = order[np.minimum(np.searchsorted(named, hung, sorter=order), len(keys) - 1)]
    binder = np.where(named[rows] == hung, rows, -1)
    wait = np.stack([state.wait[key] for key in keys])
    counts, waits, columns = np.zeros(len(keys)), np.zeros((len(WAITS), runs), dtype=bool), np.arange(runs)
    at = last
    while len(at):
        np.add.at(counts, at, 1)
        waits[wait[at, columns], columns] = True
        at = binder[at, columns]
        at, columns = at[at >= 0], columns[at >= 0]
    shares = sorted(((key, float(count) / runs) for key, count in zip(keys, counts, strict=True) if count), key=_share)
    often = waits.mean(axis=1)
    return tuple(shares), tuple(WAITS[why] for why in np.argsort(-often) if why and often[why] >= TOLD_FROM)


def _share(row: tuple[int, float]) -> float:
    return -row[1]
