"""What is not known beforehand of a task, drawn for all runs at once. The spreads are common practice, no source."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from shop.planning.durations import three_points
from shop.planning.floor import PlannedTask

Floats = NDArray[np.float64]
DAY = 1440.0
ON_TIME = 0.6
"""Share of parts that come on the day they are expected; of the others LATE_DAYS is the mean delay."""
LATE_DAYS = 4.0
UNKNOWN_DAYS = 7.0
"""Median days until a part comes of which nobody knows when, and with BLOCKED_DAYS until a block is lifted."""
BLOCKED_DAYS = 3.0
WAIT_SPREAD = 0.6
OUTSIDE_SPREAD = 0.25
LEFT_AT_LEAST = 0.1
"""Of a task that is not ended this share of its plan is left, however long it was worked on."""


def minutes_left(task: PlannedTask, rng: np.random.Generator, runs: int) -> Floats:
    """Minutes of one person's work that are left in each run. How far they may spread is said by the three points
    where there are any; `task.factor` then is that of tasks with three points, and moves their middle alone."""
    if task.least is not None and task.most is not None:
        middle, spread = three_points(task.least, task.planned, task.most)
    else:
        middle, spread = task.planned, task.factor.spread
    whole = middle * task.factor.median * np.exp(spread * rng.standard_normal(runs))
    return np.asarray(np.maximum(whole - task.worked, LEFT_AT_LEAST * task.planned), dtype=np.float64)


def outside_minutes(task: PlannedTask, rng: np.random.Generator, runs: int) -> Floats:
    """Calendar minutes that outside work takes in each run, from the day it is sent."""
    return np.asarray((task.outside_days or 0) * DAY * np.exp(OUTSIDE_SPREAD * rng.standard_normal(runs)))


def parts_here(task: PlannedTask, now: dt.datetime, zone: str, rng: np.random.Generator, runs: int) -> Floats:
    """Minutes since 1970 at which the last missing part is here in each run; 0 where none is missing."""
    last = np.zeros(runs)
    for day in task.parts:
        if day is None:
            days = UNKNOWN_DAYS * np.exp(WAIT_SPREAD * rng.standard_normal(runs))
            last = np.maximum(last, now.timestamp() / 60 + days * DAY)
            continue
        begins = max(midnight(day, zone), now.timestamp() / 60)
        late = np.where(rng.random(runs) < ON_TIME, 0.0, rng.exponential(LATE_DAYS, runs))
        last = np.maximum(last, begins + late * DAY)
    return last


def unblocked(task: PlannedTask, now: dt.datetime, rng: np.random.Generator, runs: int) -> Floats:
    """Minutes since 1970 at which what a word blocks can go on in each run; 0 where nothing does."""
    if not task.blocked:
        return np.zeros(runs)
    days = BLOCKED_DAYS * np.exp(WAIT_SPREAD * rng.standard_normal(runs))
    return np.asarray(now.timestamp() / 60 + days * DAY)


def midnight(day: dt.date, zone: str) -> float:
    """Minutes since 1970 at which the day begins there."""
    return dt.datetime.combine(day, dt.time(), ZoneInfo(zone)).timestamp() / 60
