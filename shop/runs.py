"""Runs of background work: how a task tells the waiting person how far it is. Used by the tasks of every app."""

from django.db.models import F
from django.utils import timezone

from shop.models import Job, RunState, TaskRun, User


def run_queue(*, kind: str, title: str, by: User | None, job: Job | None = None, total: int = 1) -> TaskRun:
    """A new run, waiting for the worker. The caller queues the task on commit with the run's id."""
    return TaskRun.objects.create(kind=kind, title=title, by=by, job=job, total=total, queued_at=timezone.now())


def run_claim(run: TaskRun) -> bool:
    """Take a queued run, once: False where another worker (or an earlier delivery of the message) has it."""
    taken = TaskRun.objects.filter(pk=run.pk, state=RunState.QUEUED).update(
        state=RunState.RUNNING, started_at=timezone.now()
    )
    run.refresh_from_db()
    return taken == 1


def run_step(run: TaskRun, words: str) -> None:
    """One more part of the run is done; `words` say what comes now."""
    TaskRun.objects.filter(pk=run.pk, done__lt=F("total")).update(done=F("done") + 1, words=words[:200])


def run_finish(run: TaskRun, *, result_url: str) -> None:
    TaskRun.objects.filter(pk=run.pk).update(
        state=RunState.DONE, done=F("total"), words="", result_url=result_url, ended_at=timezone.now()
    )


def run_fail(run: TaskRun, words: str) -> None:
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.FAILED, words=words[:200], ended_at=timezone.now())
