"""A task's time in a bay: placed, moved, taken out. A bay holds one car; of people and hours there are warnings."""

import datetime as dt
from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Away, Bay, BayBooking, ShopProfile, Task, TaskKind, TaskState, User
from shop.permissions import require
from shop.services.trail import trail_record
from shop.words import day_words, stretch_words

STEP = dt.timedelta(minutes=15)
AT_MOST = dt.timedelta(days=31)


@dataclass(frozen=True, slots=True)
class Placed:
    """A booking as it was written, and what a person should know about it, in sentences."""

    booking: BayBooking
    warnings: tuple[str, ...]


@transaction.atomic
def booking_place(
    *, task: Task, bay: Bay, starts_at: dt.datetime, ends_at: dt.datetime, by: User, person: User | None = None
) -> Placed:
    """Book a bay for a task, with or without somebody's name on it.

    ShopError for times that cannot be; Conflict where the task or its job is finished, the bay was given up, the person
    has left, or another booking has the bay then. What is unusual only is warned of.
    """
    require(by, "plan.write")
    bay = _locked(bay)
    _refuse_task(Task.objects.select_related("job__car").get(pk=task.pk))
    booking = BayBooking(task=task, bay=bay, person=person, starts_at=starts_at, ends_at=ends_at)
    placed = _write(booking)
    words = _("Booked: {what}.").format(what=_what(booking))
    trail_record(by=by, kind="booking.placed", words=words, job=task.job, link=task.job.get_absolute_url())
    return placed


@transaction.atomic
def booking_move(
    *,
    booking: BayBooking,
    bay: Bay,
    person: User | None,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    seen: int,
    by: User,
) -> Placed:
    """Another bay, time or person for a booking; errors as those of booking_place.

    `seen`: the `sequence` of the booking on the page that the move was made on. Conflict where it is another now:
    somebody else moved it meanwhile. `booking` is left as it was before.
    """
    require(by, "plan.write")
    bay = _locked(bay)
    row = _seen(booking, seen)
    if (row.bay_id, row.person_id, row.starts_at, row.ends_at) == (
        bay.pk, person.pk if person else None, starts_at, ends_at,
    ):  # fmt: skip
        return Placed(row, ())
    _refuse_task(row.task)
    row.bay, row.person, row.starts_at, row.ends_at = bay, person, starts_at, ends_at
    row.sequence += 1
    placed = _write(row)
    words = _("Booking moved: {what}.").format(what=_what(row))
    trail_record(by=by, kind="booking.moved", words=words, job=row.task.job, link=row.task.job.get_absolute_url())
    return placed


@transaction.atomic
def booking_drop(*, booking: BayBooking, seen: int, by: User) -> None:
    """Take a booking out; calendars lose it at their next look. Conflict where it changed since it was `seen`."""
    require(by, "plan.write")
    row = _seen(booking, seen)
    job, words = row.task.job, _("Booking taken out: {what}.").format(what=_what(row))
    row.delete()
    trail_record(by=by, kind="booking.dropped", words=words, job=job, link=job.get_absolute_url())


def _locked(bay: Bay) -> Bay:
    """Whoever books into a bay holds its row: of two at once, the second sees the first's booking."""
    row = Bay.objects.select_for_update().get(pk=bay.pk)
    if not row.active:
        raise Conflict(_("{bay} was given up: nothing is booked into it any more.").format(bay=row))
    return row


def _seen(booking: BayBooking, seen: int) -> BayBooking:
    BayBooking.objects.select_for_update().filter(pk=booking.pk).first()
    row = BayBooking.objects.select_related("task__job__car", "bay", "person").filter(pk=booking.pk).first()
    if row is None:
        raise Conflict(_("Somebody has taken this booking out meanwhile."))
    if row.sequence != seen:
        raise Conflict(
            _("Somebody has moved this booking meanwhile: {what}. Look at it again before you move it.").format(
                what=_what(row)
            )
        )
    return row


def _refuse_task(task: Task) -> None:
    if not task.job.is_open:
        raise Conflict(_("{number} is finished: it needs no bay any more.").format(number=task.job.number))
    if task.state != TaskState.OPEN:
        words = _("“{task}” of {number} is not open any more: it needs no bay.")
        raise Conflict(words.format(task=task, number=task.job.number))
    if task.kind == TaskKind.OUTSIDE:
        raise ShopError(_("“{task}” is outside work: it needs no bay here.").format(task=task))


def _write(booking: BayBooking) -> Placed:
    _refuse_times(booking.starts_at, booking.ends_at)
    if booking.person is not None and not booking.person.is_active:
        raise Conflict(_("{person} has left the shop.").format(person=booking.person))
    there = _others(booking).filter(bay=booking.bay).first()
    if there is not None:
        raise Conflict(
            _("{bay} is taken then: {what}. Choose another time or bay.").format(bay=booking.bay, what=_what(there))
        )
    booking.changed_at = timezone.now()
    booking.save()
    return Placed(booking, tuple(_warnings(booking)))


def _others(booking: BayBooking) -> QuerySet[BayBooking]:
    """Every other booking that overlaps in time; ends touch without overlapping."""
    return (
        BayBooking.objects.filter(starts_at__lt=booking.ends_at, ends_at__gt=booking.starts_at)
        .exclude(pk=booking.pk)
        .select_related("task__job__car", "bay", "person")
        .order_by("starts_at")
    )


def _refuse_times(starts_at: dt.datetime, ends_at: dt.datetime) -> None:
    if ends_at <= starts_at:
        raise ShopError(_("The booking ends before it starts; expected an end after its start."))
    if ends_at - starts_at > AT_MOST:
        raise ShopError(_("The booking is longer than 31 days; expected at most that, then another one."))
    if any(at.timestamp() % STEP.total_seconds() for at in (starts_at, ends_at)):
        raise ShopError(_("Bookings start and end at full quarters of an hour, such as 9:15."))


def _warnings(booking: BayBooking) -> list[str]:
    out = [_("It starts in the past.")] if booking.starts_at < timezone.now() else []
    twice = _others(booking).filter(person__isnull=False, person=booking.person).first()
    if twice is not None:
        out.append(_("{person} is booked twice then: {what}.").format(person=booking.person, what=_what(twice)))
    elsewhere = _others(booking).filter(task__job__car=booking.task.job.car).exclude(bay=booking.bay).first()
    if elsewhere is not None:
        out.append(_("The same car is in another bay then: {what}.").format(what=_what(elsewhere)))
    first, last = timezone.localtime(booking.starts_at), timezone.localtime(booking.ends_at)
    gone = Away.objects.filter(person=booking.person, first_day__lte=last.date(), last_day__gte=first.date()).first()
    if gone is not None:
        days = {"first": day_words(gone.first_day), "last": day_words(gone.last_day)}
        out.append(_("{person} is away from {first} to {last}.").format(person=booking.person, **days))
    if _outside_hours(first, last):
        out.append(_("It starts or ends outside the opening hours."))
    return out


def _outside_hours(first: dt.datetime, last: dt.datetime) -> bool:
    """A booking may stand over night; that it begins or ends while nobody is there is unusual."""
    hours = ShopProfile.objects.first() or ShopProfile()
    if any(hours.work_days[at.weekday()] == "0" for at in (first, last)):
        return True
    return not (hours.opens_at <= first.time() < hours.closes_at and hours.opens_at < last.time() <= hours.closes_at)


def _what(booking: BayBooking) -> str:
    """`Tue 1 Dec, 9:00 to 11:00, Lift 1, J00012 Fit the lid switch`"""
    return _("{when}, {bay}, {number} {task}").format(
        when=stretch_words(booking.starts_at, booking.ends_at),
        bay=booking.bay,
        number=booking.task.job.number,
        task=booking.task,
    )
