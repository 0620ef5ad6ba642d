"""Sightings while others work: nothing is kept twice, nothing is missed."""

import pytest

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Sighting
from diagnostics.services import sightings_refresh
from shop.models import Job, User
from tests.services.test_races import WORN, enter, together

pytestmark = pytest.mark.django_db(transaction=True)
WORKS = WORN | {"pressed_volts": 0.1}


def test_two_refreshes_at_once_keep_every_sighting_once(job: Job, sheet: BenchSheet, tech: User) -> None:
    enter(sheet, tech, **WORKS)
    outcomes = together(*[sightings_refresh] * 4)
    assert sum(bool(groups) for groups in outcomes) == 1, outcomes
    assert Sighting.objects.count() == 1


def test_an_entry_struck_out_while_sightings_are_made_is_not_seen_for_long(
    job: Job, sheet: BenchSheet, tech: User
) -> None:
    check = enter(sheet, tech, **WORKS)
    together(sightings_refresh, lambda: bench.check_strike(check=check, by=tech, why="wrong pin"))
    sightings_refresh()
    assert not Sighting.objects.exists()
    assert not BenchSheet.objects.filter(sighted=False).exists()


def test_work_booked_while_sightings_are_made_is_in_the_next_ones(job: Job, sheet: BenchSheet, tech: User) -> None:
    enter(sheet, tech, **WORKS)
    together(
        sightings_refresh,
        lambda: bench.work_add(job=job, by=tech, position="BG11", kind="adjust", mode="out-of-adjustment"),
    )
    sightings_refresh()
    assert Sighting.objects.filter(failed="out-of-adjustment", mended=True).count() == 1
