"""Units over time, by position."""

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from diagnostics import services
from diagnostics.models import Unit
from diagnostics.selectors import units_of_car
from shop.models import Car, Job, User
from tests.diagnostics.bench import words


def test_every_position_is_told_touched_or_not(car: Car, job: Job, tech: User, revision: Any) -> None:
    for serial in ("S1", "S2"):
        services.work_add(job=job, by=tech, position="BG11", kind="replace", part="TW-BGF-3503", serial=serial)
    places = {place.position: place for place in units_of_car(car)}
    shelf = places["BG11"]
    assert [(unit.serial, unit.removed_on is None) for unit in shelf.units] == [
        ("", False),
        ("S1", False),
        ("S2", True),
    ]
    assert shelf.now is not None
    assert shelf.now.serial == "S2"
    untouched = places["BG12"]
    assert (untouched.units, untouched.now, untouched.original_part) == ((), None, "TW-BGG-3601")


def test_an_undeclared_car_still_keeps_its_units(car: Car, job: Job, tech: User) -> None:
    car.system = ""
    car.save()
    services.work_add(job=job, by=tech, position="BG1", kind="replace", part="TW-BGA-3014")
    (place,) = units_of_car(car)
    assert [unit.part for unit in place.units] == ["", "TW-BGA-3014"]


def test_one_unit_at_a_position_by_the_database_itself(car: Car) -> None:
    Unit.objects.create(car=car, position="BG1", part="A")
    with pytest.raises(IntegrityError), transaction.atomic():
        Unit.objects.create(car=car, position="BG1", part="B")
    day = timezone.localdate()
    with pytest.raises(IntegrityError), transaction.atomic():
        Unit.objects.create(car=car, position="BG2", part="B", fitted_on=day, removed_on=day - dt.timedelta(days=1))


def test_the_fragments_say_what_was_fitted_and_what_is_to_prove(
    car: Car,
    job: Job,
    tech: User,
    client_as: Any,
    revision: Any,
) -> None:
    client = client_as("technician")
    fields = {"position": "BG11", "kind": "replace", "part": "TW-BGF-3503", "serial": "S1", "words": "worn"}
    response = client.post(f"/jobs/{job.pk}/add-work/", fields)
    assert response.status_code == 302
    units = words(client.get(f"/cars/{car.pk}/units/", headers={"HX-Request": "true"}))
    assert "serial S1" in units
    assert "original" in units
    assert "<html" not in units
    twice = client.post(f"/jobs/{job.pk}/add-work/", fields)
    assert twice.status_code == 409
    assert 'value="S1"' in words(twice)
    assert client.get(f"/cars/{car.pk}/top-proof/").status_code == 200
    panel = words(client.get(f"/jobs/{job.pk}/bench/panel/", headers={"HX-Request": "true"}))
    assert "TW-BGF-3503" in panel
