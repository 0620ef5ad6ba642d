"""What the day depends on, as the simulation takes it: open tasks, people, bays, hours."""

import datetime as dt
from dataclasses import dataclass

from shop.planning.durations import TRADE, Factor
from shop.planning.workdays import Hours


@dataclass(frozen=True, slots=True)
class PlannedTask:
    """A task that is not ended, as the simulation takes it. `parts`: the day each missing part is expected, None where
    nobody knows; `outside_days` None for work here; `person` None for anybody, `bay` None for any; `booked`: the time
    for which it has its bay, before which it does not begin; `before` open tasks only."""

    key: int
    job: int
    planned: float
    least: float | None = None
    most: float | None = None
    worked: float = 0.0
    factor: Factor = TRADE
    before: tuple[int, ...] = ()
    parts: tuple[dt.date | None, ...] = ()
    outside_days: int | None = None
    sent_on: dt.date | None = None
    person: int | None = None
    needs_bay: bool = True
    bay: int | None = None
    booked: dt.datetime | None = None
    blocked: bool = False


@dataclass(frozen=True, slots=True)
class ShopFloor:
    """All that the day depends on. `promised`: job -> day, for the order in which jobs are served; `away`: of a person
    the first and last days away. Without `bays` they are not counted here."""

    tasks: tuple[PlannedTask, ...]
    promised: tuple[tuple[int, dt.date | None], ...]
    people: tuple[int, ...]
    bays: tuple[int, ...]
    hours: Hours
    away: tuple[tuple[int, dt.date, dt.date], ...] = ()
