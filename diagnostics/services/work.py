"""Work on a position: what was done, which unit came off and which went on. It voids the proof of that path.

Nothing is deleted to void a proof: the selectors leave out what was seen before the work
(diagnostics/selectors/evidence.py).
"""

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics import fitting
from diagnostics.engine.faults import cured_by, faults_of, mode_words, repair_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, Unit, Work, WorkKind
from diagnostics.selectors.systems import system_for_job, system_of
from diagnostics.selectors.what_was_wrong import proposed_mode, what_was_wrong_words
from diagnostics.services.learning import learning_follow
from diagnostics.services.sheets import locked_job
from shop.errors import Conflict, ShopError
from shop.models import Car, Job, User
from shop.permissions import require
from shop.services import trail_record


@transaction.atomic
def work_add(
    *,
    job: Job,
    by: User,
    position: str,
    kind: str,
    part: str = "",
    revision: str = "",
    serial: str = "",
    words: str = "",
    mode: str = "",
    elsewhere: str = "",
    lot: str = "",
    core_kept: bool = False,
) -> Work:
    """Book work on a position of the job's car; `kind` of WorkKind. A replacement needs the number of the new part.

    `mode`: what was wrong there, one that this kind of work takes away, or Work.PRECAUTION; '' for what the checks say
    (selectors/what_was_wrong.py), which may be nothing.

    A replacement books the old unit off and the new one on in the same transaction, and takes the piece off the shelf
    (diagnostics/fitting.py tells of `elsewhere`, `lot` and `core_kept`); the original unit gets its row when it comes
    off. ShopError for work that cannot be, Conflict for a finished job, a serial that is fitted
    already, or the same work sent twice.
    """
    require(by, "work.write")
    job = locked_job(job.pk)
    if not job.is_open:
        raise Conflict(_("Job {number} is finished; work needs an open job.").format(number=job.number))
    declared = system_for_job(job)
    system = system_of(declared) if declared else None
    _refuse_impossible(system, position, kind, part)
    mode = _what_was_wrong(job, system, position, kind, mode.strip())
    old = new = None
    if kind != WorkKind.REPLACE:
        _refuse_again(job, position, kind, words.strip()[:200])
    else:
        old, new = _exchange(job, system, position, part.strip(), revision.strip(), serial.strip(), words.strip())
        fitting.taken(fitting.Fitted(job, by, new, old, elsewhere.strip()[:200], lot.strip(), core_kept))
    work = Work.objects.create(
        job=job,
        position=position,
        kind=kind,
        mode=mode,
        words=words.strip()[:200],
        old_unit=old,
        new_unit=new,
        by=by,
        at=timezone.now(),
    )
    BenchSheet.objects.filter(job=job).update(sighted=False)
    trail_record(by=by, job=job, kind="work.added", words=_work_words(work, system), link=job.get_absolute_url())
    learning_follow()
    return work


def kinds_of_work(system: TopSystem, position: str) -> tuple[str, ...]:
    """The kinds of work that cure some fault at the position, replacing it included, in the order of WorkKind."""
    repairs = (repair_of(system, fault) for fault in faults_of(system))
    kinds = {repair.kind for repair in repairs if repair.position == position} | {WorkKind.REPLACE.value}
    return tuple(kind for kind in WorkKind.values if kind in kinds)


def _refuse_impossible(system: TopSystem | None, position: str, kind: str, part: str) -> None:
    if kind not in WorkKind.values:
        raise ShopError(
            _("“{kind}” is no kind of work; expected one of: {kinds}.").format(
                kind=kind, kinds=", ".join(WorkKind.values)
            )
        )
    if not position:
        raise ShopError(_("Say at which position the work was done."))
    if kind == WorkKind.REPLACE and not part.strip():
        raise ShopError(
            _("Say which part was fitted at {position}: its number is on the bag or on the part.").format(
                position=position
            )
        )
    if system is None:
        return
    if position not in system.positions:
        raise ShopError(_("{title} has no position {position}.").format(title=system.title, position=position))
    if kind not in kinds_of_work(system, position):
        raise ShopError(
            _("“{kind}” is no work on {position} {name}; expected one of: {kinds}.").format(
                kind=WorkKind(kind).label,
                position=position,
                name=system.positions[position].name,
                kinds=", ".join(str(WorkKind(one).label) for one in kinds_of_work(system, position)),
            )
        )


def _what_was_wrong(job: Job, system: TopSystem | None, position: str, kind: str, mode: str) -> str:
    """The mode to keep; ShopError for one that this work does not take away."""
    if not mode:
        return proposed_mode(job, system, position, kind) if system is not None else ""
    if mode == Work.PRECAUTION:
        return mode
    known = cured_by(system, position, kind) if system is not None else ()
    if system is not None and mode not in known:
        raise ShopError(
            _("“{kind}” at {position} does not take away “{mode}”; expected one of: {modes}, or a precaution.").format(
                kind=WorkKind(kind).label,
                position=position,
                mode=_said_of(mode),
                modes=", ".join(mode_words(one) for one in known) or "–",
            )
        )
    return mode if system is not None else ""


def _said_of(mode: str) -> str:
    try:
        return mode_words(mode)
    except KeyError:
        return mode


def _refuse_again(job: Job, position: str, kind: str, words: str) -> None:
    """A button pressed twice, or by two people: the same work again is other work only where something was checked
    between."""
    last = Work.objects.filter(job=job).order_by("-at", "-pk").first()
    if last is None or (last.position, last.kind, last.words) != (position, kind, words):
        return
    if not Check.objects.filter(sheet__job=job, at__gt=last.at).exists():
        told = _("This work on {position} is booked already, and nothing was checked since.")
        raise Conflict(told.format(position=position))


def _exchange(
    job: Job, system: TopSystem | None, position: str, part: str, revision: str, serial: str, why: str
) -> tuple[Unit, Unit]:
    # no_key: else a row of another transaction that refers to this unit waits for it until the end, and in its commit,
    # where PostgreSQL looks at such references, it holds balances that this one still wants.
    fitted = Unit.objects.select_for_update(no_key=True).filter(car=job.car, position=position)
    old = fitted.filter(removed_on__isnull=True).first()
    _refuse_twice(job, old, position, part, revision, serial)
    if old is None:
        original = system.positions[position].part if system else ""
        old = Unit(car=job.car, position=position, part=original)
    today = timezone.localdate()
    old.removed_on, old.removed_job, old.removed_why = today, job, why[:200]
    old.save()
    try:
        with transaction.atomic():
            new = Unit.objects.create(
                car=job.car,
                position=position,
                part=part,
                revision=revision,
                serial=serial,
                fitted_on=today,
                fitted_job=job,
            )
    except IntegrityError as error:
        raise Conflict(
            _("Somebody else has just fitted a unit at {position}. Look at the job again.").format(position=position)
        ) from error
    return old, new


def _refuse_twice(job: Job, now: Unit | None, position: str, part: str, revision: str, serial: str) -> None:
    if (
        now is not None
        and now.fitted_job_id == job.pk
        and (now.part, now.revision, now.serial) == (part, revision, serial)
    ):
        raise Conflict(
            _("{part} is fitted at {position} in this job already. For a second one, enter its serial number.").format(
                part=part, position=position
            )
        )
    if not serial:
        return
    there = Unit.objects.filter(part=part, serial=serial, removed_on__isnull=True).select_related("car").first()
    if there is not None:
        raise Conflict(
            _(
                "{part} with serial {serial} is fitted already: at {position} of {car}. Check the number on the part."
            ).format(part=part, serial=serial, position=there.position, car=_car_words(there.car))
        )


def _car_words(car: Car) -> str:
    return f"{car} (…{car.vin[-6:]})"


def _work_words(work: Work, system: TopSystem | None) -> str:
    name = system.positions[work.position].name if system else ""
    words = f"{work.position} {name}".strip() + f": {WorkKind(work.kind).label}"
    if work.new_unit is not None:
        words += f" ({work.new_unit.part})"
    if work.mode:
        words += ", " + what_was_wrong_words(work.mode)
    return words + (f". {work.words}" if work.words else "")
