"""Bench sheets: opening, what the car stands like now, the complaint, closing."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.case import Case, CaseCar, check_case, parse_case
from diagnostics.engine.errors import CaseError
from diagnostics.engine.motion import pose_of
from diagnostics.models import BenchSheet, SystemRevision
from diagnostics.selectors.enquiries import enquiry_of_job
from diagnostics.selectors.systems import last_sheet_on_system, system_for_car, system_of
from diagnostics.selectors.words import complaint_words
from diagnostics.services.learning import learning_follow
from shop.errors import Conflict, ShopError
from shop.models import Job, Stage, User
from shop.permissions import require
from shop.services import trail_record

SUPPLY_HIGHEST_V = 60.0
"""No car's 12 V system shows more at the module, jump starting from 24 V included: above it the meter or the range is
wrong."""


class SheetAlreadyOpen(Conflict):
    """The car has an open sheet; `sheet` is that one."""

    def __init__(self, words: str, sheet: BenchSheet) -> None:
        super().__init__(words)
        self.sheet = sheet


def locked_job(pk: int) -> Job:
    """The job as it is now, locked until the end of the transaction. Who calls a job done has looked at all evidence
    under this lock, so whatever changes evidence takes it first."""
    return Job.objects.select_for_update(of=("self",)).select_related("car").get(pk=pk)


def locked(sheet: BenchSheet) -> BenchSheet:
    """The sheet as it is now, locked with its job until the end of the transaction; Conflict when either is closed."""
    now = (
        BenchSheet.objects.select_for_update(of=("self", "job"))
        .select_related("job", "car", "revision")
        .get(pk=sheet.pk)
    )
    if now.closed_at is not None:
        raise Conflict(_("This bench sheet is closed and takes no more entries. Open a new one on the job."))
    if not now.job.is_open:
        words = _("Job {number} is done, so its bench sheet takes no more entries. Move the job back to go on.")
        raise Conflict(words.format(number=now.job.number))
    return now


@transaction.atomic
def sheet_open(*, job: Job, by: User) -> BenchSheet:
    """A new sheet on the job's car, on the revision that the job began with, else the newest of its top system (none
    where it is not declared): checks judged by two revisions would say nothing together.

    Pose, complaint and recent work start as the job's last sheet left them, else at the first resting pose of the
    system with what the job's enquiry told. SheetAlreadyOpen when the car has one.
    A sheet that a finished job left open is closed: nobody would come back to do it.
    """
    require(by, "bench.write")
    job = locked_job(job.pk)
    if not job.is_open:
        raise Conflict(_("Job {number} is finished; a bench sheet needs an open job.").format(number=job.number))
    _close_left_open(job)
    _refuse_second(job)
    last = last_sheet_on_system(job)
    sheet = BenchSheet(job=job, car=job.car, opened_by=by, opened_at=timezone.now())
    if last is not None:
        sheet.revision, sheet.pose = last.revision, last.pose
        sheet.complaint, sheet.recent_work = last.complaint, last.recent_work
    elif revision := system_for_car(job.car):
        sheet.revision, sheet.pose = revision, dict(next(iter(system_of(revision).poses.values())))
        _take_over_enquiry(sheet, job, revision)
    try:
        with transaction.atomic():
            sheet.save()
    except IntegrityError:
        # Two people pressed the button at once: the constraint let one of them through.
        _refuse_second(job)
        raise
    trail_record(by=by, job=job, kind="sheet.opened", words=_("Opened a bench sheet."), link=sheet.get_absolute_url())
    return sheet


def _take_over_enquiry(sheet: BenchSheet, job: Job, revision: SystemRevision) -> None:
    """What the customer told before the car came starts the sheet, where it was told of this very top system and its
    steps still have their names."""
    enquiry = enquiry_of_job(job)
    if enquiry is None or enquiry.revision is None or enquiry.revision.slug != revision.slug:
        return
    try:
        case = _complaint_case(sheet, revision, enquiry.complaint, enquiry.recent_work)
    except CaseError:
        return
    _set_complaint(sheet, case)


def _close_left_open(job: Job) -> None:
    left = BenchSheet.objects.filter(car_id=job.car_id, closed_at__isnull=True, job__stage__in=[Stage.DONE, Stage.GONE])
    left.update(closed_at=timezone.now())


def _refuse_second(job: Job) -> None:
    there = (
        BenchSheet.objects.filter(car_id=job.car_id, closed_at__isnull=True).select_related("opened_by", "job").first()
    )
    if there is not None:
        raise SheetAlreadyOpen(
            _(
                "This car has an open bench sheet already, opened by {who} on job {number}: work on that one together."
            ).format(who=there.opened_by, number=there.job.number),
            there,
        )


@transaction.atomic
def sheet_set_pose(
    *, sheet: BenchSheet, by: User, pose: str | Mapping[str, str], supply_volts: float | None, ignition_on: bool
) -> BenchSheet:
    """What the car stands like now: pose (a resting pose by name, or places by axis over the pose so far), supply,
    ignition.

    The next readings take these over. ShopError for a pose that the system does not have, or a supply that cannot be.
    """
    require(by, "bench.write")
    sheet = locked(sheet)
    if supply_volts is not None and not 0 <= supply_volts <= SUPPLY_HIGHEST_V:
        raise ShopError(
            _("A supply of {volts} V cannot be; expected 0 to {highest} V.").format(
                volts=supply_volts, highest=SUPPLY_HIGHEST_V
            )
        )
    if sheet.revision is not None:
        try:
            given = pose if isinstance(pose, str) else dict(pose)
            sheet.pose = pose_of(system_of(sheet.revision), given, base=sheet.pose)
        except CaseError as error:
            raise ShopError(str(error)) from error
    sheet.supply_mv = None if supply_volts is None else round(1000 * supply_volts)
    sheet.ignition_on = ignition_on
    sheet.save(update_fields=["pose", "supply_mv", "ignition_on"])
    return sheet


@transaction.atomic
def sheet_set_complaint(
    *, sheet: BenchSheet, by: User, complaint: Mapping[str, Any] | None, recent_work: tuple[str, ...] = ()
) -> BenchSheet:
    """What the top is said to do ({"motion", "stops_at", "lamp"}; None: nothing said) and where somebody worked
    before it."""
    require(by, "bench.write")
    sheet = locked(sheet)
    if sheet.revision is None:
        raise ShopError(
            _("This car’s top system is not declared yet, so its steps have no names. Write the complaint on the job.")
        )
    system = system_of(sheet.revision)
    try:
        case = _complaint_case(sheet, sheet.revision, _told_before(sheet, complaint), recent_work)
    except CaseError as error:
        raise ShopError(str(error)) from error
    _set_complaint(sheet, case)
    sheet.save(update_fields=["complaint", "recent_work"])
    words = complaint_words(system, case.complaint) or _("Took the complaint off the bench sheet.")
    trail_record(by=by, job=sheet.job, kind="sheet.complaint", words=words, link=sheet.get_absolute_url())
    return sheet


def _told_before(sheet: BenchSheet, complaint: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """What the customer told beside the step stays as long as it is said of the same step."""
    here = sheet.complaint
    if not complaint or any(here.get(name) != complaint.get(name) for name in ("motion", "stops_at")):
        return complaint
    return {**here, **complaint}


def _complaint_case(
    sheet: BenchSheet, revision: SystemRevision, complaint: Mapping[str, Any] | None, recent_work: Iterable[str]
) -> Case:
    """The complaint as a case of the sheet's car. CaseError where it cannot be one."""
    system = system_of(revision)
    case = parse_case(
        {
            "system": system.system,
            "car": CaseCar(made_on=sheet.car.made_on.strftime("%Y-%m")).model_dump(),
            "seen_on": timezone.localdate().isoformat(),
            "complaint": dict(complaint) if complaint else None,
            "recent_work": list(recent_work),
        }
    )
    check_case(system, case)
    return case


def _set_complaint(sheet: BenchSheet, case: Case) -> None:
    sheet.complaint = case.complaint.model_dump(exclude_unset=True) if case.complaint else {}
    sheet.recent_work = list(case.recent_work)


@transaction.atomic
def sheet_close(*, sheet: BenchSheet, by: User) -> BenchSheet:
    require(by, "bench.write")
    sheet = locked(sheet)
    sheet.closed_at, sheet.sighted = timezone.now(), False
    sheet.save(update_fields=["closed_at", "sighted"])
    counted = sheet.checks.filter(struck_at__isnull=True).exclude(verdict="refused").count()
    trail_record(
        by=by,
        job=sheet.job,
        kind="sheet.closed",
        words=_("Closed the bench sheet with {count} checks that count.").format(count=counted),
        link=sheet.get_absolute_url(),
    )
    learning_follow()
    return sheet
