"""Who waits for pieces, and what becomes of it when some come or go: reserved, released, and said on the job and its
work plan."""

from collections.abc import Iterable
from contextlib import suppress
from functools import partial

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.models import Movement, MovementKind, Need, NeedState, Part
from parts.selectors.coming import Arrival, arrivals, waiting
from parts.services.ledger import barred_pieces, moved, stock_locked, stocks_locked, to_promise
from shop.models import Hold, Job, User
from shop.services import job_held, trail_record
from shop.words import day_words

LIKELY = 0.5
"""A part that is needed with at least this chance holds its job up while it is missing."""


class _MoreWaitError(Exception):
    """Somebody asked for the part while its jobs were being locked."""


def waiting_locked(parts: Iterable[Part], jobs: Iterable[Job] = ()) -> None:
    """Hold `jobs` and those that ask for these parts, then the parts' balances; inside a transaction. Who books pieces
    in, or frees them, calls this first.

    Who asks for a part has its balance before they are done: once the balances are held, nobody can begin to wait. If
    somebody did before, all is let go (a savepoint that is rolled back frees its locks) and taken anew in its order.
    """
    parts, wanted = list(parts), {job.pk for job in jobs}
    while True:
        with suppress(_MoreWaitError), transaction.atomic():
            wanted |= _asking(parts)
            rows = Job.objects.select_for_update().filter(pk__in=wanted).order_by("pk")
            list(rows.values_list("pk", flat=True))
            stocks_locked(parts)
            if not _asking(parts) <= wanted:
                raise _MoreWaitError
            return


def reserved(*, need: Need, by: User) -> None:
    """Reserve what may be promised of what the need misses, and say so on the job, which is locked."""
    take = min(need.missing, to_promise(stock_locked(need.part)))
    if take > 0:
        moved(part=need.part, kind=MovementKind.RESERVED, by=by, reserved=take, job=need.job, need=need)
        need.held += take
        need.save(update_fields=["held"])
    held_up(job=need.job, by=by)


def released(*, need: Need, quantity: int, by: User, why: str = "") -> None:
    """Free reserved pieces of a need, whose job is locked; the need stays as it is but for them."""
    moved(
        part=need.part, kind=MovementKind.RELEASED, by=by, reserved=-quantity, job=need.job, need=need, why=why
    )  # fmt: skip
    need.held -= quantity
    need.save(update_fields=["held"])


def needs_served(*, part: Part, by: User) -> None:
    """Pieces came or are free: reserve them for who waits. After `waiting_locked`."""
    for need in waiting([part]):
        if to_promise(stock_locked(part)) < 1:
            return
        reserved(need=need, by=by)


def served_afterwards(parts: Iterable[Part], by: User) -> None:
    """The same once this transaction is through, for an act that holds a job and may not lock others after it."""
    for part in parts:
        transaction.on_commit(partial(_served, part, by), robust=True)


def promised_down(*, part: Part, leaving: int, by: User, why: str) -> None:
    """`leaving` pieces that may be fitted now will not be: what cannot be kept of what is reserved is released, what is
    least surely needed first, then who asked last. After `waiting_locked`."""
    stock = stock_locked(part)
    short = stock.reserved - (stock.shelf - barred_pieces(part) - leaving)
    holding = Need.objects.filter(part=part, state=NeedState.OPEN, held__gt=0).select_related(
        "job", "part", "task_part"
    )
    for need in holding.order_by("chance", "-asked_at", "-pk"):
        if short <= 0:
            return
        less = min(short, need.held)
        released(need=need, quantity=less, by=by, why=why)
        if need.task_part is not None:
            need.task_part.here_on = None
            need.task_part.save(update_fields=["here_on"])
        held_up(job=need.job, by=by)
        short -= less


def held_up(*, job: Job, by: User) -> None:
    """Say on the job, which is locked, that parts are missing and until when, or that none is any more; what somebody
    else said holds it up stays."""
    job.refresh_from_db(fields=["hold", "hold_note", "held_since", "stage"])
    if not job.is_open:
        return
    needs = list(Need.objects.filter(job=job, state=NeedState.OPEN).select_related("part", "task_part"))
    days = arrivals({need.part for need in needs if need.missing})
    _plan_told(needs, days)
    missing = [need for need in needs if need.missing and need.chance >= LIKELY]
    if missing and job.hold in (Hold.BENCH, Hold.NOTHING, Hold.PART):
        job_held(job=job, by=by, hold=Hold.PART, note=_missing_words(missing, days))
    elif not missing and job.hold == Hold.PART and Need.objects.filter(job=job).exists():
        job_held(job=job, by=by, hold=Hold.BENCH)


def held_up_by(*, parts: Iterable[Part], by: User) -> None:
    """What is known of when these parts come has changed: the jobs that wait for them say so. After
    `waiting_locked`."""
    for job in Job.objects.filter(pk__in=_asking(parts)).order_by("pk"):
        held_up(job=job, by=by)


def needs_let_go(job: Job, by: User) -> None:
    """The job is done: what it asked for and did not take is free for others."""
    needs = list(Need.objects.select_for_update(of=("self",)).filter(job=job, state=NeedState.OPEN)
                 .select_related("part").order_by("pk"))  # fmt: skip
    freed = {need.part for need in needs if need.held}
    stocks_locked(freed)
    for need in needs:
        need.job = job
        if need.held:
            released(need=need, quantity=need.held, by=by, why=_("the job is done"))
        need.state = NeedState.ISSUED if need.issued else NeedState.DROPPED
        need.save(update_fields=["state"])
    if needs:
        words = _("{job} is done and did not take: {parts}.").format(
            job=job.number, parts=", ".join(sorted({need.part.number for need in needs}))
        )
        trail_record(by=by, kind="need.dropped", words=words, job=job)
    served_afterwards(freed, by)


def out_at(part: Part, job: Job) -> int:
    """Pieces that a job has from the shelf and has not brought back; what is fitted counts as out."""
    return -sum(Movement.objects.filter(part=part, job=job).values_list("shelf", flat=True))


def _asking(parts: Iterable[Part]) -> set[int]:
    """Keys of the jobs that ask for these parts."""
    return set(Need.objects.filter(part__in=list(parts), state=NeedState.OPEN).values_list("job", flat=True))


@transaction.atomic
def _served(part: Part, by: User) -> None:
    waiting_locked([part])
    needs_served(part=part, by=by)


def _plan_told(needs: list[Need], days: dict[int, Arrival]) -> None:
    """The lines of the work plan that wait for these needs: here, or expected when."""
    for need in needs:
        row = need.task_part
        if row is None or row.here_on is not None:
            continue
        if not need.missing:
            row.here_on = timezone.localdate()
        else:
            row.expected_on = days[need.pk].on
        row.save(update_fields=["here_on", "expected_on"])


def _missing_words(missing: list[Need], days: dict[int, Arrival]) -> str:
    """Which parts hold the car up longest: those that nobody ordered, else those of which no day is known, else all
    with the day when the last of them is reckoned to be here."""
    unordered = [need for need in missing if not days[need.pk].ordered]
    unknown = [need for need in missing if days[need.pk].on is None]
    names = ", ".join(need.part.number for need in (unordered or unknown or missing)[:3])
    if unordered:
        return _("{parts}: not ordered yet").format(parts=names)[:140]
    if unknown:
        return _("{parts}: ordered, no day is known").format(parts=names)[:140]
    last = max(day for need in missing if (day := days[need.pk].on) is not None)
    return _("{parts}: expected {day}").format(parts=names, day=day_words(last))[:140]
