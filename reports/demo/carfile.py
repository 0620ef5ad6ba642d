"""What car files keep beside jobs: pictures before and after the work, a change of owner, cars that came back."""

import random
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

from django.utils import timezone

from diagnostics.learning.records import month_of
from diagnostics.models import Work
from reports.demo.jobs import at, workday
from reports.demo.records import JobRecord, WorkRecord
from reports.demo.shots import CAPTIONS, SUBJECTS, shot
from reports.demo.then import then
from reports.figures.records import Span
from reports.figures_selectors import comebacks_to_judge, facts_of
from shop.models import Car, ComebackCause, Customer, Job, Moment, User
from shop.services import owner_change, picture_add
from shop.services.comebacks import comeback_judge

MONTHS = 12
LEFT_AT_WORK = 0.35
"""Share of the comebacks with another fault that somebody caused at work."""
SOON_DAYS = 60
"""A top that was only looked at and fails within so many days: something was overlooked."""
UNJUDGED = 4
"""Of the cars that are here again, the latest ones of which nobody has said yet whether that is a comeback."""


def write_car_files(jobs: Sequence[tuple[Job, JobRecord]], users: Mapping[str, User], today: date) -> None:
    """`jobs`: those of the scenario, oldest first."""
    pictured = list(_to_picture(jobs))
    for subject, job, work in pictured:
        _write_pair(subject, job, work, users["tech"])
    _change_owner(jobs, [job.car for _subject, job, _work in pictured], users["counter"])
    _judge_comebacks({job.pk: record for job, record in jobs}, users, today)


def _to_picture(jobs: Sequence[tuple[Job, JobRecord]]) -> Iterator[tuple[str, Job, WorkRecord]]:
    """For each subject the latest finished job with such work."""
    missing = dict(SUBJECTS)
    for job, record in reversed(jobs):
        works = record.sheet.work if record.sheet is not None and record.finished_at is not None else ()
        for work in works:
            subject = next((name for name, what in missing.items() if (work.kind, work.position[:2]) == what), None)
            if subject is not None:
                del missing[subject]
                yield subject, job, work
                break


def _write_pair(subject: str, job: Job, work: WorkRecord, by: User) -> None:
    words = CAPTIONS[subject]
    with then(work.at - timedelta(minutes=10)):
        before = picture_add(
            job=job, by=by, upload=shot(subject, mended=False), caption=words[0], position=work.position,
            moment=Moment.BEFORE, on_paper=True,
        )  # fmt: skip
    with then(work.at + timedelta(minutes=1)):
        picture_add(
            job=job, by=by, upload=shot(subject, mended=True), caption=words[1], position=work.position,
            moment=Moment.AFTER, before=before, on_paper=True,
        )  # fmt: skip


def _change_owner(jobs: Sequence[tuple[Job, JobRecord]], cars: Sequence[Car], by: User) -> None:
    """The first of these cars that was here several times went over between its last two jobs."""
    own = [[record for job, record in jobs if job.car == car] for car in cars]
    car, records = max(zip(cars, own, strict=True), key=lambda pair: len(pair[1]))
    if len(records) < 2 or records[-2].finished_at is None:
        return
    zone, wait = timezone.get_default_timezone(), records[-1].opened_at - records[-2].finished_at
    over, owner = records[-2].finished_at + wait / 2, car.owner
    told = at(workday(over.date() + timedelta(days=1)), 10.2, zone)
    # The books know the owner of today: until that day it was somebody else.
    car.owner = Customer.objects.exclude(pk=car.owner.pk if car.owner else 0).order_by("pk")[7]
    car.save(update_fields=["owner"])
    with then(min(told, records[-1].opened_at)):
        owner_change(car=car, to=owner, on=over.date(), by=by)


def _judge_comebacks(records: Mapping[int, JobRecord], users: Mapping[str, User], today: date) -> None:
    last = month_of(today)
    facts = facts_of(Span(last - MONTHS + 1, last), figures=(), systems={})
    found, _count = comebacks_to_judge(facts, len(facts.jobs))
    for job, after, one in found[UNJUDGED:]:
        here = dict(records[job.pk].stages).get("here")
        if here is not None:
            cause = _cause(job, after, one.days)
            with then(here + timedelta(minutes=20)):
                comeback_judge(job=job, by=users["counter"], after=after if cause else None, cause=cause)


def _cause(job: Job, after: Job, days: int) -> str:
    """What the work of both jobs says; '' where it is no comeback."""
    now, before = ({work.position: work.kind for work in Work.objects.filter(job=one)} for one in (job, after))
    both = sorted(now.keys() & before.keys())
    if both:
        return str(ComebackCause.PART if before[both[0]] == "replace" else ComebackCause.SAME)
    if not now:
        return str(ComebackCause.NOTHING) if before else ""
    if not before:
        return str(ComebackCause.OTHER) if days <= SOON_DAYS else ""
    dice = random.Random(f"comeback:{job.car.vin}")  # noqa: S311 - a story, no secret
    return str(ComebackCause.WORK if dice.random() < LEFT_AT_WORK else ComebackCause.OTHER)
