"""The reads of the base app, each with what its page shows, in a number of queries that does not grow with the rows."""

import datetime as dt
from dataclasses import dataclass, field

from django.db.models import Count, F, Max, Prefetch, Q, QuerySet, RowRange, Value, Window
from django.db.models.functions import Replace, Upper
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shop.models import Car, Customer, Hold, Job, OdometerReading, Stage, TrailEntry

FOUND_AT_MOST = 30
TYPED_AT_MOST = 200
IN_THE_SHOP = (Stage.HERE, Stage.TRACING, Stage.MENDING, Stage.PROVING, Stage.DONE)

# What the car file's trail can be narrowed to: word for people, beginnings of the kinds.
TRAIL_FILTERS: dict[str, tuple[str | Promise, tuple[str, ...]]] = {
    "jobs": (_("Jobs"), ("job.",)),
    "checks": (_("Checks"), ("sheet.", "check.")),
    "work": (_("Work"), ("work.", "unit.")),
    "papers": (_("Certificates"), ("certificate.",)),
    "car": (_("Car"), ("car.", "odometer.", "owner.")),
}


@dataclass(slots=True)
class FloorGroup:
    hold: Hold
    jobs: list[Job] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Floor:
    """`groups` has every hold that holds something, in the order of Hold; `booked` the cars that are yet to come."""

    groups: tuple[FloorGroup, ...]
    booked: tuple[Job, ...]
    cars: int


def floor() -> Floor:
    jobs = list(
        Job.objects.filter(stage__in=[Stage.BOOKED, *IN_THE_SHOP])
        .select_related("car", "car__owner")
        .order_by("held_since", "pk")
    )
    here = [job for job in jobs if job.stage != Stage.BOOKED]
    groups = {hold: FloorGroup(hold) for hold in Hold}
    for job in here:
        groups[Hold(job.hold)].jobs.append(job)
    booked = sorted((job for job in jobs if job.stage == Stage.BOOKED), key=_promised)
    return Floor(
        tuple(group for group in groups.values() if group.jobs), tuple(booked), len({job.car_id for job in here})
    )


def _promised(job: Job) -> tuple[bool, dt.date, int]:
    return (job.promised_on is None, job.promised_on or dt.date.max, job.pk)


def cars_found(words: str) -> list[Car]:
    """Cars of which every word is part of the VIN, the plate (spaces and hyphens do not count) or the owner's name; a
    car that was written down twice is found by what its double says too.

    Without words the cars last taken into the books. At most FOUND_AT_MOST; each with `open_jobs`.
    """
    named = Car.objects.annotate(
        plain_plate=Replace(Replace(Upper("plate"), Value(" "), Value("")), Value("-"), Value(""))
    )
    cars = named.filter(merged_into__isnull=True)
    doubles = named.filter(merged_into__isnull=False)
    for word in typed(words).split()[:5]:
        plain = word.upper().replace("-", "")
        match = Q(owner__name__icontains=word)
        if plain:
            written = Q(vin__contains=plain) | Q(plain_plate__contains=plain)
            match |= written | Q(pk__in=doubles.filter(written).values("merged_into"))
        cars = cars.filter(match)
    order = ("maker", "model", "vin") if words.strip() else ("-created_at", "-pk")
    return list(cars.select_related("owner").prefetch_related(_open_jobs()).order_by(*order)[:FOUND_AT_MOST])


def typed(words: str) -> str:
    """Words of a search as databases take them: without NUL (PostgreSQL) and no longer than anybody types (SQLite)."""
    return words.replace("\0", " ")[:TYPED_AT_MOST].strip()


def _open_jobs() -> Prefetch:  # type: ignore[type-arg]
    return Prefetch("jobs", Job.objects.exclude(stage__in=[Stage.DONE, Stage.GONE]), to_attr="open_jobs")


def customers_found(words: str) -> list[Customer]:
    customers = Customer.objects.annotate(car_count=Count("cars", filter=Q(cars__merged_into=None)))
    words = typed(words)
    if words:
        customers = customers.filter(Q(name__icontains=words) | Q(phone__icontains=words) | Q(email__icontains=words))
    return list(customers.order_by("name", "pk")[:FOUND_AT_MOST])


def odometer_of(car: Car) -> QuerySet[OdometerReading]:
    """Newest first; `highest_before` is the most that was read on an earlier day: a lower reading is flagged."""
    return car.odometer.annotate(
        highest_before=Window(Max("km"), order_by=[F("read_on").asc()], frame=RowRange(start=None, end=-1))
    ).order_by("-read_on")


def trail_of(car: Car, only: str = "") -> QuerySet[TrailEntry]:
    """The car's history with that of its doubles, newest first; `only` a key of TRAIL_FILTERS, anything else means all
    of it."""
    of_the_car = Q(car=car) | Q(car__in=car.doubles.values("pk"))
    entries = TrailEntry.objects.filter(of_the_car).select_related("by", "job")
    if only in TRAIL_FILTERS:
        wanted = Q()
        for beginning in TRAIL_FILTERS[only][1]:
            wanted |= Q(kind__startswith=beginning)
        entries = entries.filter(wanted)
    return entries.order_by("-at", "-pk")
