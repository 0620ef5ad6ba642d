"""What is known of a car and left undone: work that was declined, jobs called done without proof."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from shop.models import Answer, Car, Job, LineAnswer, Stage, TaskState, TrailEntry


@dataclass(frozen=True, slots=True)
class Declined:
    """Work that the customer did not want, in the words of the line; its price is between that customer and us."""

    at: dt.datetime
    words: str
    job: Job


@dataclass(frozen=True, slots=True)
class Risks:
    """Newest first. `unproven`: the trail entries by which jobs that still count as done were called so against the
    gate (they say against what and why)."""

    declined: tuple[Declined, ...]
    unproven: tuple[TrailEntry, ...]

    def __bool__(self) -> bool:
        return bool(self.declined or self.unproven)


def risks_of(car: Car) -> Risks:
    """Two queries."""
    answers = LineAnswer.objects.filter(line__version__estimate__job__car=car)
    rows = answers.select_related("line__task", "line__version__estimate__job").order_by("-at", "-pk")
    done = TrailEntry.objects.filter(job__car=car, kind__in=["job.moved", "job.overridden"])
    return Risks(tuple(_declined(rows)), tuple(_unproven(done.select_related("job", "by").order_by("-at", "-pk"))))


def _declined(rows: Iterable[LineAnswer]) -> Iterable[Declined]:
    """The newest answer to a piece of work counts: it may have been wanted after all, or done all the same."""
    told: set[str] = set()
    for row in rows:
        task = row.line.task
        if row.line.words in told:
            continue
        told.add(row.line.words)
        if row.answer == Answer.DECLINED and (task is None or task.state != TaskState.DONE):
            yield Declined(row.at, row.line.words, row.line.version.estimate.job)


def _unproven(rows: Iterable[TrailEntry]) -> Iterable[TrailEntry]:
    """Of each job that is done the entry by which it was called so last, where that was against the gate. Entries of
    years ago do not say what the job became; those against the gate are of jobs that became done."""
    told: set[int] = set()
    for row in rows:
        job = row.job
        if job is None or job.pk in told or job.stage not in (Stage.DONE, Stage.GONE):
            continue
        if row.kind == "job.overridden":
            yield row
        if row.kind == "job.overridden" or row.became == Stage.DONE:
            told.add(job.pk)
