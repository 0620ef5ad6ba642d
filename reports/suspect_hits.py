"""Counts how the suspects of done jobs stood when the work was begun, against what the work found to be wrong.

Once for each job, in the background: it takes an inference. What the shop knows of other cars is that of today; what
the job's own checks showed is left out of it, as it is when a sheet starts.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import timedelta
from functools import partial

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.inference import believe
from diagnostics.models import BenchSheet, Work
from diagnostics.selectors.evidence import evidence_of_rows, rows_of_sheet
from reports.figures.hits import Suspected, judged
from reports.models import SuspectHit
from shop.models import Job, RunState, TaskRun, User
from shop.permissions import require
from shop.runs import run_is_alive, run_progress, run_queue, run_send

KIND = "suspect-hits"
LOST_AFTER = timedelta(hours=1)
CHUNK = 20
"""Jobs of one transaction."""
Tell = Callable[[int, int], None]


def jobs_to_count() -> QuerySet[Job]:
    """Done jobs with work that says what was wrong, not counted since they were done."""
    told = Work.objects.filter(job=OuterRef("pk")).exclude(mode__in=["", Work.PRECAUTION])
    new = Q(suspect_hit=None) | Q(suspect_hit__counted_at__lt=F("finished_at"))
    return Job.objects.filter(new, Exists(told), finished_at__isnull=False).order_by("pk")


@transaction.atomic
def hits_ask(*, by: User | None) -> TaskRun:
    """Queue the counting (`by` None: every night); where one waits or runs already, that one."""
    from reports.tasks import suspect_hits_task  # the task calls this module

    if by is not None:
        require(by, "figures.see")
    for run in TaskRun.objects.filter(kind=KIND, state__in=[RunState.QUEUED, RunState.RUNNING]):
        if run_is_alive(run, lost_after=LOST_AFTER, words=_("The worker stopped before it was done.")):
            return run
    shown = reverse("reports:figure", args=["suspects"])
    run = run_queue(kind=KIND, title=_("Counting how often the first suspect was right"), by=by, result_url=shown)
    transaction.on_commit(partial(run_send, run, suspect_hits_task))
    return run


def hits_run(run: TaskRun) -> None:
    """What the worker does; what was counted before it was called off stays. Raises Cancelled."""
    words = _("Weighing the suspects of done jobs again, as they stood before the work")
    hits_count(lambda done, total: run_progress(run, done=done, total=total, words=words))


def hits_count(tell: Tell = lambda _done, _total: None) -> int:
    """Count all jobs that are to be counted; how many those were."""
    keys = list(jobs_to_count().values_list("pk", flat=True))
    for done in range(0, len(keys), CHUNK):
        tell(done, len(keys))
        _count_chunk(keys[done : done + CHUNK])
    tell(len(keys), len(keys))
    return len(keys)


@transaction.atomic
def _count_chunk(keys: Iterable[int]) -> None:
    now = timezone.now()
    rows = [_hit(job) for job in Job.objects.filter(pk__in=list(keys))]
    for row in rows:
        row.counted_at = now
    SuspectHit.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["job"], update_fields=["at", "place", "brier", "counted_at"]
    )


def _hit(job: Job) -> SuspectHit:
    """The job's row; without a place where no check on a declared system was made before the work."""
    work = list(Work.objects.filter(job=job).order_by("at", "pk"))
    begun = work[0].at
    sheets = BenchSheet.objects.filter(job=job, revision__isnull=False, opened_at__lte=begun)
    sheet = sheets.select_related("car", "revision").order_by("-opened_at", "-pk").first()
    rows = rows_of_sheet(sheet) if sheet is not None else None
    if rows is None:
        return SuspectHit(job=job, at=begun)
    before = replace(rows, checks=tuple(one for one in rows.checks if one.at < begun), work=())
    evidence = evidence_of_rows(before)
    if evidence.is_empty:
        return SuspectHit(job=job, at=begun)
    belief = believe(evidence.system, evidence.case, priors=evidence.priors.chances, step_times=evidence.step_times)
    suspected = [
        Suspected((fault.position, fault.mode), float(share))
        for fault, share in zip(belief.model.faults, belief.shares, strict=True)
    ]
    found = {(one.position, one.mode) for one in work if one.mode not in ("", Work.PRECAUTION)}
    place, brier = judged(suspected, found)
    return SuspectHit(job=job, at=begun, place=place, brier=brier)
