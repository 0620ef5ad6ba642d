"""The work plans of the cars that are here, by what their bench sheets say so far."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from diagnostics.engine.faults import REPAIR_MINUTES, REPLACE_MINUTES
from diagnostics.engine.system.model import Position, TopSystem
from diagnostics.models import Check, Work
from parts.models import Part
from reports.demo.past_plans import CHANGE, MEND, SERVICE, SWITCHES, usual_plans
from reports.demo.records import JobRecord
from reports.demo.then import Days, then
from shop.models import Hold, Job, Stage, Task, TaskKind, TaskPart, User
from shop.services.plan_waits import outside_sent, task_part_add, task_part_here, task_part_remove
from shop.services.plans import order_add, plan_apply, task_add

SWITCH_ROLES = ("first", "uncover", "change", "adjust", "prove", "close")
BACK_ORDER = "on back order with the maker"
EXPECTED = {BACK_ORDER: 7}
"""Workdays until an awaited part is expected, by the note; else TOMORROW."""
TOMORROW = 1
PROPPED = "Never reach under an unpropped roof or lid. Pull the fuse before working inside the frame."
CLEAR = "Clear the moving roof before each motion."


@dataclass(frozen=True, slots=True)
class Here:
    """A car that is here or booked, and its job."""

    job: Job
    record: JobRecord
    system: TopSystem
    users: Mapping[str, User]

    @property
    def came(self) -> datetime:
        """A quarter of an hour after the car was taken in; of one that is booked, after the booking."""
        return dict(self.record.stages).get("here", self.record.opened_at) + timedelta(minutes=15)

    @property
    def is_repair(self) -> bool:
        return self.record.kind == "fault" or self.job.stage in (Stage.TRACING, Stage.MENDING, Stage.PROVING)


def make_plan(here: Here, days: Days) -> dict[str, Task]:
    """Role -> task: first, uncover, change, adjust, prove, close; only the first where the car comes for less."""
    with then(here.came):
        if not here.is_repair:
            return _plan_of_visit(here)
        code, kind = _suspected(here)
        position = here.system.positions.get(code)
        if position is None or (kind == "replace" and position.kind in SWITCHES):
            tasks = _applied(here, "switch-repair")
            made = dict(zip(SWITCH_ROLES, tasks, strict=True))
        else:
            made = _plan_of_repair(here, position, kind)
    if kind == "replace":
        _await_part(here, made["change"], position, days)
    if here.job.hold_note == BACK_ORDER:
        _send_out(here, made, days)
    return made


def _applied(here: Here, slug: str) -> list[Task]:
    return plan_apply(job=here.job, by=here.users["tech"], template=usual_plans()[slug])


def _plan_of_visit(here: Here) -> dict[str, Task]:
    if here.record.kind == "inspection":
        return {"first": _applied(here, "pre-purchase")[0]}
    before: list[Task] = []
    for title, minutes in SERVICE:
        before.append(_task(here, title, minutes, before[-1:]))
    return {"first": before[0]}


def _plan_of_repair(here: Here, position: Position, kind: str) -> dict[str, Task]:
    title = CHANGE.get(position.kind, "Change the part") if kind == "replace" else MEND[kind]
    usual = REPLACE_MINUTES.get(position.kind, 40) if kind == "replace" else REPAIR_MINUTES[kind]
    minutes = 5 * round(usual / 5)
    roles = {
        "first": ("Trace the fault at the control module", 50, CLEAR),
        "uncover": ("Prop the roof and uncover the place", 5 * round(position.minutes / 5), PROPPED),
        "change": (title, minutes, PROPPED),
        "prove": ("Prove the repair and time whole motions", 25, CLEAR),
        "close": ("Cover up and tidy", 15, ""),
    }
    made: dict[str, Task] = {}
    for role, (words, planned, caution) in roles.items():
        made[role] = _task(here, words, max(planned, 10), list(made.values())[-1:], caution=caution)
    return made


def _task(here: Here, title: str, minutes: int, after: list[Task], caution: str = "") -> Task:
    return task_add(
        job=here.job, by=here.users["tech"], title=title, after=after, planned_minutes=minutes, caution=caution
    )


def _suspected(here: Here) -> tuple[str, str]:
    """The position that is worked on, or that the last finding points at ('': none yet), and the kind of work."""
    work = Work.objects.filter(job=here.job).order_by("at").first()
    if work is not None:
        return work.position, work.kind
    findings = Check.objects.filter(sheet__job=here.job, verdict="finding").order_by("at")
    found, positions = findings.exclude(position="").last(), here.system.positions
    if found is not None:
        return found.position, "replace"
    if here.job.stage == Stage.MENDING and here.job.hold in (Hold.PART, Hold.CUSTOMER):
        return next(code for code, one in positions.items() if one.kind in SWITCHES), "replace"
    if here.job.stage != Stage.TRACING and findings.filter(kind="battery").exists():
        return next(code for code, one in positions.items() if one.kind == "supply"), "charge"
    return "", "replace"


def _await_part(here: Here, task: Task, position: Position | None, days: Days) -> None:
    """The part by its number in the catalogue; it lies on the shelf, unless the job waits for it."""
    by, waits = here.users["parts"], here.job.hold == Hold.PART
    with then(here.came):
        row = TaskPart.objects.filter(task=task).first()
        if position is not None:
            if row is not None:
                task_part_remove(row=row, by=by)
            expected = days.day(EXPECTED.get(here.job.hold_note, TOMORROW)) if waits else None
            name = Part.objects.get(number=position.part).name
            row = task_part_add(task=task, by=by, name=name, part=position.part, expected_on=expected)
        if row is not None and not waits:
            task_part_here(row=row, by=by, here=True)


def _send_out(here: Here, made: dict[str, Task], days: Days) -> None:
    """While the part is awaited the pins are away to be chromed; nothing is proven before they are back."""
    with then(days.at(-5, 10)):
        away = task_add(
            job=here.job, by=here.users["tech"], title="Have the hinge pins hard-chromed", kind=TaskKind.OUTSIDE,
            outside_days=10, outside_by="Lorne Hard Chrome", needs_bay=False, after=[made["uncover"]],
        )  # fmt: skip
        order_add(task=made["prove"], before=away, by=here.users["tech"])
    with then(days.at(-4, 9)):
        outside_sent(task=away, by=here.users["counter"], on=days.day(-4))
