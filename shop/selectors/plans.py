"""The work plan of a job as its page shows it, and what a person does next."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Prefetch
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from shop.models import Clock, Hold, Job, Stage, Task, TaskKind, TaskOrder, TaskState, User
from shop.planning.layout import Laid, laid_out
from shop.planning.simulate import ReadyBy
from shop.planning.workdays import Hours
from shop.selectors.plan_picture import Picture, picture_of
from shop.selectors.ready import (
    hours_of_shop,
    is_forgotten,
    next_booking,
    planned,
    ready_and_titles,
    ready_by_of,
    worked_minutes,
)
from shop.words import day_words, work_words

__all__ = ["Line", "Next", "Plan", "Ready", "next_for", "plan_of", "readiness", "ready_by_of"]

DECIDES = 1 / 3
_WAITS_FOR = Prefetch("waits_for", TaskOrder.objects.select_related("before"))
# What the job is held up by where its plan waits for this.
_HOLDS = {"part": Hold.PART, "outside": Hold.PART, "bay": Hold.BAY}


@dataclass(frozen=True)
class Line:
    """A task as the plan shows it. `worked`: (person, minutes) of each; `slack` in minutes, None where it is ended;
    `waits`: sentences of what keeps it from beginning; `why`: 'task', 'part', 'outside', 'word' or ''."""

    task: Task
    worked: tuple[tuple[User, int], ...]
    running: tuple[Clock, ...]
    forgotten: tuple[Clock, ...]
    waits: tuple[str, ...]
    why: str
    slack: int | None

    @property
    def slack_words(self) -> str:
        return work_words(self.slack or 0)

    @cached_property
    def worked_minutes(self) -> int:
        return sum(minutes for person, minutes in self.worked)

    @property
    def people_running(self) -> tuple[User, ...]:
        return tuple(clock.person for clock in self.running)

    @property
    def is_open(self) -> bool:
        return self.task.state == TaskState.OPEN

    @property
    def is_outside(self) -> bool:
        return self.task.kind == TaskKind.OUTSIDE


@dataclass(frozen=True, slots=True)
class Plan:
    """`length`: minutes of the shop's work until the last open task ends, where nobody and no bay is short; `picture`
    of that; `hold`: what the plan waits for where the job says another thing, '' where both agree."""

    job: Job
    lines: tuple[Line, ...]
    length: int
    hold: str
    picture: Picture

    @property
    def hold_words(self) -> str:
        return str(Hold(self.hold).label) if self.hold else ""


def plan_of(job: Job, now: dt.datetime | None = None) -> Plan:
    """A number of queries that does not grow with the tasks."""
    now = now or timezone.now()
    tasks = list(
        job.tasks.annotate(**next_booking(now))
        .select_related("person", "bay", "ended_by", "job")
        .prefetch_related(_WAITS_FOR, "parts", Prefetch("clocks", Clock.objects.select_related("person")))
        .order_by("number")
    )
    still = [task for task in tasks if task.state == TaskState.OPEN]
    open_keys = {task.pk for task in still}
    layout = laid_out([planned(task, open_keys, now) for task in still], now, hours_of_shop())
    lines = tuple(_line(task, now, layout.tasks.get(task.pk)) for task in tasks)
    picture = picture_of(layout, {task.pk: task.title for task in still})
    return Plan(job, lines, round(layout.length), _hold(job, lines), picture)


@dataclass(frozen=True, slots=True)
class Ready:
    """When a job will be ready, and the tasks that decide the day in at least a third of the runs, with percent.
    `late`: in at least half of the runs it is later than promised."""

    by: ReadyBy
    deciding: tuple[tuple[str, int], ...]
    late: bool


def readiness(jobs: Sequence[Job], now: dt.datetime | None = None) -> dict[int, Ready]:
    """By job, of those with open tasks. A number of queries that does not grow with the jobs."""
    found, titles = ready_and_titles(jobs, now or timezone.now())
    told = {}
    for job in jobs:
        if (by := found.get(job.pk)) is not None:
            deciding = tuple((titles[key], round(share * 100)) for key, share in by.critical if share >= DECIDES)
            late = job.promised_on is not None and timezone.localtime(by.likely).date() > job.promised_on
            told[job.pk] = Ready(by, deciding, late)
    return told


@dataclass(frozen=True, slots=True)
class Next:
    """What a person does next: their running clock first. `forgotten`: it ran over night and is asked about."""

    task: Task
    clock: Clock | None
    forgotten: bool


def next_for(person: User, now: dt.datetime, at_most: int = 6) -> list[Next]:
    """The running clock, then tasks of this person or of nobody that can begin, by the promise of their job and by how
    little slack they have."""
    clock = Clock.objects.select_related("task__job__car").filter(person=person, stopped_at=None).first()
    found = [Next(clock.task, clock, is_forgotten(clock, now))] if clock else []
    tasks = list(
        Task.objects.filter(
            state=TaskState.OPEN, job__stage__in=[Stage.HERE, Stage.TRACING, Stage.MENDING, Stage.PROVING]
        )
        .annotate(**next_booking(now))
        .select_related("job__car")
        .prefetch_related(_WAITS_FOR, "parts", "clocks")
    )
    slack = _slacks(tasks, now, hours_of_shop())
    can = [
        task
        for task in tasks
        if task.kind == TaskKind.LABOUR and task.person_id in (None, person.pk) and not _waits(task)[1]
        and (clock is None or clock.task_id != task.pk)
    ]  # fmt: skip
    can.sort(key=lambda task: (task.job.promised_on or dt.date.max, slack[task.pk], task.job_id, task.number))
    return found + [Next(task, None, False) for task in can[: max(0, at_most - len(found))]]


def _slacks(tasks: Sequence[Task], now: dt.datetime, hours: Hours) -> Mapping[int, float]:
    jobs: dict[int, list[Task]] = {}
    for task in tasks:
        jobs.setdefault(task.job_id, []).append(task)
    slack: dict[int, float] = {}
    for rows in jobs.values():
        keys = {row.pk for row in rows}
        layout = laid_out([planned(row, keys, now) for row in rows], now, hours)
        slack |= {key: one.times.slack for key, one in layout.tasks.items()}
    return slack


def _line(task: Task, now: dt.datetime, laid: Laid | None) -> Line:
    clocks = list(task.clocks.all())
    worked: dict[User, float] = {}
    for clock in clocks:
        worked[clock.person] = worked.get(clock.person, 0.0) + worked_minutes(clock, now)
    waits, why = _waits(task) if task.state == TaskState.OPEN else ((), "")
    running = tuple(clock for clock in clocks if clock.stopped_at is None)
    return Line(
        task=task,
        worked=tuple((person, round(value)) for person, value in worked.items()),
        running=running,
        forgotten=tuple(clock for clock in running if is_forgotten(clock, now)),
        waits=waits,
        why=why,
        slack=round(laid.times.slack) if laid else None,
    )


def _waits(task: Task) -> tuple[tuple[str, ...], str]:
    """Sentences of what keeps a task from beginning or, outside, from ending; the first one's key, '' for none."""
    said = [
        ("task", _("after {task}").format(task=link.before.title))
        for link in task.waits_for.all()
        if link.before.state == TaskState.OPEN
    ]
    for part in task.parts.all():
        if part.here_on is None and part.expected_on:
            said.append(("part", _("{part} until {day}").format(part=part.name, day=day_words(part.expected_on))))
        elif part.here_on is None:
            said.append(("part", _("{part}, nobody knows until when").format(part=part.name)))
    if task.kind == TaskKind.OUTSIDE and task.outside_sent_on and not task.outside_back_on:
        back = task.outside_sent_on + dt.timedelta(days=task.outside_days or 0)
        who = task.outside_by or _("outside")
        said.append(("outside", _("{who}, expected back {day}").format(who=who, day=day_words(back))))
    if task.blocked_note:
        said.append(("word", task.blocked_note))
    return tuple(words for key, words in said), said[0][0] if said else ""


def _hold(job: Job, lines: Sequence[Line]) -> str:
    """What the plan says the job waits for, where that differs from what people said: the customer is theirs to say."""
    still = [line for line in lines if line.is_open]
    first = [line for line in still if line.why != "task"]
    if not first or not job.is_open or job.hold == Hold.CUSTOMER:
        return ""
    can = any(not line.why for line in first if not line.is_outside)
    said = Hold.BENCH if can else next((_HOLDS[line.why] for line in first if line.why in _HOLDS), Hold.BENCH)
    return "" if said == job.hold or (said == Hold.BENCH and job.hold == Hold.NOTHING and can) else str(said.value)
