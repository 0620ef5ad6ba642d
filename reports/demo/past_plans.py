"""What the last twelve months' jobs were planned and worked, in bulk; `past_offers` writes what they were sold for.

The times are those of the bench sheets, so that clocks, stages and checks tell one story. Planned minutes are what such
work is given (common practice, no source); what was worked differs from them as it does in life.
"""

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.faults import repair_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import SystemRevision
from parts.models import Part
from reports.demo.jobs import at, workday
from reports.demo.past_offers import Offer, write_offers
from reports.demo.records import JobRecord, SheetRecord, WorkRecord
from reports.demo.writer import BATCH, Books
from shop.models import Clock, Hold, Job, Task, TaskOrder, TaskPart, TaskState, TrailEntry, User
from shop.planning.templates import PlanTemplate, templates_of

DAYS = 365
PLANNED, CLOCKED, OFFERED, BAY_TAKEN = 0.65, 0.92, 0.85, 0.3
"""Shares of the jobs: that somebody planned; of those, at which clocks were tapped, that were offered in writing, and
for which a bay was still taken when the car was here."""
BY_OWNER, BY_LINK = 0.4, 0.6
"""Shares: of the last tasks, those that the owner takes over from the technician; of the answers that were waited for,
those that the customer gave by the private link."""
LONG = timedelta(hours=3)
"""Between the last check and the work: then the job waited for an answer and a part."""
UNDER_PRESSURE = "Hold the cylinders under pressure"
INSPECTION = (
    ("pre-purchase/look", "", 15), ("pre-purchase/module", "", 70), ("pre-purchase/motions", "", 15),
    ("", UNDER_PRESSURE, 35),
)  # fmt: skip
SERVICE = (("Look over the top and its fluid", 15), ("Time whole motions", 15), ("Grease latches and joints", 20))
SWITCHES = ("switch", "control-switch", "hall-sensor", "angle-sensor")
CHANGE = {
    "cylinder": "Change the cylinder", "pump": "Change the pump", "valve": "Change the valve",
    "motor": "Change the motor", "module": "Change the module",
}  # fmt: skip
MEND = {
    "adjust": "Adjust the trigger", "plug-in": "Plug in and secure the connector", "mend-wire": "Mend the wire",
    "trim": "Free and grease what binds", "refill": "Fill and bleed", "charge": "Charge the battery",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """A task that ended. `like`: the task of a template that it was made from (`plan/task`), or `title` and planned
    `minutes`; `work`: the repair that it was, None where it was another thing."""

    like: str
    title: str
    minutes: int
    began: datetime
    ended: datetime
    who: str
    work: WorkRecord | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """A job with its tasks, parallel to their pieces. `moments`: when it came to each stage; `quiet`: the last check
    before the work."""

    job: Job
    system: TopSystem
    dice: random.Random
    moments: Mapping[str, datetime]
    quiet: datetime
    pieces: tuple[Piece, ...]
    tasks: tuple[Task, ...]

    @property
    def waited(self) -> bool:
        """Whether days went by between the tracing and the work."""
        return "mending" in self.moments and self.moments["mending"] - self.quiet > LONG

    @property
    def answered(self) -> datetime:
        """When the customer said yes to what the tracing found: the next morning, or in the afternoon where the work
        began that morning."""
        zone = timezone.get_default_timezone()
        morning = at(workday(self.quiet.date() + timedelta(days=1)), 9.2, zone)
        if morning < self.moments["mending"]:
            return morning
        return max(at(self.quiet.date(), 16.3, zone), self.quiet + timedelta(minutes=40))


def write_past(
    jobs: Sequence[tuple[Job, JobRecord]],
    users: Mapping[str, User],
    systems: Mapping[str, tuple[SystemRevision, TopSystem]],
    today: date,
) -> None:
    """Plans, clocks, answered estimates and outlays of jobs that are done, with their trail."""
    books = Books(users, systems)
    pasts = list(_chosen(jobs, books, today))
    Task.objects.bulk_create([task for past in pasts for task in past.tasks], BATCH)
    orders = [TaskOrder(task=task, before=before) for past in pasts for before, task in pairwise(past.tasks)]
    TaskOrder.objects.bulk_create(orders, BATCH)
    names = dict(Part.objects.values_list("number", "name"))
    TaskPart.objects.bulk_create([row for past in pasts for row in _parts(past, names)], BATCH)
    Clock.objects.bulk_create([row for past in pasts for row in _clocks(past)], BATCH)
    for past in pasts:
        _tell(books, past)
    write_offers([_offer(past) for past in pasts if past.dice.random() < OFFERED], books)
    TrailEntry.objects.bulk_create(sorted(books.trail, key=lambda entry: entry.at), BATCH)


def _chosen(jobs: Sequence[tuple[Job, JobRecord]], books: Books, today: date) -> Iterator[Past]:
    """Cars that stand here done all have a plan, others most of the time."""
    for job, record in jobs:
        # Dice of each job's own: one more job moves nothing in another's plan.
        dice = random.Random(f"past:{job.car.vin}:{record.opened_at.isoformat()}")  # noqa: S311 - a story, no secret
        done, sheet = record.finished_at, record.sheet
        if done is None or sheet is None or not job.car.system or done.date() < today - timedelta(days=DAYS):
            continue
        if record.stage == "done" or dice.random() < PLANNED:
            system = books.systems[job.car.system][1]
            moments = dict(record.stages)
            quiet = max(one.at for one in sheet.checks if not one.observation.get("after_work"))
            pieces = tuple(_pieces(record, sheet, system, moments, quiet, dice))
            tasks = tuple(_task(job, number, piece, books) for number, piece in enumerate(pieces, start=1))
            yield Past(job, system, dice, moments, quiet, pieces, tasks)


def _pieces(
    record: JobRecord, sheet: SheetRecord, system: TopSystem, moments: Mapping[str, datetime], quiet: datetime,
    dice: random.Random,
) -> Iterator[Piece]:  # fmt: skip
    """Tracing up to the last check before the work, each repair up to its entry, the proof up to the last check."""
    last, done = max(one.at for one in sheet.entries), moments["done"]
    who = "owner" if dice.random() < BY_OWNER else "tech"
    begins = moments["tracing"]
    if sheet.work:
        yield Piece("switch-repair/trace", "", 0, begins, quiet, "tech")
        begins = moments.get("mending", quiet)  # what only the proof showed was mended without a stage of its own
        for work in sheet.work:
            yield from _repair(system, work, min(begins, work.at))
            begins = work.at
        yield Piece("switch-repair/prove", "", 0, begins, max(begins, last), "tech")
        yield Piece("switch-repair/close", "", 0, min(last, done), done, who)
        return
    shares = list(INSPECTION) if record.kind == "inspection" else [("", title, minutes) for title, minutes in SERVICE]
    if all(position.kind != "cylinder" for position in system.positions.values()):
        shares = [share for share in shares if share[1] != UNDER_PRESSURE]
    whole, spent = sum(minutes for _like, _title, minutes in shares), last - begins
    for like, title, minutes in shares:
        yield Piece(like, title, minutes, begins, begins + spent * minutes / whole, "tech")
        begins += spent * minutes / whole
    if record.kind == "inspection":
        yield Piece("pre-purchase/paper", "", 0, min(last, done), done, who)
    else:
        yield Piece("", "Cover up and tidy", 15, min(last, done), done, who)


def _repair(system: TopSystem, work: WorkRecord, began: datetime) -> Iterator[Piece]:
    """A switch is uncovered and changed, half of the time each; another repair is one task of the usual minutes."""
    kind = system.positions[work.position].kind
    if work.kind == "replace" and kind in SWITCHES:
        half = began + (work.at - began) / 2
        yield Piece("switch-repair/prop", "", 0, began, half, "tech")
        yield Piece("switch-repair/change", "", 0, half, work.at, "tech", work)
    else:
        minutes = 5 * round(repair_of(system, Fault(work.position, work.mode)).minutes / 5)
        title = CHANGE[kind] if work.kind == "replace" else MEND[work.kind]
        yield Piece("", title, minutes, began, work.at, "tech", work)


def _task(job: Job, number: int, piece: Piece, books: Books) -> Task:
    task = Task(
        job=job, number=number, title=piece.title, planned_minutes=piece.minutes, kind_of_work=piece.like,
        state=TaskState.DONE, ended_at=piece.ended, ended_by=books.users[piece.who],
    )  # fmt: skip
    if piece.like:
        slug, key = piece.like.split("/")
        like = next(row for row in usual_plans()[slug].tasks if row.key == key)
        task.title, task.caution, task.needs_bay = like.title, like.caution, like.needs_bay
        task.least_minutes, task.planned_minutes, task.most_minutes = like.minutes
    return task


def usual_plans() -> dict[str, PlanTemplate]:
    return templates_of(Path(settings.BASE_DIR) / "fixtures" / "plans.yaml")


def _parts(past: Past, names: Mapping[str, str]) -> Iterator[TaskPart]:
    for task, piece in zip(past.tasks, past.pieces, strict=True):
        if piece.work is not None and piece.work.part:
            number = piece.work.part
            yield TaskPart(task=task, part=number, name=names[number], here_on=piece.began.date())


def _clocks(past: Past) -> Iterator[Clock]:
    if past.dice.random() < CLOCKED:
        for task, piece in zip(past.tasks, past.pieces, strict=True):
            yield Clock(task=task, person=task.ended_by, started_at=piece.began, stopped_at=piece.ended)


def _tell(books: Books, past: Past) -> None:
    """Tasks added once the car is here, and done; what held the job up in between."""
    link = f"{past.job.get_absolute_url()}#plan"
    for task, piece in zip(past.tasks, past.pieces, strict=True):
        words = _("Task added: {task}.").format(task=task.title)
        added = past.quiet - timedelta(minutes=4) if piece.work is not None else past.moments["here"]
        books.tell(added, "tech", "task.added", words, past.job.car, past.job, link)
        words = _("Task done: {task}.").format(task=task.title)
        books.tell(piece.ended, piece.who, "task.done", words, past.job.car, past.job, link)
    if past.dice.random() < BAY_TAKEN:
        _held(books, past, past.moments["here"] + timedelta(minutes=5), Hold.BAY)
        _held(books, past, past.moments["tracing"], Hold.BENCH)
    if past.waited:
        _held(books, past, past.quiet + timedelta(minutes=30), Hold.CUSTOMER)
        _held(books, past, past.answered, Hold.PART)
        _held(books, past, past.moments["mending"], Hold.NOTHING)


def _held(books: Books, past: Past, since: datetime, hold: Hold) -> None:
    job = past.job
    words = _("{number} waits for {what}.").format(number=job.number, what=hold.label)
    books.tell(since, "tech", "job.held", words, job.car, job, job.get_absolute_url(), hold.value)


def _offer(past: Past) -> Offer:
    """Sent and answered while the job waited, or on the telephone before the work; without a repair at the counter."""
    begun = past.moments.get("mending", past.quiet)
    sent, answered = past.quiet - timedelta(minutes=3), past.quiet
    if past.waited:
        sent, answered = past.quiet + timedelta(minutes=30), past.answered
    elif "mending" not in past.moments:
        sent, answered = (past.moments["here"] + timedelta(minutes=minutes) for minutes in (10, 14))
    parts = {
        task: (piece.work.part, past.system.positions[piece.work.position])
        for task, piece in zip(past.tasks, past.pieces, strict=True)
        if piece.work is not None and piece.work.part
    }
    by_link = past.waited and past.dice.random() < BY_LINK
    return Offer(past.job, past.dice, past.tasks, parts, sent, answered, begun, by_link)
