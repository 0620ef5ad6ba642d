"""When jobs are ready, from the whole shop's open tasks: few queries, and the same answer again as long as nothing
that it depends on changes."""

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence

from django.core.cache import cache
from django.db.models import F, Sum, Value
from django.utils import timezone

from shop.models import Away, Bay, Clock, Job, Role, ShopProfile, Stage, Task, TaskKind, TaskState, User
from shop.planning.durations import Factor, Record, factors
from shop.planning.floor import PlannedTask, ShopFloor
from shop.planning.simulate import ReadyBy, simulate
from shop.planning.workdays import Hours

KEPT_SECONDS = 1800
"""Of an answer, and of the shop's own record of planned against worked minutes: half an hour later it knows of a task
that ended."""
RECORDS_AT_MOST = 2000
_FACTORS = "plan-factors"
STEP = dt.timedelta(minutes=15)
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
        .select_related("job")
        .prefetch_related("waits_for", "parts", "clocks")
        .order_by("job", "number")
    )
    open_keys = {row.pk for row in rows}
    known: Mapping[str, Factor] | None = cache.get(_FACTORS)
    if known is None:
        known = factors(_records())
        cache.set(_FACTORS, known, KEPT_SECONDS)
    tasks = tuple(_planned(row, open_keys, known, now) for row in rows)
    away = Away.objects.filter(last_day__gte=timezone.localtime(now).date()).values_list(
        "person", "first_day", "last_day"
    )
    promised = {row.job_id: row.job.promised_on for row in rows}
    people, bays = _people_and_bays()
    floor = ShopFloor(tasks, tuple(promised.items()), people, bays, hours_of_shop(), tuple(away))
    return floor, {row.pk: row.title for row in rows}


def _people_and_bays() -> tuple[tuple[int, ...], int]:
    """Keys of the people who work, and how many bays there are; one query."""
    people = User.objects.filter(is_active=True, role__in=WORKERS).order_by().values_list("pk", Value(True))
    rows = list(people.union(Bay.objects.filter(active=True).order_by().values_list("pk", Value(False)), all=True))
    return tuple(sorted(pk for pk, person in rows if person)), sum(not person for _pk, person in rows)


def is_forgotten(clock: Clock, now: dt.datetime) -> bool:
    """It runs since before today, by the shop's own days."""
    started = timezone.localtime(clock.started_at).date()
    return clock.stopped_at is None and started < timezone.localtime(now).date()


def worked_minutes(clock: Clock, now: dt.datetime) -> float:
    """Minutes on a clock; of one that runs those until `now`, and none where it was forgotten over night."""
    if is_forgotten(clock, now):
        return 0.0
    return max(0.0, ((clock.stopped_at or now) - clock.started_at).total_seconds() / 60)


def _planned(row: Task, open_keys: set[int], known: Mapping[str, Factor], now: dt.datetime) -> PlannedTask:
    outside = row.kind == TaskKind.OUTSIDE
    back = outside and row.outside_back_on is not None
    return PlannedTask(
        key=row.pk,
        job=row.job_id,
        factor=known.get(row.title.casefold(), known[""]),
        planned=float(row.planned_minutes),
        least=row.least_minutes,
        most=row.most_minutes,
        worked=sum(worked_minutes(clock, now) for clock in row.clocks.all()),
        before=tuple(link.before_id for link in row.waits_for.all() if link.before_id in open_keys),
        parts=tuple(part.expected_on for part in row.parts.all() if part.here_on is None),
        outside_days=0 if back else row.outside_days if outside else None,
        sent_on=row.outside_sent_on,
        person=row.person_id,
        needs_bay=row.needs_bay,
        blocked=bool(row.blocked_note),
    )


def _records() -> list[Record]:
    """The newest tasks that ended with minutes planned and worked: what this shop's plans are worth."""
    rows = (
        Task.objects.filter(state=TaskState.DONE, kind=TaskKind.LABOUR, planned_minutes__gt=0)
        .filter(clocks__stopped_at__gt=F("clocks__started_at"))
        .annotate(worked=Sum(F("clocks__stopped_at") - F("clocks__started_at")))
        .order_by("-ended_at")
        .values_list("title", "planned_minutes", "worked")[:RECORDS_AT_MOST]
    )
    return [Record(title.casefold(), planned, worked.total_seconds() / 60) for title, planned, worked in rows if worked]
