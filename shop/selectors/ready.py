"""When jobs are ready, from the whole shop's open tasks: few queries, and the same answer again as long as nothing
that it depends on changes."""

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.core.cache import cache
from django.db.models import F, OuterRef, Subquery, Sum, Value
from django.utils import timezone

from shop.models import Away, Bay, BayBooking, Clock, Job, Role, ShopProfile, Stage, Task, TaskKind, TaskState, User
from shop.planning.durations import AS_SAID, TRADE, Factor, Record, factors, three_points
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.simulate import ReadyBy, simulate
from shop.planning.workdays import Hours

KEPT_SECONDS = 1800
"""Of an answer, and of the shop's own record of planned against worked minutes: half an hour later it knows of a task
that ended."""
RECORDS_AT_MOST = 2000
_FACTORS = "plan-factors:by-points"
STEP = dt.timedelta(minutes=15)
Factors = Mapping[bool, Mapping[str, Factor]]
"""By whether a task has three points, then by kind of work: two ways to estimate, each off in its own way."""
WORKERS = (Role.TECHNICIAN, Role.OWNER)


def ready_by_of(jobs: Sequence[Job], now: dt.datetime) -> Mapping[int, ReadyBy]:
    """Job key -> when it is ready, of those jobs that have open tasks. `now` aware; counted in quarters of an hour."""
    return ready_and_titles(jobs, now)[0]


def ready_and_titles(jobs: Sequence[Job], now: dt.datetime) -> tuple[Mapping[int, ReadyBy], Mapping[int, str]]:
    """As ready_by_of, and the titles of all open tasks by their keys."""
    if not jobs:
        return {}, {}
    now = dt.datetime.fromtimestamp(now.timestamp() // STEP.total_seconds() * STEP.total_seconds(), dt.UTC)
    floor, titles = floor_of(now)
    key = "ready:" + hashlib.sha256(repr((floor, now)).encode()).hexdigest()
    found: dict[int, ReadyBy] | None = cache.get(key)
    if found is None:
        found = simulate(floor, now)
        cache.set(key, found, KEPT_SECONDS)
    return {job.pk: found[job.pk] for job in jobs if job.pk in found}, titles


def hours_of_shop() -> Hours:
    profile = ShopProfile.objects.first() or ShopProfile()
    days = tuple(digit == "1" for digit in profile.work_days)
    zone = timezone.get_default_timezone_name()
    return Hours(profile.opens_at, profile.closes_at, profile.break_minutes, days, zone)


def floor_of(now: dt.datetime) -> tuple[ShopFloor, Mapping[int, str]]:
    """Every open task of every open job, and who and what is there for them, and the titles of the tasks; a number of
    queries that does not grow."""
    rows = list(
        Task.objects.filter(state=TaskState.OPEN)
        .exclude(job__stage__in=[Stage.DONE, Stage.GONE])
        .annotate(**next_booking(now))
        .select_related("job")
        .prefetch_related("waits_for", "parts", "clocks")
        .order_by("job", "number")
    )
    open_keys = {row.pk for row in rows}
    known: Factors | None = cache.get(_FACTORS)
    if known is None:
        known = _factors()
        cache.set(_FACTORS, known, KEPT_SECONDS)
    tasks = tuple(replace(planned(row, open_keys, now), factor=_factor(row, known)) for row in rows)
    away = Away.objects.filter(last_day__gte=timezone.localtime(now).date()).values_list(
        "person", "first_day", "last_day"
    )
    promised = {row.job_id: row.job.promised_on for row in rows}
    people, bays = _people_and_bays()
    floor = ShopFloor(tasks, tuple(promised.items()), people, bays, hours_of_shop(), tuple(away))
    return floor, {row.pk: row.title for row in rows}


def _people_and_bays() -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Keys of the people who work, and of the bays; one query."""
    people = User.objects.filter(is_active=True, role__in=WORKERS).order_by().values_list("pk", Value(True))
    rows = list(people.union(Bay.objects.filter(active=True).order_by().values_list("pk", Value(False)), all=True))
    return tuple(sorted(pk for pk, person in rows if person)), tuple(sorted(pk for pk, person in rows if not person))


def is_forgotten(clock: Clock, now: dt.datetime) -> bool:
    """It runs since before today, by the shop's own days."""
    started = timezone.localtime(clock.started_at).date()
    return clock.stopped_at is None and started < timezone.localtime(now).date()


def worked_minutes(clock: Clock, now: dt.datetime) -> float:
    """Minutes on a clock; of one that runs those until `now`, and none where it was forgotten over night."""
    if is_forgotten(clock, now):
        return 0.0
    return max(0.0, ((clock.stopped_at or now) - clock.started_at).total_seconds() / 60)


def kind_of(title: str, kind_of_work: str) -> str:
    """What sort of work a task is: the template's task it was made from, else its title."""
    return kind_of_work or title.casefold()


def next_booking(now: dt.datetime) -> dict[str, Subquery]:
    """Of a Task, as annotations: bay, person and start of its booking that is not over."""
    booked = BayBooking.objects.filter(task=OuterRef("pk"), ends_at__gt=now).order_by("starts_at", "pk")
    names = {"booked_bay": "bay", "booked_person": "person", "booked_at": "starts_at"}
    return {name: Subquery(booked.values(of)[:1]) for name, of in names.items()}


def _factor(row: Task, known: Factors) -> Factor:
    mine = known[row.least_minutes is not None]
    return mine.get(kind_of(row.title, row.kind_of_work), mine[""])


def planned(row: Any, open_keys: set[int], now: dt.datetime) -> PlannedTask:
    """A Task with its `next_booking`, without the shop's factor."""
    outside = row.kind == TaskKind.OUTSIDE
    back = outside and row.outside_back_on is not None
    worked = sum(worked_minutes(clock, now) for clock in row.clocks.all())
    return PlannedTask(
        key=row.pk,
        job=row.job_id,
        planned=float(row.planned_minutes),
        least=row.least_minutes,
        most=row.most_minutes,
        worked=worked,
        before=tuple(link.before_id for link in row.waits_for.all() if link.before_id in open_keys),
        parts=tuple(part.expected_on for part in row.parts.all() if part.here_on is None),
        outside_days=0 if back else row.outside_days if outside else None,
        sent_on=row.outside_sent_on,
        person=row.booked_person or row.person_id,
        needs_bay=row.needs_bay or row.booked_bay is not None,
        bay=row.booked_bay or row.bay_id,
        # What is being worked on already goes on, whatever was booked for it.
        booked=row.booked_at if row.booked_at and row.booked_at > now and not worked else None,
        blocked=bool(row.blocked_note),
    )


def _factors() -> Factors:
    """What this shop's plans are worth, from its newest tasks that ended with minutes planned and worked."""
    rows = (
        Task.objects.filter(state=TaskState.DONE, kind=TaskKind.LABOUR, planned_minutes__gt=0)
        .filter(clocks__stopped_at__gt=F("clocks__started_at"))
        .annotate(worked=Sum(F("clocks__stopped_at") - F("clocks__started_at")))
        .order_by("-ended_at")
        .values_list("title", "kind_of_work", "planned_minutes", "least_minutes", "most_minutes", "worked")
    )
    records: dict[bool, list[Record]] = {False: [], True: []}
    for title, kind, planned, least, most, worked in rows[:RECORDS_AT_MOST]:
        if worked:
            middle = planned if least is None or most is None else three_points(least, planned, most)[0]
            record = Record(kind_of(title, kind), middle, worked.total_seconds() / 60)
            records[least is not None].append(record)
    return {False: factors(records[False], TRADE), True: factors(records[True], AS_SAID)}
