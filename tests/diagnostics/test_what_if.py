"""What more checks would teach of a range, on a fleet with a range in it; and which cars on the floor tell most."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from diagnostics.models import BenchSheet, ProductionRange, Sighting
from diagnostics.selectors.what_if import what_if
from diagnostics.services.learning import learning_run
from shop import services
from shop.models import User

pytestmark = pytest.mark.django_db


@pytest.fixture
def found(fleet: list[BenchSheet]) -> ProductionRange:
    learning_run()
    return ProductionRange.objects.get()


def test_more_cars_make_a_real_range_surer(found: ProductionRange) -> None:
    told = what_if(found)
    assert told is not None
    assert told.cars == 20
    assert told.now.probability.endswith("%")
    assert float(told.alike.ratio_factor) <= float(told.now.ratio_factor)
    assert what_if(found) == told, "the same data give the same answer"


def test_a_car_on_the_floor_that_was_not_looked_at_tells_something(
    found: ProductionRange, counter: User, client_as: Callable[[str], Client]
) -> None:
    told = what_if(found)
    assert told is not None
    cars = {one.car for one in told.telling}
    sound = Sighting.objects.filter(failed="", position__in=found.positions).select_related("car")
    seen = min(sound, key=lambda one: abs((one.car.made_on - found.last).days))
    assert seen.car not in cars
    job = services.job_open(car=seen.car, by=counter, title="Looked at again")
    after = what_if(found)
    assert after is not None
    assert job in {one.job for one in after.telling}
    page = client_as("parts").get(reverse("diagnostics:range-what-if", args=[found.pk])).content.decode()
    assert job.number in page
    assert "tells" in page
