"""The trail is append-only at the instance and at the queryset, also through a related manager."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

from shop import services
from shop.models import AppendOnlyError, Car, Job, TrailEntry, User

pytestmark = pytest.mark.django_db

WAYS: list[Callable[[Any], object]] = [
    lambda entry: entry.save(),
    lambda entry: entry.delete(),
    lambda entry: TrailEntry.objects.filter(pk=entry.pk).update(words="other"),
    lambda entry: TrailEntry.objects.all().delete(),
    lambda entry: entry.car.trail.update(words="other"),
    lambda entry: entry.car.trail.all().delete(),
    lambda entry: TrailEntry.objects.bulk_update([entry], ["words"]),
]


@pytest.mark.parametrize("way", WAYS)
def test_no_way_changes_or_deletes_an_entry(car: Car, tech: User, way: Callable[[Any], object]) -> None:
    entry = services.trail_record(by=tech, kind="car.looked", words="as it was", car=car)
    entry.words = "changed"
    with pytest.raises(AppendOnlyError), transaction.atomic():
        way(entry)
    assert TrailEntry.objects.get(pk=entry.pk).words == "as it was"


def test_an_entry_of_a_job_is_one_of_its_car(job: Job, tech: User) -> None:
    entry = services.trail_record(by=tech, kind="job.looked", words="looked", job=job)
    assert entry.car == job.car
