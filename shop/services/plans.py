"""The work plan of a job: tasks added, changed, put in order, ended, dropped, taken up again, blocked."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Job, Task, TaskKind, TaskOrder, TaskPart, TaskState, User
from shop.permissions import require
from shop.planning.network import CycleError, in_order
from shop.planning.templates import PlanTemplate
from shop.services.clocks import stop_all
from shop.services.trail import trail_record

MINUTES_AT_MOST = 60_000
"""A thousand hours of one task: more is a slip of the finger."""
TASKS_AT_MOST = 200


@transaction.atomic
def task_add(*, job: Job, by: User, title: str, after: Sequence[Task] = (), **facts: Any) -> Task:
    """A task at the end of the plan; `facts` as TASK_FACTS. It begins after the tasks in `after`."""
    require(by, "plan.write")
    job = open_job(job.pk)
    count = job.tasks.count()
    if count >= TASKS_AT_MOST:
        raise ShopError(_("A plan has at most {count} tasks.").format(count=TASKS_AT_MOST))
    number = (job.tasks.aggregate(most=Max("number"))["most"] or 0) + 1
    task = Task(job=job, number=number)
    _set(task, title, facts)
    task.save()
    for before in after:
        _wait_for(task, before)
    tell(task, by, "task.added", _("Task added: {task}.").format(task=task.title))
    return task


@transaction.atomic
def plan_apply(*, job: Job, by: User, template: PlanTemplate) -> list[Task]:
    """The template's tasks at the end of the plan, with their order, parts and cautions, in the language of whoever
    takes it (shop/plan_words.py); all of them or none."""
    made: dict[str, Task] = {}
    for row in template.tasks:
        least, planned, most = row.minutes or (None, 0, None)
        outside = row.outside_days is not None
        made[row.key] = task_add(
            job=job, by=by, title=_(row.title), kind=TaskKind.OUTSIDE if outside else TaskKind.LABOUR,
            planned_minutes=planned, least_minutes=least, most_minutes=most, outside_days=row.outside_days,
            needs_bay=row.needs_bay and not outside, caution=_(row.caution),
            kind_of_work=f"{template.slug}/{row.key}",
        )  # fmt: skip
    for row in template.tasks:
        for before in row.after:
            _wait_for(made[row.key], made[before])
        TaskPart.objects.bulk_create(TaskPart(task=made[row.key], name=_(name)) for name in row.parts)
    return list(made.values())


@transaction.atomic
def task_change(*, task: Task, by: User, title: str, **facts: Any) -> Task:
    require(by, "plan.write")
    task = open_task(task)
    _set(task, title, facts)
    task.save()
    tell(task, by, "task.changed", _("Task changed: {task}.").format(task=task.title))
    return task


@transaction.atomic
def task_move(*, task: Task, by: User, up: bool) -> Task:
    """One place up or down in the list; what waits for what stays. At the end of the list nothing happens."""
    require(by, "plan.write")
    open_job(task.job_id)
    rows = list(Task.objects.filter(job=task.job_id).order_by("number"))
    at = next(place for place, row in enumerate(rows) if row.pk == task.pk)
    to = at - 1 if up else at + 1
    if not 0 <= to < len(rows):
        return task
    one, other = rows[at], rows[to]
    free = rows[-1].number + 1
    first, second = one.number, other.number
    for row, number in ((one, free), (other, first), (one, second)):
        row.number = number
        row.save(update_fields=["number"])
    tell(one, by, "task.moved", _("Task {task} is number {number} now.").format(task=one.title, number=second))
    return one


@transaction.atomic
def task_end(*, task: Task, by: User, dropped: bool = False) -> list[str]:
    """Done, or dropped. Clocks that run on it stop: returns whose. Conflict where a clock was forgotten over night."""
    require(by, "clock.write" if not dropped else "plan.write")
    task = open_task(task)
    if not dropped:
        _nothing_before(task)
    stopped = stop_all(task=task, by=by)
    task.state = TaskState.DROPPED if dropped else TaskState.DONE
    task.ended_at, task.ended_by, task.blocked_note = timezone.now(), by, ""
    task.save(update_fields=["state", "ended_at", "ended_by", "blocked_note"])
    words = _("Task dropped: {task}.") if dropped else _("Task done: {task}.")
    tell(task, by, "task.dropped" if dropped else "task.done", words.format(task=task.title))
    return stopped


@transaction.atomic
def task_reopen(*, task: Task, by: User) -> Task:
    """Done or dropped was a mistake, or there is more to do: the task is open again with all that was worked on it."""
    require(by, "clock.write")
    open_job(task.job_id)
    task = Task.objects.select_for_update().get(pk=task.pk)
    if task.state == TaskState.OPEN:
        raise Conflict(_("“{task}” is open already.").format(task=task.title))
    task.state, task.ended_at, task.ended_by = TaskState.OPEN, None, None
    task.save(update_fields=["state", "ended_at", "ended_by"])
    tell(task, by, "task.reopened", _("Task taken up again: {task}.").format(task=task.title))
    return task


@transaction.atomic
def task_block(*, task: Task, by: User, note: str) -> Task:
    """Say in a word what the task waits for; an empty word lifts it."""
    require(by, "clock.write")
    task = open_task(task)
    task.blocked_note = note.strip()
    task.save(update_fields=["blocked_note"])
    words = _("Task {task} waits: {note}.") if task.blocked_note else _("Task {task} can go on.")
    tell(task, by, "task.blocked", words.format(task=task.title, note=task.blocked_note))
    return task


@transaction.atomic
def order_add(*, task: Task, before: Task, by: User) -> None:
    """`task` begins after `before`. Refused with the ring of tasks named where they would wait for one another."""
    require(by, "plan.write")
    open_job(task.job_id)
    if _wait_for(task, before):
        words = _("{before} comes before {task}.").format(before=before.title, task=task.title)
        tell(task, by, "task.ordered", words)


@transaction.atomic
def order_remove(*, task: Task, before: Task, by: User) -> None:
    require(by, "plan.write")
    open_job(task.job_id)
    if TaskOrder.objects.filter(task=task, before=before).delete()[0]:
        words = _("{task} no longer waits for {before}.").format(before=before.title, task=task.title)
        tell(task, by, "task.ordered", words)


def _wait_for(task: Task, before: Task) -> bool:
    """Whether that is new. The job is locked: two people cannot close a ring from both ends."""
    if before.job_id != task.job_id:
        raise ShopError(_("A task waits only for tasks of its own job."))
    titles = {row.pk: row.title for row in Task.objects.filter(job=task.job_id)}
    waits: dict[int, list[int]] = {key: [] for key in titles}
    for one, other in TaskOrder.objects.filter(task__job=task.job_id).values_list("task", "before"):
        waits[one].append(other)
    waits[task.pk].append(before.pk)
    try:
        in_order(waits)
    except CycleError as error:
        ring = " → ".join(titles[key] for key in error.cycle)
        raise ShopError(_("These tasks would wait for one another: {ring}.").format(ring=ring)) from error
    return TaskOrder.objects.get_or_create(task=task, before=before)[1]


def _nothing_before(task: Task) -> None:
    first = Task.objects.filter(lets_begin__task=task, state=TaskState.OPEN).order_by("number").first()
    if first is not None:
        words = _("“{task}” comes after “{before}”, which is not done: end or drop that first.")
        raise Conflict(words.format(task=task.title, before=first.title))


TASK_FACTS = {
    "kind": TaskKind.LABOUR, "planned_minutes": 0, "least_minutes": None, "most_minutes": None, "needs_bay": True,
    "bay": None, "person": None, "outside_by": "", "outside_days": None, "caution": "", "kind_of_work": "",
}  # fmt: skip
"""What a task is made of beside its title, and what it is where nothing is said."""


def _set(task: Task, title: str, facts: dict[str, Any]) -> None:
    title = title.strip()
    if not title:
        raise ShopError(_("Say in a few words what is to be done."))
    if Task.objects.filter(job=task.job_id, title__iexact=title, state=TaskState.OPEN).exclude(pk=task.pk).exists():
        raise Conflict(_("“{task}” is in the plan already.").format(task=title))
    task.title = title
    for name, value in (TASK_FACTS | facts).items() if task.pk is None else facts.items():
        setattr(task, name, value)
    if task.kind == TaskKind.LABOUR:
        task.outside_days = None
    elif task.outside_days is None:
        raise ShopError(_("Say how many days the outside work takes."))
    _minutes(task)


def _minutes(task: Task) -> None:
    given = [task.least_minutes, task.planned_minutes, task.most_minutes]
    if any(value is not None and not 0 <= value <= MINUTES_AT_MOST for value in given):
        words = _("Minutes of “{task}”: expected 0 to {most}.")
        raise ShopError(words.format(task=task.title, most=MINUTES_AT_MOST))
    least, planned, most = given
    if (least is None) != (most is None):
        raise ShopError(_("Give both, the least and the most minutes, or neither."))
    if least is not None and most is not None and not least <= (planned or 0) <= most:
        words = _("Minutes of “{task}”: expected least ≤ planned ≤ most, not {least}, {planned}, {most}.")
        raise ShopError(words.format(task=task.title, least=least, planned=planned, most=most))


def open_job(pk: int) -> Job:
    """Locked until the end of the transaction."""
    job = Job.objects.select_for_update().get(pk=pk)
    if not job.is_open:
        raise Conflict(_("{number} is finished; its plan does not change any more.").format(number=job.number))
    return job


def open_task(task: Task) -> Task:
    open_job(task.job_id)
    task = Task.objects.select_for_update().get(pk=task.pk)
    if task.state != TaskState.OPEN:
        raise Conflict(_("“{task}” is ended. Take it up again first.").format(task=task.title))
    return task


def tell(task: Task, by: User, kind: str, words: str) -> None:
    trail_record(by=by, kind=kind, words=words, job=task.job, link=f"{task.job.get_absolute_url()}#plan")
