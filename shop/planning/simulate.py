"""When a job will be ready: the whole shop's open tasks, many times over, with people and bays as they are.

Time is counted in minutes of work (workdays.Axis) for what people do here and in calendar days for what comes or comes
back from outside. One run after the other would take seconds: all runs of one task are computed at once, in the order
in which a single run with middle durations begins them.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shop.planning import draws
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.network import in_order
from shop.planning.workdays import Axis, axis

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Drawn = tuple[Floats, Floats, Floats]
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


@dataclass(slots=True)
class _Runs:
    """What is kept while the tasks are placed; arrays have a row a person or bay, else a column a run. Minutes of work
    throughout. `held`: the task that had the person or bay last, -1 none; `binder`: what a task's start hung on."""

    axis: Axis
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
    state = _begin(floor, now, line, runs)
    for key in _begun(floor, tasks, drawn):
        _place(state, tasks[key], floor, drawn[key])
    last: dict[int, list[int]] = {}
    for task in floor.tasks:
        last.setdefault(task.job, []).append(task.key)
    return {job: _ready(state, keys, runs) for job, keys in last.items()}


def _drawn(
    task: PlannedTask, floor: ShopFloor, now: dt.datetime, rng: np.random.Generator, runs: int, line: Axis
) -> Drawn:
    """Of a task in each run: minutes it takes, minute of work when its parts are there, and when no word blocks it."""
    draw = draws.minutes_left if task.outside_days is None else draws.outside_minutes
    takes = draw(task, rng, runs)
    parts = line.worked(draws.parts_here(task, now, floor.hours.zone, rng, runs))
    return takes, parts, line.worked(draws.unblocked(task, now, rng, runs))


def _begin(floor: ShopFloor, now: dt.datetime, line: Axis, runs: int) -> _Runs:
    people = max(len(floor.people), 1)
    state = _Runs(
        line, np.zeros((people, runs)), np.full((people, runs), -1), np.zeros((floor.bays, runs)),
        np.full((floor.bays, runs), -1),
    )  # fmt: skip
    today = now.timestamp() / 60
    for person, first, until in sorted(floor.away, key=lambda row: row[1]):
        begins, ends = (draws.midnight(day, floor.hours.zone) for day in (first, until + dt.timedelta(days=1)))
        # Away later on is left to the booking of bays; away now means that nothing begins before they are back.
        if person in floor.people and begins <= today:
            state.free[floor.people.index(person)] = line.worked(np.array([ends]))
    return state


def _begun(floor: ShopFloor, tasks: Mapping[int, PlannedTask], drawn: Mapping[int, Drawn]) -> list[int]:
    """The tasks in the order in which one run with middle durations begins them: whoever is free takes, of what can
    begin soonest, the job promised first, so that nobody sits beside a car that waits for its part."""
    day = dict(floor.promised)
    waiting = {key: set(task.before) for key, task in tasks.items()}
    in_order({key: task.before for key, task in tasks.items()})
    ready = {key: float(max(np.median(drawn[key][1]), np.median(drawn[key][2]))) for key in tasks}
    lets = {key: [other for other in tasks if key in waiting[other]] for key in tasks}
    can = [key for key in tasks if not waiting[key]]
    people = [0.0] * max(len(floor.people), 1)
    order = []
    while can:
        soon = min(people)
        key = min(can, key=lambda key: (max(ready[key], soon), day.get(tasks[key].job) or dt.date.max, key))
        can.remove(key)
        order.append(key)
        begins, takes = ready[key], float(np.median(drawn[key][0]))
        if tasks[key].outside_days is None:
            begins = max(begins, soon)
            people[people.index(soon)] = begins + takes
        else:
            takes = takes / 1440 * WORK_A_DAY
        for other in lets[key]:
            ready[other] = max(ready[other], begins + takes)
            waiting[other].discard(key)
            if not waiting[other]:
                can.append(other)
    return order


def _place(state: _Runs, task: PlannedTask, floor: ShopFloor, drawn: Drawn) -> None:
    takes, parts, word = drawn
    begins, binder, wait = np.zeros_like(takes), np.full(takes.shape, -1), np.zeros(takes.shape, dtype=np.int64)

    def after(at: Floats, who: Ints | int, why: int) -> None:
        nonlocal begins, binder, wait
        later = at > begins
        begins = np.where(later, at, begins)
        binder, wait = np.where(later, who, binder), np.where(later, why, wait)

    for other in task.before:
        after(state.finish[other], other, 0)
    after(parts, -1, WAITS.index("part"))
    after(word, -1, WAITS.index("word"))
    if task.outside_days is not None:
        _outside(state, task, floor, takes, begins)
        state.binder[task.key], state.wait[task.key] = binder, np.full_like(wait, WAITS.index("outside"))
        return
    columns = np.arange(len(takes))
    if task.person in floor.people:
        who = np.full(takes.shape, floor.people.index(task.person or 0))
    else:
        who = state.free.argmin(axis=0)
    after(state.free[who, columns], state.held[who, columns], WAITS.index("person"))
    bay = state.bay_free.argmin(axis=0) if task.needs_bay and floor.bays else None
    if bay is not None:
        after(state.bay_free[bay, columns], state.bay_held[bay, columns], WAITS.index("bay"))
    ends = begins + takes
    state.free[who, columns], state.held[who, columns] = ends, task.key
    if bay is not None:
        state.bay_free[bay, columns], state.bay_held[bay, columns] = ends, task.key
    state.finish[task.key], state.binder[task.key], state.wait[task.key] = ends, binder, wait


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
    row = {key: at for at, key in enumerate(keys)}
    binder = np.array([[row.get(int(key), -1) for key in state.binder[mine]] for mine in keys])
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
