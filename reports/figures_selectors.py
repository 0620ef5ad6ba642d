"""The reads of the figures: what was recorded in a span of months, in queries whose number does not grow with it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import SystemRevision
from reports.figures.comebacks import Candidate, candidates
from reports.figures.records import COMEBACK_DAYS, Facts, Hit, JobFacts, Move, Shift, Span
from reports.models import SuspectHit
from shop.models import Clock, ComebackCause, CostKind, Hold, Job, Stage, Task, TaskKind, TaskState, TrailEntry
from shop.selectors.estimates import approved_lines

MARGIN = dt.timedelta(days=COMEBACK_DAYS + 1)
NEEDS_HOURS, NEEDS_MOVES, NEEDS_SHIFTS, NEEDS_HITS = ("hours",), ("throughput", "stages"), ("people",), ("suspects",)


def systems_named() -> dict[str, str]:
    """Slug -> title of the newest revision of every declared top system."""
    return dict(SystemRevision.objects.order_by("revision").values_list("slug", "title"))


def facts_of(span: Span, *, figures: Iterable[str], systems: dict[str, str], system: str | None = None) -> Facts:
    """What the named figures count in a span; `system`: of the cars with this top system only ('': of those without a
    declared one)."""
    wanted = set(figures)
    jobs = _jobs(span, system)
    facts = Facts(
        span=span,
        now=timezone.localtime(),
        jobs=tuple(_job(row) for row in jobs.values_list(*_FIELDS)),
        systems=systems,
        stages={one.value: str(one.label) for one in Stage},
        holds={one.value: str(one.label) for one in Hold},
        causes={**{one.value: str(one.label) for one in ComebackCause}, "": _("nobody said why")},
    )
    if wanted & {*NEEDS_HOURS}:
        facts = replace(facts, jobs=_with_hours(facts.jobs, jobs.filter(finished_at__gte=_midnight(span.begins))))
    if wanted & {*NEEDS_HITS}:
        facts = replace(facts, jobs=_with_hits(facts.jobs, jobs))
    if wanted & {*NEEDS_MOVES}:
        facts = replace(facts, moves=_moves(jobs))
    if wanted & {*NEEDS_SHIFTS}:
        facts = replace(facts, shifts=_shifts(span, system))
    return facts


_FIELDS = (
    "pk", "car", "car__system", "opened_at", "finished_at", "comeback_of", "comeback_cause", "comeback_judged_at",
)  # fmt: skip


def _midnight(day: dt.date) -> dt.datetime:
    return timezone.make_aware(dt.datetime.combine(day, dt.time()))


def _jobs(span: Span, system: str | None) -> QuerySet[Job]:
    """The jobs that were in the shop in the span, and those close enough to be what a car came back from or with."""
    first, last = _midnight(span.begins) - MARGIN, _midnight(span.ends) + MARGIN
    jobs = Job.objects.filter(Q(finished_at=None) | Q(finished_at__gte=first), opened_at__lt=last)
    return (jobs if system is None else jobs.filter(car__system=system)).order_by()


def _job(row: tuple[Any, ...]) -> JobFacts:
    pk, car, system, opened, finished, comeback_of, cause, judged = row
    finished = timezone.localtime(finished) if finished else None
    return JobFacts(
        pk, car, system, timezone.localtime(opened), finished, comeback_of, cause, judged=judged is not None
    )


def _with_hours(jobs: Iterable[JobFacts], rows: QuerySet[Job]) -> tuple[JobFacts, ...]:
    """With what was sold, planned and worked on the jobs of `rows`."""
    own = rows.values("pk")
    hours = approved_lines().filter(kind=CostKind.LABOUR, unit__in=["h", _("h")], version__estimate__job__in=own)
    sold: dict[int, Decimal] = {}
    for job, quantity in hours.values_list("version__estimate__job", "quantity"):
        sold[job] = sold.get(job, Decimal(0)) + quantity
    labour = Task.objects.filter(job__in=own, kind=TaskKind.LABOUR, planned_minutes__gt=0)
    minutes = labour.exclude(state=TaskState.DROPPED).order_by().values_list("job").annotate(Sum("planned_minutes"))
    clocks = _worked().filter(task__job__in=own).order_by().values_list("task__job")
    planned, worked = dict(minutes), dict(clocks.annotate(spent=Sum(F("stopped_at") - F("started_at"))))
    return tuple(
        replace(
            job,
            sold=sold.get(job.pk),
            planned=planned.get(job.pk),
            worked=worked[job.pk].total_seconds() if job.pk in worked else None,
        )
        for job in jobs
    )


def _worked() -> QuerySet[Clock]:
    """Clocks that were stopped; one whose times are equal was struck."""
    return Clock.objects.filter(stopped_at__gt=F("started_at"))


def _with_hits(jobs: Iterable[JobFacts], rows: QuerySet[Job]) -> tuple[JobFacts, ...]:
    found = SuspectHit.objects.filter(job__in=rows.values("pk"), place__isnull=False)
    hits = {
        pk: Hit(timezone.localtime(at).date(), place or 0, brier or 0.0)
        for pk, at, place, brier in found.values_list("job", "at", "place", "brier")
    }
    return tuple(replace(job, hit=hits.get(job.pk)) for job in jobs)


def _moves(rows: QuerySet[Job]) -> tuple[Move, ...]:
    told = TrailEntry.objects.filter(job__in=rows.values("pk"), kind__startswith="job.").exclude(became="")
    entries = told.order_by("job", "at", "pk").values_list("job", "at", "became", "kind")
    return tuple(Move(job, timezone.localtime(at), became, kind == "job.held") for job, at, became, kind in entries)


def _shifts(span: Span, system: str | None) -> tuple[Shift, ...]:
    within = {"started_at__gte": _midnight(span.begins), "started_at__lt": _midnight(span.ends)}
    clocks = _worked().filter(**within).select_related("person", "task")
    if system is not None:
        clocks = clocks.filter(task__job__car__system=system)
    return tuple(
        Shift(one.task.job_id, str(one.person), timezone.localtime(one.started_at).date(), _seconds(one))
        for one in clocks
    )


def _seconds(clock: Clock) -> float:
    assert clock.stopped_at is not None  # noqa: S101 - asked for so
    return (clock.stopped_at - clock.started_at).total_seconds()


def jobs_listed(keys: Iterable[int]) -> QuerySet[Job]:
    return Job.objects.filter(pk__in=list(keys)).select_related("car").order_by("-opened_at", "-pk")


def comebacks_to_judge(facts: Facts, most: int) -> tuple[list[tuple[Job, Job, Candidate]], int]:
    """The first `most` jobs that may be comebacks, each with the one before it; and how many there are in all."""
    found = [one for one in candidates(facts.jobs) if facts.span.has(_opened(facts, one))]
    shown = found[:most]
    keys = {key for one in shown for key in (one.job, one.after)}
    jobs = Job.objects.select_related("car").in_bulk(keys) if keys else {}
    return [(jobs[one.job], jobs[one.after], one) for one in shown], len(found)


def _opened(facts: Facts, one: Candidate) -> dt.date:
    return next(job.opened.date() for job in facts.jobs if job.pk == one.job)
