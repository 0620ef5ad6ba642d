"""The shop's day: plans of the cars that are here, bays and bookings of this week, who is away, clocks.

Everything is written by the services that the pages use, at the time at which a person would have done it. Days are
counted in workdays from today: 0 is today, or the next workday where the shop is closed; -1 is the eve, by which all of
the past has happened.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from django.utils import timezone

from diagnostics.engine.system.model import TopSystem
from diagnostics.models import SystemRevision
from reports.demo.carfile import write_car_files
from reports.demo.jobs import at
from reports.demo.open_offers import write_open_offers
from reports.demo.open_plans import Here, make_plan
from reports.demo.past_plans import write_past
from reports.demo.pictures import HALF_WAY
from reports.demo.records import JobRecord
from reports.demo.shelf import write_shelf
from reports.demo.then import Days, then
from shop.models import Bay, Job, Task, User
from shop.services import away_add, bay_add, booking_place
from shop.services.clocks import clock_start, clock_stop, running_of
from shop.services.plans import task_block, task_end

BAYS = ("Lift 1", "Lift 2", "High door")
ONE, TWO, HIGH = BAYS
RUNS_FOR = timedelta(minutes=40)
"""How long the clock that runs has been running."""
AWAY = (
    # person, first and last workday, why
    ("parts", 0, 1, "Course on stock-taking"), ("owner", 4, 5, "Trade fair"), ("tech", 8, 10, "Holiday"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spell:
    """A task's time: workday, hour, hours, bay (booked; '' where none was) and who. `worked`: minutes at the clock, 0
    where that lies ahead; `ends`: the task is done then."""

    role: str
    day: int
    hour: float
    hours: float
    bay: str
    who: str
    worked: int = 0
    ends: bool = False


STORIES: Mapping[tuple[str, str, str], tuple[Spell, ...]] = {
    # stage, what holds the job up and its note (reports/demo/floor.py) -> what was and will be worked
    ("mending", "part", "ordered, two days"): (
        Spell("first", -3, 9, 1, ONE, "tech", 58, True),
        Spell("uncover", -3, 10.25, 0.5, "", "tech", 31, True),
        Spell("change", 2, 9, 1.5, ONE, "tech"),
    ),
    ("mending", "part", "on back order with the maker"): (
        Spell("first", -6, 9, 1, HIGH, "owner", 71, True),
        Spell("uncover", -6, 10.5, 1, HIGH, "owner", 44, True),
    ),
    ("mending", "customer", "wants to think about the price"): (
        Spell("first", -4, 9, 1, TWO, "tech", 47, True),
        Spell("uncover", -2, 10, 0.5, "", "tech", 28, True),
    ),
    ("mending", "nothing", ""): (
        Spell("first", -2, 13, 1, ONE, "tech", 52, True),
        Spell("uncover", -1, 9, 0.5, "", "tech", 33, True),
        Spell("change", 0, 10, 2, ONE, "tech"),
    ),
    ("proving", "bench", ""): (
        Spell("first", -2, 8, 1, TWO, "owner", 39, True),
        Spell("uncover", -1, 8, 0.5, "", "owner", 26, True),
        Spell("change", -1, 8.5, 1.5, TWO, "owner", 84, True),
        Spell("adjust", -1, 10, 0.5, "", "owner", 22, True),
        Spell("prove", 0, 13, 1, TWO, "owner"),
    ),
    ("proving", "nothing", ""): (
        Spell("first", -2, 15, 1, TWO, "tech", 55, True),
        Spell("uncover", -1, 9.75, 0.25, "", "tech", 14, True),
        Spell("change", -1, 10, 1.5, ONE, "tech", 77, True),
        Spell("adjust", -1, 11.5, 0.25, "", "tech", 16, True),
        Spell("prove", 0, 13, 1, ONE, "tech"),
    ),
    ("tracing", "bench", "second meter out for calibration"): (
        Spell("first", -1, 13, 1, HIGH, "tech", 35),
        Spell("first", 0, 14, 2, HIGH, "tech"),
    ),
    ("tracing", "nothing", ""): (
        Spell("first", -1, 14, 1, ONE, "tech", 48),
        Spell("first", 0, 8, 1, ONE, "tech"),
    ),
    ("here", "bench", ""): (Spell("first", 0, 14, 1.5, TWO, "owner"),),
    ("here", "customer", "quote sent, no word yet"): (),
    ("here", "bay", "needs the bay with the high door"): (Spell("first", 1, 8, 2, HIGH, "tech"),),
    ("booked", "bay", "comes as soon as the lift is free"): (Spell("first", 3, 8, 2, ONE, "tech"),),
    ("booked", "customer", "has not said which day suits"): (),
    ("booked", "nothing", ""): (Spell("first", 1, 13, 2, TWO, "owner"),),
}
BLOCKED = {
    ("tracing", "bench", "second meter out for calibration"): ("first", "second meter out for calibration"),
    ("mending", "customer", "wants to think about the price"): ("change", "the customer’s yes to the supplement"),
    ("here", "customer", "quote sent, no word yet"): ("first", "the customer’s yes"),
}
"""Story -> the task that waits, and the word for what."""
RUNNING = ("mending", "nothing", "")
HALF_WAY_SPELLS = (Spell("first", -1, 15.25, 0.75, TWO, "tech", 41), Spell("first", 0, 9, 1, TWO, "tech"))


def write_everyday(
    jobs: Sequence[tuple[Job, JobRecord]],
    users: Mapping[str, User],
    systems: Mapping[str, tuple[SystemRevision, TopSystem]],
    today: date,
    zone: tzinfo,
) -> None:
    """`jobs`: those of the scenario, oldest first. `today`: the day of the load, in the shop's time `zone`."""
    now = timezone.now() if today == timezone.localdate() else at(today, 10, zone)
    days = Days(today, now, zone)
    write_past(jobs, users, systems, today)
    write_car_files(jobs, users, today)
    bays = _write_shop(users, days)
    running = None
    for job, record in jobs:
        story = (str(job.stage), str(job.hold), job.hold_note)
        spells = HALF_WAY_SPELLS if record.title == HALF_WAY else STORIES.get(story)
        if spells is None or job.car.system not in systems:
            continue
        here = Here(job, record, systems[job.car.system][1], users)
        tasks = make_plan(here, days)
        _live(tasks, spells, users, bays, days, made=here.came)
        write_open_offers(here, days)
        if story in BLOCKED:
            role, note = BLOCKED[story]
            with then(days.at(-1, 13.75)):
                task_block(task=tasks[role], by=users["tech"], note=note)
        running = tasks["change"] if story == RUNNING else running
    if running is not None:
        with then(max(now - RUNS_FOR, at(timezone.localtime(now).date(), 0, zone))):
            clock_start(task=running, by=users["tech"])
    write_shelf(jobs, users, today, days)


def _write_shop(users: Mapping[str, User], days: Days) -> dict[str, Bay]:
    with then(days.at(-10, 8)):
        bays = {name: bay_add(name=name, by=users["owner"]) for name in BAYS}
        for who, first, last, why in AWAY:
            away_add(person=users[who], first_day=days.day(first), last_day=days.day(last), by=users[who], words=why)
    return bays


def _live(
    tasks: Mapping[str, Task], spells: Sequence[Spell], users: Mapping[str, User], bays: Mapping[str, Bay], days: Days,
    made: datetime,
) -> None:  # fmt: skip
    """Book and work what the story says of a car; a role that its plan has not is left out."""
    for spell in spells:
        task, who = tasks.get(spell.role), users[spell.who]
        if task is None:
            continue
        begins = days.at(spell.day, spell.hour)
        if spell.bay:
            with then(min(made, begins)):
                booking_place(
                    task=task, bay=bays[spell.bay], person=who, by=users["counter"], starts_at=begins,
                    ends_at=begins + timedelta(hours=spell.hours),
                )  # fmt: skip
        if spell.worked:
            _work(task, who, begins, begins + timedelta(minutes=spell.worked), ends=spell.ends)


def _work(task: Task, who: User, begins: datetime, until: datetime, *, ends: bool) -> None:
    with then(begins):
        clock_start(task=task, by=who)
    with then(until):
        clock = running_of(who)
        if ends:
            task_end(task=task, by=who)
        elif clock is not None:
            clock_stop(clock=clock, by=who)
