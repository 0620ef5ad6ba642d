"""Bays and people over the days: what is booked, who is away, and what calendar links give out."""

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Prefetch, Q, QuerySet
from django.utils import formats, timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from shop.models import Away, Bay, BayBooking, FeedLink, ShopProfile, Stage, Task, TaskKind, TaskState, User
from shop.planning.dayspans import Lane, Piece, hours_shown, lanes, pieces
from shop.planning.ical import Booked
from shop.services.people import token_hash
from shop.words import stretch_words

HOUR_PX = 48
LINE_PX = 13
FEED_BACK, FEED_AHEAD = dt.timedelta(days=60), dt.timedelta(days=180)


@dataclass(frozen=True, slots=True)
class Line:
    y: int
    words: str


@dataclass(frozen=True, slots=True)
class Block:
    """A booking's piece of one day. `x`, `width` in per cent of the day's column, `y`, `height` in pixels; `start` as
    the wall's clock says (ISO), where the booking begins here."""

    booking: BayBooking
    x: float
    width: float
    y: int
    height: int
    begins: bool
    start: str
    minutes: int
    says: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    day: dt.date
    blocks: tuple[Block, ...]
    away: bool


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One bay, or one person (`key` 0: bookings without a name)."""

    key: int
    name: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Hour:
    y: int
    words: str


@dataclass(frozen=True, slots=True)
class Week:
    """`by_day`: every day that is shown with its bookings in order of time; `hours` the marks of the scale, which is
    `height` pixels high and begins at `first_hour`."""

    days: tuple[dt.date, ...]
    rows: tuple[WeekRow, ...]
    by_day: tuple[tuple[dt.date, tuple[BayBooking, ...], tuple[Away, ...]], ...]
    first_hour: int
    height: int
    hours: tuple[Hour, ...]


def booked_between(first: dt.datetime, last: dt.datetime) -> QuerySet[BayBooking]:
    return (
        BayBooking.objects.filter(starts_at__lt=last, ends_at__gt=first)
        .select_related("task__job__car", "bay", "person")
        .order_by("starts_at", "pk")
    )


def week(day: dt.date, *, by_people: bool = False, one_day: bool = False) -> Week:
    """The week of `day` from Monday, or the day alone. Of a week the days on which the shop is open or something is
    booked; a bay that was given up only where it still has something."""
    first = day if one_day else day - dt.timedelta(days=day.weekday())
    span = [first + dt.timedelta(days=n) for n in range(1 if one_day else 7)]
    begins, ends = _midnight(span[0]), _midnight(span[-1] + dt.timedelta(days=1))
    bookings = list(booked_between(begins, ends))
    away = list(Away.objects.filter(first_day__lte=span[-1], last_day__gte=span[0]).select_related("person"))
    hours = ShopProfile.objects.first() or ShopProfile()
    cut = {one.pk: pieces(one.starts_at, one.ends_at, timezone.get_current_timezone()) for one in bookings}
    busy = {piece.day for found in cut.values() for piece in found}
    days = [one for one in span if one_day or hours.work_days[one.weekday()] == "1" or one in busy]
    spans = [(piece.first, piece.last) for found in cut.values() for piece in found if piece.day in days]
    scale = hours_shown(hours.opens_at, hours.closes_at, spans)
    rows = []
    for key, name, own in _people_rows(bookings) if by_people else _bay_rows(bookings):
        gone = [one for one in away if by_people and one.person_id == key]
        rows.append(WeekRow(key, name, tuple(_cell(one, own, cut, scale[0], gone, by_people) for one in days)))
    marks = tuple(Hour((hour - scale[0]) * HOUR_PX, f"{hour}:00") for hour in range(scale[0], scale[1]))
    by_day = tuple(
        (
            one,
            tuple(booking for booking in bookings if any(piece.day == one for piece in cut[booking.pk])),
            tuple(gone for gone in away if gone.first_day <= one <= gone.last_day),
        )
        for one in days
    )
    return Week(tuple(days), tuple(rows), by_day, scale[0], (scale[1] - scale[0]) * HOUR_PX, marks)


def _midnight(day: dt.date) -> dt.datetime:
    return timezone.make_aware(dt.datetime.combine(day, dt.time()))


def _bay_rows(bookings: Sequence[BayBooking]) -> Iterator[tuple[int, str, list[BayBooking]]]:
    for bay in Bay.objects.filter(Q(active=True) | Q(pk__in={one.bay_id for one in bookings})):
        yield bay.pk, bay.name, [one for one in bookings if one.bay_id == bay.pk]


def _people_rows(bookings: Sequence[BayBooking]) -> Iterator[tuple[int, str, list[BayBooking]]]:
    people = User.objects.filter(Q(is_active=True) | Q(pk__in={one.person_id for one in bookings if one.person_id}))
    for person in people.order_by("first_name", "last_name", "username"):
        yield person.pk, str(person), [one for one in bookings if one.person_id == person.pk]
    yield 0, _("Nobody’s name yet"), [one for one in bookings if one.person_id is None]


def _cell(
    day: dt.date,
    own: Sequence[BayBooking],
    cut: dict[int, list[Piece]],
    first_hour: int,
    gone: Iterable[Away],
    by_people: bool,
) -> Cell:
    found = [(one, piece) for one in own for piece in cut[one.pk] if piece.day == day]
    places = lanes([(piece.first, piece.last) for _one, piece in found])
    blocks = [_block(*pair, lane, first_hour, by_people) for pair, lane in zip(found, places, strict=True)]
    return Cell(day, tuple(blocks), any(one.first_day <= day <= one.last_day for one in gone))


def _block(booking: BayBooking, piece: Piece, lane: Lane, first_hour: int, by_people: bool) -> Block:
    height = (piece.last - piece.first) * HOUR_PX // 60
    job, start = booking.task.job, timezone.localtime(booking.starts_at)
    beside = booking.bay if by_people else booking.person
    words = [
        f"{formats.time_format(start, 'G:i')} {job.number}" if piece.begins else job.number,
        str(job.car),
        str(booking.task),
        str(beside) if beside else "",
    ]
    fit = [one for one in words if one][: max(1, height // LINE_PX)]
    return Block(
        booking=booking,
        x=round(100 * lane.index / lane.count, 2),
        width=round(100 / lane.count, 2),
        y=(piece.first - first_hour * 60) * HOUR_PX // 60,
        height=height,
        begins=piece.begins,
        start=start.strftime("%Y-%m-%dT%H:%M"),
        minutes=int((booking.ends_at - booking.starts_at).total_seconds()) // 60,
        says=booking_words(booking),
        lines=tuple(Line((n + 1) * LINE_PX - 3, one) for n, one in enumerate(fit)),
    )


def booking_words(booking: BayBooking) -> str:
    """One booking in one line, for readers of the screen and messages."""
    words = [
        stretch_words(booking.starts_at, booking.ends_at),
        str(booking.bay),
        f"{booking.task.job.number} {booking.task.job.car}: {booking.task}",
    ]
    return ", ".join([*words, str(booking.person)] if booking.person else words)


def bookable_tasks() -> QuerySet[Task]:
    """Open tasks of open jobs that are done here."""
    open_ones = Task.objects.filter(state=TaskState.OPEN, kind=TaskKind.LABOUR)
    return (
        open_ones.exclude(job__stage__in=[Stage.DONE, Stage.GONE]).select_related("job__car").order_by("job", "number")
    )


def tasks_without_bay() -> QuerySet[Task]:
    """Those of them that need a bay and have no time in one yet."""
    return bookable_tasks().filter(needs_bay=True, bookings=None)


def person_of(pk: int | None) -> User | None:
    return User.objects.filter(pk=pk).first() if pk is not None else None


def bays() -> list[Bay]:
    """All of them, those given up last."""
    return list(Bay.objects.order_by("-active", "name"))


def away_from(day: dt.date) -> list[Away]:
    """Who is away on that day or later."""
    return list(Away.objects.filter(last_day__gte=day, person__is_active=True).select_related("person"))


def calendars_of(user: User) -> tuple[FeedLink | None, list[Bay]]:
    """The person's own live link, and the bays in use, each with its live one in `live`."""
    live = FeedLink.objects.filter(revoked_at=None).select_related("made_by")
    found = Bay.objects.filter(active=True).prefetch_related(Prefetch("feeds", live, to_attr="live"))
    return live.filter(person=user).first(), list(found)


def feed_behind(token: str) -> FeedLink | None:
    """The link that an address still opens; None for one that was revoked, whose person has left, or that never was."""
    good = FeedLink.objects.filter(revoked_at=None).filter(Q(person__is_active=True) | Q(bay__active=True))
    return good.select_related("person", "bay").filter(token_hash=token_hash(token)).first()


def feed_events(link: FeedLink, now: dt.datetime) -> list[Booked]:
    """What the calendar shows: 60 days back and 180 ahead, with job number, car, task and bay; no customer, no
    complaint."""
    found = booked_between(now - FEED_BACK, now + FEED_AHEAD)
    found = found.filter(person=link.person) if link.person_id else found.filter(bay=link.bay)
    return [
        Booked(
            uid=_uid(one.pk),
            sequence=one.sequence,
            changed_at=one.changed_at,
            starts_at=one.starts_at,
            ends_at=one.ends_at,
            summary=f"{one.task.job.number} {one.task.job.car}: {one.task}",
            location=str(one.bay),
        )
        for one in found
    ]


def _uid(pk: int) -> str:
    """The same for the life of a booking, and no other shop's: of this installation's key."""
    return salted_hmac("shop.selectors.bays.uid", str(pk), secret=settings.SECRET_KEY).hexdigest() + "@topwright"


def digest_of(events: Sequence[Booked], name: str) -> str:
    """The same as long as the calendar says the same."""
    return hashlib.sha256(repr((name, events)).encode()).hexdigest()
