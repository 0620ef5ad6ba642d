"""Clocks: one person at work on a task, from a tap to a tap."""

import datetime as dt

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, Refused, ShopError
from shop.models import Clock, Job, Task, TaskKind, TaskState, User
from shop.permissions import may, require
from shop.selectors.ready import is_forgotten
from shop.services.trail import trail_record
from shop.words import clock_words


class ClockForgotten(Conflict):
    """The clock ran since an earlier day: its end is asked for and never taken as it stands."""

    def __init__(self, clock: Clock) -> None:
        since = clock_words(clock.started_at)
        words = _("The clock of {person} on “{task}” runs since {since}: when did it stop?")
        super().__init__(words.format(person=clock.person, task=clock.task.title, since=since))
        self.clock = clock


@transaction.atomic
def clock_start(*, task: Task, by: User) -> Clock | None:
    """The person's clock runs on `task` from now. Returns the clock that this stopped: one person, one clock.

    Raises ClockForgotten where theirs ran over night, Conflict where the task is ended, is outside work, or the same
    person tapped twice at once.
    """
    require(by, "clock.write")
    # Job, task, clock: the order in which a plan is locked everywhere; in another one two people wait for each other.
    Job.objects.select_for_update().get(pk=task.job_id)
    task = Task.objects.select_for_update(of=("self",)).select_related("job").get(pk=task.pk)
    if task.state != TaskState.OPEN or not task.job.is_open:
        raise Conflict(_("“{task}” is ended. Take it up again first.").format(task=task.title))
    if task.kind == TaskKind.OUTSIDE:
        raise Conflict(_("“{task}” is outside work: nobody here works on it.").format(task=task.title))
    running = _running(by).select_for_update(of=("self",)).first()
    if running is not None and running.task_id == task.pk:
        if is_forgotten(running, timezone.now()):
            raise ClockForgotten(running)
        return None
    if running is not None:
        _stop(running)
    try:
        with transaction.atomic():
            Clock.objects.create(task=task, person=by, started_at=timezone.now())
    except IntegrityError as error:
        raise Conflict(_("Your clock was started elsewhere at the same moment. Look again.")) from error
    return running


@transaction.atomic
def clock_stop(*, clock: Clock, by: User) -> Clock:
    """Their own clock only: nobody stops another's, the owner corrects it."""
    require(by, "clock.write")
    clock = _locked(clock)
    _own(clock, by)
    if clock.stopped_at is None:
        _stop(clock)
    return clock


@transaction.atomic
def clock_set(
    *, clock: Clock, by: User, stopped_at: dt.datetime, why: str, started_at: dt.datetime | None = None
) -> Clock:
    """Say when a clock really stopped (aware). People do this with their own running clock; the owner with any, the
    start too; equal times strike it. What is wrong with the times is refused and nothing changes."""
    require(by, "clock.write")
    Job.objects.select_for_update(of=("self",)).get(tasks__clocks=clock.pk)
    clock = _locked(clock)
    if not may(by, "clock.correct"):
        _own(clock, by)
        if clock.stopped_at is not None or started_at is not None:
            raise Refused(_("Only the owner of the shop corrects a clock that has stopped."))
    why, starts = why.strip(), started_at or clock.started_at
    if not why:
        raise ShopError(_("Say in a few words why the clock is set by hand."))
    if stopped_at < starts:
        raise ShopError(_("It cannot stop before it started, {since}.").format(since=clock_words(starts)))
    if stopped_at > timezone.now():
        raise ShopError(_("The end lies in the future; expected a time up to now."))
    if stopped_at - starts > dt.timedelta(hours=16):
        raise ShopError(_("Nobody works more than 16 hours at a stretch; the clock started {since}.").format(
            since=clock_words(starts)))  # fmt: skip
    was = clock_words(clock.stopped_at) if clock.stopped_at else _("running")
    clock.started_at, clock.stopped_at, clock.why, clock.corrected_by = starts, stopped_at, why, by
    clock.save(update_fields=["started_at", "stopped_at", "why", "corrected_by"])
    words = _("Clock of {person} on {task}: {was} → {now}. {why}").format(
        person=clock.person, task=clock.task.title, was=was, now=clock_words(stopped_at), why=why
    )
    job = clock.task.job
    trail_record(by=by, kind="clock.set", words=words, job=job, link=f"{job.get_absolute_url()}#plan")
    return clock


def running_of(person: User) -> Clock | None:
    return _running(person).first()


def stop_all(*, task: Task, by: User) -> list[str]:
    """Stop every clock on the task, inside the transaction that ends it; whose they were."""
    rows = list(
        Clock.objects.select_for_update(of=("self",))
        .select_related("person", "task")
        .filter(task=task, stopped_at=None)
    )
    for clock in rows:
        _stop(clock)
    return [str(clock.person) for clock in rows]


def _running(person: User) -> QuerySet[Clock]:
    return Clock.objects.select_related("task__job").filter(person=person, stopped_at=None)


def _locked(clock: Clock) -> Clock:
    return Clock.objects.select_for_update(of=("self",)).select_related("person", "task__job__car").get(pk=clock.pk)


def _own(clock: Clock, by: User) -> None:
    if clock.person_id != by.pk:
        raise Refused(_("This is the clock of {person}: each has their own.").format(person=clock.person))


def _stop(clock: Clock) -> None:
    """At now, or ClockForgotten."""
    now = timezone.now()
    if is_forgotten(clock, now):
        raise ClockForgotten(clock)
    # A server's clock that was set back must not lose the stop.
    clock.stopped_at = max(now, clock.started_at)
    clock.save(update_fields=["stopped_at"])
