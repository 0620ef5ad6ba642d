"""A car's timeline over all years and owners: its trail, with what happened on another day than it was written down."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.models import Car, Job, TrailEntry, User
from shop.selectors.base import trail_of
from shop.selectors.owners import Owned

PAGE = 30


@dataclass(frozen=True, slots=True)
class Happening:
    """As a trail entry is shown; `at` when it happened."""

    at: dt.datetime
    words: str
    link: str
    job: Job | None = None
    by: User | None = None


@dataclass(frozen=True, slots=True)
class Timeline:
    """One page of it, newest first. `page` is that of the trail behind it."""

    page: Page[TrailEntry]
    entries: tuple[TrailEntry | Happening, ...]


def timeline_of(car: Car, only: str, number: str | None, owners: Sequence[Owned], jobs: Iterable[Job]) -> Timeline:
    """`only` as in `trail_of`; `number` of the page, anything else gives the first or the last. `owners` and `jobs`:
    those of the car, which the page shows anyway. Two queries, and one more for a later page."""
    # The day on which a car went over is told by the owners, not the one on which somebody wrote it down.
    rows = _goes_along(trail_of(car, only).exclude(kind="owner.changed"), owners)
    page = Paginator(rows, PAGE).get_page(number)
    shown = list(page.object_list)
    later = None if page.number == 1 else rows[page.start_index() - 2].at
    earliest = shown[-1].at if page.has_next() else None
    others = chain(_went_over(owners) if only in ("", "car") else (), _brought(jobs) if only in ("", "jobs") else ())
    within = [one for one in others if (later is None or one.at < later) and (earliest is None or one.at >= earliest)]
    # Newest first, and of one moment as the trail has it.
    return Timeline(page, tuple(sorted([*shown, *within], key=lambda one: one.at, reverse=True)))


def _goes_along(rows: QuerySet[TrailEntry], owners: Sequence[Owned]) -> QuerySet[TrailEntry]:
    """Without what was offered to earlier owners, what they answered and what it cost: that stays with their jobs."""
    since = owners[-1].first
    if since is None:
        return rows
    money = Q(kind__startswith="estimate.") | Q(kind__startswith="outlay.")
    return rows.exclude(money & Q(job__opened_at__lt=_start_of(since)))


def _went_over(owners: Sequence[Owned]) -> Iterable[Happening]:
    for one in owners[1:]:
        if one.first is not None:
            words = _("Went over to the next owner.")
            yield Happening(_start_of(one.first), words, one.car.get_absolute_url())


def _brought(jobs: Iterable[Job]) -> Iterable[Happening]:
    """Jobs that were brought from earlier records: the trail has the day on which they were brought."""
    for job in jobs:
        if job.reference:
            words = _("{number} opened: {title}.").format(number=job.number, title=job.title)
            yield Happening(job.opened_at, words, job.get_absolute_url(), job)
            if job.finished_at is not None:
                words = _("{number} finished.").format(number=job.number)
                yield Happening(job.finished_at, words, job.get_absolute_url(), job)


def _start_of(day: dt.date) -> dt.datetime:
    return timezone.make_aware(dt.datetime.combine(day, dt.time()))
