"""What a job needs from the shelf: asked for, reserved, handed out, brought back; what is missing holds the job up."""

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.selectors.systems import system_for_job, system_of
from parts.models import (
    Lot,
    Movement,
    MovementKind,
    Need,
    NeedSource,
    NeedState,
    Part,
    Tracking,
)
from parts.services.ledger import moved, quantity_of, stock_locked
from parts.services.taking import issue, lot_named, open_need
from parts.services.waiting import held_up, needs_served, out_at, released, reserved, waiting_locked
from shop.errors import Conflict, ShopError
from shop.models import Job, TaskPart, User
from shop.permissions import require
from shop.services import trail_record

MOST_A_JOB = 99
"""Pieces of one part for one job: more is a slip of the finger."""


@transaction.atomic
def need_add(
    *,
    job: Job,
    part: Part,
    by: User,
    quantity: int = 1,
    position: str = "",
    chance: float = 1.0,
    source: str = NeedSource.HAND,
    why: str = "",
    task_part: TaskPart | None = None,
) -> Need:
    """Ask for pieces of a part for a job and reserve what is free of them. What is missing holds the job up, with the
    day until when, where it is needed more likely than not. Conflict for a finished job or a need asked for already."""
    require(by, "need.write")
    job = _locked(job)
    if not 1 <= quantity <= MOST_A_JOB:
        raise ShopError(
            _("{quantity} × {part} for one job: expected 1 to {most}.").format(
                quantity=quantity, part=part.number, most=MOST_A_JOB
            )
        )
    position = position.strip().upper()
    declared = system_for_job(job)
    if position and declared is not None and position not in system_of(declared).positions:
        raise ShopError(_("{title} has no position {position}.").format(title=declared.title, position=position))
    if not 0 < chance <= 1:
        raise ShopError(_("Chance that {part} is needed: expected above 0 and up to 1.").format(part=part.number))
    try:
        with transaction.atomic():
            need = Need.objects.create(
                job=job, part=part, position=position, quantity=quantity, chance=chance,
                source=source, why=why.strip()[:200], task_part=task_part, asked_by=by, asked_at=timezone.now(),
            )  # fmt: skip
    except IntegrityError as error:
        raise Conflict(
            _("{job} asks for {part} already; change the number there.").format(job=job.number, part=part.number)
        ) from error
    words = _("{job} needs {quantity} × {part}.").format(job=job.number, quantity=quantity, part=part.number)
    trail_record(by=by, kind="need.added", words=words, job=job, link=job.get_absolute_url())
    reserved(need=need, by=by)
    return need


@transaction.atomic
def need_reserve(*, need: Need, by: User) -> Need:
    """Reserve what is free of what the need still misses, and say so on the job."""
    require(by, "need.write")
    need = _open(need)
    reserved(need=need, by=by)
    return need


@transaction.atomic
def need_change(*, need: Need, by: User, quantity: int) -> Need:
    """Another number of pieces; what is reserved too many is free for others."""
    require(by, "need.write")
    waiting_locked([need.part], jobs=[need.job])
    need = _open(need)
    if not max(1, need.issued) <= quantity <= MOST_A_JOB:
        raise ShopError(
            _("{quantity} × {part}: expected {least} to {most}.").format(
                quantity=quantity, part=need.part.number, least=max(1, need.issued), most=MOST_A_JOB
            )
        )
    too_many = need.held - (quantity - need.issued)
    if too_many > 0:
        released(need=need, quantity=too_many, by=by)
    need.quantity = quantity
    if need.issued == quantity:
        need.state = NeedState.ISSUED
    need.save(update_fields=["quantity", "state"])
    words = _("{job} needs {quantity} × {part} now.").format(
        job=need.job.number, quantity=quantity, part=need.part.number
    )
    trail_record(by=by, kind="need.changed", words=words, job=need.job)
    reserved(need=need, by=by)
    if too_many > 0:
        needs_served(part=need.part, by=by)
    return need


@transaction.atomic
def need_drop(*, need: Need, by: User, why: str = "") -> Need:
    """The job does not need it after all: what was reserved is free for others."""
    require(by, "need.write")
    waiting_locked([need.part], jobs=[need.job])
    need = _open(need)
    freed = need.held
    if freed:
        released(need=need, quantity=freed, by=by, why=why)
    need.state = NeedState.ISSUED if need.issued else NeedState.DROPPED
    need.save(update_fields=["state"])
    words = _("{job} does not need {part}. {why}").format(job=need.job.number, part=need.part.number, why=why.strip())
    trail_record(by=by, kind="need.dropped", words=words.strip(), job=need.job)
    held_up(job=need.job, by=by)
    if freed:
        needs_served(part=need.part, by=by)
    return need


@transaction.atomic
def need_again(*, need: Need, by: User) -> Need:
    """It is needed after all: dropping it is undone."""
    require(by, "need.write")
    job = _locked(need.job)
    need = Need.objects.select_for_update().get(pk=need.pk)
    if need.state != NeedState.DROPPED:
        raise Conflict(_("{part} was not dropped.").format(part=need.part.number))
    return need_add(
        job=job, part=need.part, by=by, quantity=need.quantity, position=need.position,
        chance=need.chance, source=need.source, why=need.why, task_part=need.task_part,
    )  # fmt: skip


@transaction.atomic
def part_issue(*, part: Part, job: Job, by: User, quantity: int = 1, lot: str = "", why: str = "") -> Movement:
    """Hand pieces out to a job that are no unit of the car: seals, oil, clips. A unit is fitted by booking the work."""
    require(by, "shelf.issue")
    job = _locked(job)
    quantity_of(part, quantity)
    need = open_need(job, part, "")
    stock = stock_locked(part)
    free = stock.free + (need.held if need else 0)
    if free < quantity:
        raise Conflict(
            _("{part}: {asked} asked for, {free} free of {there} on the shelf; the others are reserved.").format(
                part=part.number, asked=quantity, free=free, there=stock.shelf
            )
            if stock.shelf >= quantity
            else _("{part}: {asked} asked for, {there} on the shelf.").format(
                part=part.number, asked=quantity, there=stock.shelf
            )
        )
    piece = lot_named(part, lot) if part.tracking != Tracking.NONE else None
    movement = issue(part=part, job=job, by=by, quantity=quantity, lot=piece, unit=None, why=why)
    words = _("{quantity} × {part} handed out.").format(quantity=quantity, part=part.number)
    trail_record(by=by, kind="shelf.issued", words=words, job=job, link=job.get_absolute_url())
    held_up(job=job, by=by)
    return movement


@transaction.atomic
def part_return(*, part: Part, job: Job, by: User, quantity: int = 1, lot: str = "", why: str = "") -> Movement:
    """Pieces that were handed out to a job and come back unused; never more than went out. `lot`: of a part that is
    followed, the batch or serial number; not needed where the job has only one."""
    require(by, "shelf.issue")
    quantity_of(part, quantity)
    waiting_locked([part], jobs=[job])
    out = out_at(part, job)
    if quantity > out:
        raise Conflict(
            _("{job} has {out} × {part} from the shelf; {quantity} cannot come back.").format(
                job=job.number, out=out, part=part.number, quantity=quantity
            )
        )
    piece = _lot_back(part, job, lot.strip(), quantity) if part.tracking != Tracking.NONE else None
    movement = moved(part=part, kind=MovementKind.RETURNED, by=by, shelf=quantity, lot=piece, job=job, why=why)
    words = _("{quantity} × {part} back on the shelf.").format(quantity=quantity, part=part.number)
    trail_record(by=by, kind="shelf.returned", words=words, job=job, link=job.get_absolute_url())
    needs_served(part=part, by=by)
    return movement


def _lot_back(part: Part, job: Job, number: str, quantity: int) -> Lot:
    """The batch or serial number that pieces come back to: one of those that the job has."""
    out: dict[Lot, int] = {}
    for movement in (
        Movement.objects.filter(part=part, job=job, lot__isnull=False).exclude(shelf=0).select_related("lot")
    ):
        if movement.lot is not None:
            out[movement.lot] = out.get(movement.lot, 0) - movement.shelf
    there = {lot: pieces for lot, pieces in out.items() if pieces > 0}
    named = [lot for lot in there if lot.number.casefold() == number.casefold() or (not number and len(there) == 1)]
    if not named:
        raise ShopError(
            _("Which piece of {part} comes back? Expected one that {job} has: {known}.").format(
                part=part.number, job=job.number, known=", ".join(lot.number for lot in there) or _("none")
            )
        )
    if quantity > there[named[0]]:
        raise Conflict(
            _("{job} has {out} × {part} from the shelf; {quantity} cannot come back.").format(
                job=job.number, out=there[named[0]], part=f"{part.number} {named[0].number}", quantity=quantity
            )
        )
    return named[0]


def _locked(job: Job) -> Job:
    job = Job.objects.select_for_update(of=("self",)).select_related("car").get(pk=job.pk)
    if not job.is_open:
        raise Conflict(_("Job {number} is finished; parts go to open jobs.").format(number=job.number))
    return job


def _open(need: Need) -> Need:
    """The need as it is now, locked after its job."""
    job = _locked(need.job)
    need = Need.objects.select_for_update(of=("self",)).select_related("part", "task_part").get(pk=need.pk)
    need.job = job
    if need.state != NeedState.OPEN:
        raise Conflict(_("This need of {part} is over.").format(part=need.part.number))
    return need
