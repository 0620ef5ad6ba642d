"""Jobs: opened, held up, moved from stage to stage, noted."""

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import gates
from shop.errors import Conflict, NotDone, ShopError
from shop.models import Car, Hold, Job, JobNote, Stage, User
from shop.permissions import may, require
from shop.services.cars import refuse_double
from shop.services.trail import trail_record


@transaction.atomic
def job_open(
    *,
    car: Car,
    by: User,
    title: str,
    complaint: str = "",
    promised_on: dt.date | None = None,
    stage: str = Stage.BOOKED,
) -> Job:
    """A new job: the car is booked, or taken in at once (`stage` Stage.HERE)."""
    require(by, "job.write")
    refuse_double(car)
    title = title.strip()
    if not title:
        raise ShopError(_("Say in a few words what the job is."))
    if stage not in (Stage.BOOKED, Stage.HERE):
        raise ShopError(_("A new job is booked or taken in."))
    now = timezone.now()
    job = Job.objects.create(
        car=car, title=title, complaint=complaint, promised_on=promised_on, stage=stage, opened_at=now, opened_by=by,
        held_since=now,
    )  # fmt: skip
    words = _("{number} opened: {title}.").format(number=job.number, title=title)
    trail_record(by=by, kind="job.opened", words=words, job=job, link=job.get_absolute_url(), became=stage)
    return job


@transaction.atomic
def job_hold(*, job: Job, by: User, hold: str, note: str = "") -> Job:
    """Say what holds the job up. The clock starts anew only when it is another thing than before."""
    require(by, "job.write")
    return job_held(job=job, by=by, hold=hold, note=note)


@transaction.atomic
def job_held(*, job: Job, by: User, hold: str, note: str = "") -> Job:
    """The same as what follows from another act, such as a part that is missing: who may do that act may cause this."""
    _lock(job)
    if not job.is_open:
        raise Conflict(_("{number} is finished; nothing holds it up.").format(number=job.number))
    was = job.hold
    if (was, job.hold_note) == (hold, note):
        return job
    job.hold, job.hold_note = Hold(hold).value, note
    if was != job.hold:
        job.held_since = timezone.now()
    job.save(update_fields=["hold", "hold_note", "held_since"])
    words = _("{number} waits for {what}.").format(number=job.number, what=Hold(hold).label)
    words = f"{words} {note}".strip()
    trail_record(by=by, kind="job.held", words=words, job=job, link=job.get_absolute_url(), became=job.hold)
    return job


@transaction.atomic
def job_move(*, job: Job, by: User, stage: str, why: str = "") -> Job:
    """Move the job to a stage.

    Done asks every gate: NotDone carries all reasons, unless `by` may override and says why; the trail then keeps both.
    Handed over comes only after done, and ends the job.
    """
    require(by, "job.write")
    _lock(job)
    old, new = Stage(job.stage), Stage(stage)
    if old == new:
        return job
    if old == Stage.GONE:
        raise Conflict(_("{number} is handed over. Open a new job on the car.").format(number=job.number))
    if new == Stage.GONE and old != Stage.DONE:
        raise Conflict(_("{number} must be done before the car is handed over.").format(number=job.number))
    kind, words = "job.moved", _("{number}: {old} → {new}.").format(number=job.number, old=old.label, new=new.label)
    if new == Stage.DONE:
        reasons = gates.reasons_not_done(job)
        if reasons:
            _may_override(job, by, why, reasons)
            kind = "job.overridden"
            words += " " + _("Against: {reasons} Why: {why}").format(reasons=" ".join(reasons), why=why.strip())
    _set_stage(job, new)
    trail_record(by=by, kind=kind, words=words, job=job, link=job.get_absolute_url(), became=new.value)
    if new == Stage.DONE:
        gates.is_done(job, by)
    return job


@transaction.atomic
def note_add(*, job: Job, by: User, words: str) -> JobNote:
    require(by, "job.note")
    words = words.strip()
    if not words:
        raise ShopError(_("The note is empty."))
    note = JobNote.objects.create(job=job, by=by, words=words, at=timezone.now())
    trail_record(by=by, kind="job.noted", words=words, job=job, link=job.get_absolute_url())
    return note


def _lock(job: Job) -> None:
    """Hold the row until the end of the transaction and read it as it is now: two people press two buttons."""
    Job.objects.select_for_update().get(pk=job.pk)
    job.refresh_from_db(fields=["stage", "hold", "hold_note", "held_since", "finished_at"])


def _may_override(job: Job, by: User, why: str, reasons: list[str]) -> None:
    if may(by, "job.override") and why.strip():
        return
    if may(by, "job.override"):
        words = _("{number} is not proven. Say why it is called done all the same.").format(number=job.number)
    else:
        words = _("{number} cannot be called done yet.").format(number=job.number)
    raise NotDone(words, reasons)


def _set_stage(job: Job, stage: Stage) -> None:
    now = timezone.now()
    job.stage = stage
    if stage == Stage.DONE:
        job.finished_at = now
        job.hold, job.hold_note, job.held_since = Hold.CUSTOMER, _("to be collected"), now
    elif stage == Stage.GONE:
        job.hold, job.hold_note = Hold.NOTHING, ""
    elif job.finished_at is not None:  # taken back: it is the bench's again
        job.finished_at = None
        job.hold, job.hold_note, job.held_since = Hold.BENCH, "", now
    job.save(update_fields=["stage", "finished_at", "hold", "hold_note", "held_since"])
