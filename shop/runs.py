"""Runs of background work: how a task tells the waiting person how far it is, and how that person calls it off. Used by
the tasks of every app."""

import logging
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from kombu.exceptions import ChannelError, OperationalError

from shop.errors import Conflict
from shop.models import Job, RunState, TaskRun, User
from shop.permissions import may, require
from shop.services import trail_record

log = logging.getLogger(__name__)

CANCEL_PATIENCE = timedelta(minutes=1)
"""A running task looks between its parts whether it was called off. One that has not looked for so long has lost its
worker, and pressing Cancel again ends the run without it."""


class Cancelled(Exception):  # noqa: N818 - read as a word where it is raised
    """Somebody called the run off; the task leaves everything as it was."""


def run_queue(
    *, kind: str, title: str, by: User | None, job: Job | None = None, total: int = 1, result_url: str = ""
) -> TaskRun:
    """A new run, waiting for the worker. The caller queues the task on commit with the run's id. `result_url`: the page
    that it was asked from, where that is known already to be the one that shows the result."""
    return TaskRun.objects.create(
        kind=kind, title=title, by=by, job=job, total=total, result_url=result_url, queued_at=timezone.now()
    )


def run_send(run: TaskRun, task: Any, *args: object) -> None:
    """Tell the worker, once the run is committed. Where the queue does not answer the run says so, for everything else
    is committed already."""
    try:
        task.delay(str(run.pk), *args)
    except (OperationalError, ChannelError):
        log.exception("run %s could not be queued", run.pk)
        run_fail(run, _("The queue of the worker does not answer. Ask again later; if it fails again, tell the owner."))


def run_claim(run: TaskRun, *, lost_after: timedelta | None = None) -> bool:
    """Take a queued run, once: False where another worker (or an earlier delivery of the message) has it, or where it
    was called off. With `lost_after` also one that a worker took longer ago than that and never ended."""
    now = timezone.now()
    free = TaskRun.objects.filter(pk=run.pk)
    taken = free.filter(state=RunState.QUEUED).update(state=RunState.RUNNING, started_at=now)
    if not taken and lost_after is not None:
        lost = free.filter(state=RunState.RUNNING, started_at__lt=now - lost_after)
        taken = lost.update(started_at=now, done=0, words="")
    run.refresh_from_db()
    return taken == 1


def run_step(run: TaskRun, words: str) -> None:
    """One more part of the run is done; `words` say what comes now. Raises Cancelled where somebody called it off."""
    run_check(run)
    TaskRun.objects.filter(pk=run.pk, done__lt=F("total")).update(done=F("done") + 1, words=words[:200])


def run_progress(run: TaskRun, *, done: int, total: int, words: str) -> None:
    """As run_step, where the number of parts shows only while it runs. Raises Cancelled."""
    run_check(run)
    total = max(1, total)
    TaskRun.objects.filter(pk=run.pk).update(done=min(done, total), total=total, words=words[:200])


def run_check(run: TaskRun, *, locked: bool = False) -> None:
    """Raises Cancelled where somebody has called the run off, or it was written off. `locked`: hold the row until the
    end of the caller's transaction, so that nobody calls off what is just being kept."""
    rows = TaskRun.objects.select_for_update() if locked else TaskRun.objects
    now = rows.filter(pk=run.pk).values_list("state", "cancel_asked_at").first()
    if now is None or now[0] not in (RunState.QUEUED, RunState.RUNNING) or now[1] is not None:
        raise Cancelled


def run_finish(run: TaskRun, *, result_url: str, words: str = "") -> None:
    TaskRun.objects.filter(pk=run.pk).update(
        state=RunState.DONE, done=F("total"), words=words[:200], result_url=result_url, ended_at=timezone.now()
    )


def run_fail(run: TaskRun, words: str) -> None:
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.FAILED, words=words[:200], ended_at=timezone.now())


def run_is_alive(run: TaskRun, *, lost_after: timedelta, words: str) -> bool:
    """Whether the run may still end well. One that has waited or run for longer than `lost_after` has lost its message
    or its worker: it is written off with `words`, so that one can ask again."""
    if run.state not in (RunState.QUEUED, RunState.RUNNING):
        return False
    if timezone.now() - (run.started_at or run.queued_at) > lost_after:
        run_fail(run, words)
        return False
    return True


def run_may_cancel(run: TaskRun, user: User) -> bool:
    """The one who asked for it, and the owner of the shop."""
    return run.by_id == user.pk or may(user, "run.cancel")


@transaction.atomic
def run_cancel(*, run: TaskRun, by: User) -> TaskRun:
    """Call a run off: at once where it still waits, else at the end of the part that is being worked on.

    Refused for anybody but the asker and the owner; Conflict where it has ended already.
    """
    if not run_may_cancel(run, by):
        require(by, "run.cancel")
    run = TaskRun.objects.select_for_update(of=("self",)).select_related("job__car").get(pk=run.pk)
    if run.state not in (RunState.QUEUED, RunState.RUNNING):
        words = _("“{title}” has ended already: {state}.")
        raise Conflict(words.format(title=run.title, state=RunState(run.state).label))
    now = timezone.now()
    lost = run.cancel_asked_at is not None and now - run.cancel_asked_at > CANCEL_PATIENCE
    if run.cancel_asked_at is not None and not lost:
        return run  # pressed twice
    words = _("Cancelled by {who}.").format(who=by)
    run.cancel_asked_at, run.words = now, words
    if run.state == RunState.QUEUED or lost:
        run.state, run.ended_at = RunState.CANCELLED, now
    run.save(update_fields=["cancel_asked_at", "words", "state", "ended_at"])
    told = _("“{title}” was called off.").format(title=run.title)
    trail_record(by=by, job=run.job, kind="run.cancelled", words=told, link=run.get_absolute_url())
    return run


def run_cancelled(run: TaskRun) -> None:
    """The task has stopped, and everything is as it was; who called it off stands in the words already."""
    TaskRun.objects.filter(pk=run.pk, state=RunState.RUNNING).update(state=RunState.CANCELLED, ended_at=timezone.now())
