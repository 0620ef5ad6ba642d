"""The reads of batches: which jobs can be issued now, and what became of a batch."""

from dataclasses import dataclass

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery

from diagnostics.models import Check, Work
from reports.models import BatchItem, Certificate, CertificateBatch, CertificateState, InspectionAnswer, ItemState
from shop.models import Job, RunState, TaskRun, TrailEntry
from shop.selectors import typed

SHOWN_AT_MOST = 60
_CHANGES_JOB = ("sheet.complaint", "sheet.opened", "picture.", "inspection.", "instrument.")
_CHANGES_CAR = ("car.changed", "car.merged", "owner.changed", "odometer.")


def jobs_to_issue(words: str = "") -> list[Job]:
    """Jobs in which something was inspected, without a certificate that stands, or with something written down since
    theirs was asked for; none whose certificate is just being issued. The last inspected first, SHOWN_AT_MOST.

    `current`: the number of the certificate that stands, None where there is none; `inspected_at`: of the last check.
    Whether what was written down changes the certificate is only known when it is asked for.
    """
    rows = _with_certificate(Job.objects.select_related("car__owner")).filter(Q(current=None) | _changed())
    if words := typed(words):
        rows = rows.filter(
            Q(title__icontains=words)
            | Q(car__vin__icontains=words)
            | Q(car__plate__icontains=words)
            | Q(car__owner__name__icontains=words)
            | Q(pk__in=_keys(words))
        )
    return list(rows[:SHOWN_AT_MOST])


def _keys(words: str) -> list[int]:
    """The key of a job by its number (J00012), or none."""
    digits = words.upper().removeprefix("J")
    return [int(digits)] if digits.isascii() and digits.isdigit() and len(digits) <= 9 else []


def _with_certificate(jobs: QuerySet[Job]) -> QuerySet[Job]:
    counts = Q(sheets__checks__struck_at=None) & ~Q(sheets__checks__verdict="refused")
    own = Certificate.objects.filter(job=OuterRef("pk"))
    stands = own.filter(state=CertificateState.ISSUED).order_by("-asked_at", "-pk")
    alive = [RunState.QUEUED, RunState.RUNNING]
    waits = own.filter(state=CertificateState.ISSUING, run__state__in=alive)
    told = jobs.annotate(
        inspected_at=Max("sheets__checks__at", filter=counts),
        current=Subquery(stands.values("number")[:1]),
        current_at=Subquery(stands.values("asked_at")[:1]),
    )
    return told.filter(~Exists(waits), inspected_at__isnull=False).order_by("-inspected_at", "-pk")


def _changed() -> Q:
    """Whether something that a certificate speaks of was written down after it."""
    since = OuterRef("current_at")
    checks = Check.objects.filter(sheet__job=OuterRef("pk"))
    trail = TrailEntry.objects.filter(at__gt=since)
    of_job, of_car = (_kinds(names) for names in (_CHANGES_JOB, _CHANGES_CAR))
    return (
        Q(Exists(checks.filter(at__gt=since)))
        | Q(Exists(checks.filter(struck_at__gt=since)))
        | Q(Exists(InspectionAnswer.objects.filter(inspection__job=OuterRef("pk"), at__gt=since)))
        | Q(Exists(Work.objects.filter(job=OuterRef("pk"), at__gt=since)))
        | Q(Exists(trail.filter(of_job, job=OuterRef("pk"))))
        | Q(Exists(trail.filter(of_car, car=OuterRef("car"))))
    )


def _kinds(names: tuple[str, ...]) -> Q:
    told = Q()
    for name in names:
        told |= Q(kind__startswith=name)
    return told


@dataclass(frozen=True, slots=True)
class BatchShown:
    """`left`: items that nobody has begun, of a batch that has ended: they can be asked for again."""

    batch: CertificateBatch
    run: TaskRun | None
    items: tuple[BatchItem, ...]
    ended: bool
    left: tuple[BatchItem, ...]

    def count(self, state: str) -> int:
        return sum(item.state == state for item in self.items)

    @property
    def issued(self) -> int:
        return self.count(ItemState.ISSUED)

    @property
    def again(self) -> tuple[BatchItem, ...]:
        """What can be tried again: what failed, and what nobody has begun."""
        return tuple(item for item in self.items if item.state == ItemState.FAILED) + self.left


def batch_shown(batch: CertificateBatch) -> BatchShown:
    """Two queries; `batch` with its run."""
    rows = batch.items.select_related("job__car", "certificate").defer("certificate__content").order_by("number")
    items = tuple(rows)
    ended = batch.run is None or batch.run.state not in (RunState.QUEUED, RunState.RUNNING)
    left = tuple(item for item in items if ended and item.state == ItemState.WAITING)
    return BatchShown(batch, batch.run, items, ended, left)


def batches_lately(most: int = 5) -> list[CertificateBatch]:
    return list(CertificateBatch.objects.select_related("run", "by").order_by("-at", "-pk")[:most])
