"""A plan laid along the working days: when each open task begins and ends where nobody and no bay is short."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from shop.planning.draws import DAY, midnight
from shop.planning.floor import PlannedTask
from shop.planning.network import Times, in_order, schedule
from shop.planning.workdays import DAYS, Axis, Hours, axis, spans


@dataclass(frozen=True, slots=True)
class Laid:
    """Of one task: `times` in minutes of work from now; its earliest start and finish as instants (UTC)."""

    times: Times
    begins: dt.datetime
    ends: dt.datetime


@dataclass(frozen=True, slots=True)
class Layout:
    """`length`: minutes of work until the last task ends; `days`: the working days until then, each with the minute of
    work at which it begins (today at 0)."""

    tasks: Mapping[int, Laid]
    length: float
    days: tuple[tuple[float, dt.date], ...]


def laid_out(tasks: Sequence[PlannedTask], now: dt.datetime, hours: Hours) -> Layout:
    """Planned minutes in their order, parts on the day they are expected, outside work in calendar days. A part of
    which nobody knows when it comes, and a word that blocks, hold nothing up here. Raises CycleError."""
    line = axis(now, hours)
    minutes, before = _network({task.key: task for task in tasks}, line, hours.zone)
    times = schedule(minutes, before)
    laid = {task.key: _laid(times[task.key], line) for task in tasks}
    length = max((one.times.earliest_finish for one in laid.values()), default=0.0)
    return Layout(laid, length, _days(line, hours, length))


def _network(
    tasks: Mapping[int, PlannedTask], line: Axis, zone: str
) -> tuple[dict[int, float], dict[int, tuple[int, ...]]]:
    """What has to be waited for until a day is a task of its own before the other, under a key below 0."""
    minutes: dict[int, float] = {}
    before: dict[int, tuple[int, ...]] = {}
    ends: dict[int, float] = {}
    for key in in_order({task.key: task.before for task in tasks.values()}):
        task = tasks[key]
        held = max((_work(line, at) for at in _days_held(task, zone)), default=0.0)
        before[key] = task.before
        if held:
            hold = -len(minutes) - 1
            minutes[hold], before[hold], before[key] = held, (), (*task.before, hold)
        start = max([held, *(ends[other] for other in task.before)])
        minutes[key] = _takes(task, start, line, zone)
        ends[key] = start + minutes[key]
    return minutes, before


def _days_held(task: PlannedTask, zone: str) -> list[float]:
    """Minutes since 1970 before which the task does not begin."""
    held = [midnight(day, zone) for day in task.parts if day is not None]
    return [*held, task.booked.timestamp() / 60] if task.booked else held


def _takes(task: PlannedTask, start: float, line: Axis, zone: str) -> float:
    if task.outside_days is None:
        return max(task.planned - task.worked, 0.0)
    sent = midnight(task.sent_on, zone) if task.sent_on else float(line.reached(np.array([start]))[0])
    return max(_work(line, sent + task.outside_days * DAY) - start, 0.0)


def _work(line: Axis, at: float) -> float:
    return float(line.worked(np.array([at]))[0])


def _laid(times: Times, line: Axis) -> Laid:
    begins = line.resumed(np.array([times.earliest_start]))[0]
    ends = max(begins, line.reached(np.array([times.earliest_finish]))[0])
    first, last = (dt.datetime.fromtimestamp(float(at) * 60, dt.UTC) for at in (begins, ends))
    return Laid(times, first, last)


def _days(line: Axis, hours: Hours, length: float) -> tuple[tuple[float, dt.date], ...]:
    first = dt.datetime.fromtimestamp(float(line.resumed(np.zeros(1))[0]) * 60, ZoneInfo(hours.zone)).date()
    found = []
    for count in range(DAYS):
        day = first + dt.timedelta(days=count)
        at = _work(line, midnight(day, hours.zone))
        if count and at >= length:
            break
        if spans(day, hours):
            found.append((at, day))
    return tuple(found)
