"""A bay with something booked, for tests."""

import datetime as dt
from typing import Any

from django.utils import timezone

from shop.models import Bay, BayBooking, Job, Task

MONDAY = dt.date(2030, 7, 1)


def at(hour: float, day: dt.date = MONDAY) -> dt.datetime:
    """A time by the shop's clock; `hour` 9.25 is a quarter past nine."""
    return timezone.make_aware(dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hour))


def a_task(job: Job, title: str = "Fit the lid switch", **more: Any) -> Task:
    return Task.objects.create(job=job, number=job.tasks.count() + 1, title=title, planned_minutes=90, **more)


def a_booking(job: Job, *, today: bool = True, **more: Any) -> BayBooking:
    """One hour at nine in the bay "Lift 1", today or on MONDAY."""
    bay, _made = Bay.objects.get_or_create(name="Lift 1")
    day = timezone.localdate() if today else MONDAY
    values: dict[str, Any] = {"bay": bay, "starts_at": at(9, day), "ends_at": at(10, day)} | more
    return BayBooking.objects.create(
        task=more.get("task") or a_task(job), **{k: v for k, v in values.items() if k != "task"}
    )


def left_bay(*, active: bool = True) -> Bay:
    """A bay with nothing in it."""
    return Bay.objects.create(name=f"Pit {Bay.objects.count()}", active=active)
