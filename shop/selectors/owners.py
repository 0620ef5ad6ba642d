"""Who owned a car when, and what a customer may be told of the cars that were theirs."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Prefetch, Q
from django.utils import timezone

from shop.models import Car, Customer, Job, OwnerChange


@dataclass(frozen=True, slots=True)
class Owned:
    """One time of ownership. `first` None: since before anybody wrote it down; `last` the day on which the car went
    over, None while it has not; `jobs` those that were opened within that time, newest first."""

    car: Car
    owner: Customer | None
    first: dt.date | None
    last: dt.date | None
    jobs: tuple[Job, ...] = ()


def owners_of(car: Car) -> tuple[Owned, ...]:
    """The owners over the years, oldest first, the one of today last. One query, none where they are prefetched."""
    return _owners(car, list(_changes(car)))


def owner_of_job(job: Job) -> Customer | None:
    """Who owned the car when `job` was opened. One query."""
    return next((one.owner for one in owners_of(job.car) if _within(job, one)), None)


def cars_of_customer(customer: Customer) -> tuple[Owned, ...]:
    """The times in which cars were the customer's, those of today first. A job of an earlier or a later owner is none
    of theirs. Three queries."""
    theirs = Q(owner=customer) | Q(pk__in=OwnerChange.objects.filter(earlier=customer).values("car"))
    cars = Car.objects.filter(theirs, merged_into=None).select_related("owner")
    times = [
        Owned(one.car, one.owner, one.first, one.last, _jobs_of(one))
        for car in cars.prefetch_related(Prefetch("owner_changes", _CHANGES), "jobs")
        for one in owners_of(car)
        if one.owner == customer
    ]
    return tuple(sorted(times, key=lambda one: one.last or dt.date.max, reverse=True))


_CHANGES = OwnerChange.objects.select_related("earlier").order_by("on", "pk")


def _changes(car: Car) -> list[OwnerChange]:
    if "owner_changes" in getattr(car, "_prefetched_objects_cache", {}):
        return list(car.owner_changes.all())
    return list(_CHANGES.filter(car=car))


def _owners(car: Car, changes: list[OwnerChange]) -> tuple[Owned, ...]:
    starts = [None, *(change.on for change in changes)]
    earlier = [Owned(car, change.earlier, first, change.on) for change, first in zip(changes, starts[:-1], strict=True)]
    return (*earlier, Owned(car, car.owner, starts[-1], None))


def _jobs_of(time: Owned) -> tuple[Job, ...]:
    return tuple(job for job in time.car.jobs.all() if _within(job, time))


def _within(job: Job, time: Owned) -> bool:
    """A job that is opened on the day of the hand-over is the next owner's."""
    return (time.first is None or _day(job) >= time.first) and (time.last is None or _day(job) < time.last)


def _day(job: Job) -> dt.date:
    return timezone.localdate(job.opened_at)
