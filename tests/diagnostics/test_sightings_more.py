"""Whose a sighting is: several sheets and several units in one job, and units that were booked in another order."""

import datetime as dt
from typing import Any

from django.utils import timezone

from diagnostics import services
from diagnostics.models import BenchSheet, Sighting, Unit
from diagnostics.services import sightings_refresh
from shop.models import Job, User
from shop.services import job_open
from tests.diagnostics.bench import opened
from tests.diagnostics.test_sightings import PART, by_hand, replaced


def seen(**which: Any) -> list[tuple[str, str, int]]:
    rows = Sighting.objects.filter(position="BG1", **which).order_by("pk")
    return [(row.revision, row.failed, row.sheet_id) for row in rows]


def test_each_of_two_new_units_in_one_sitting_is_told_by_its_own_revision(
    sheet: BenchSheet, job: Job, tech: User
) -> None:
    by_hand(sheet, tech, works=False)
    replaced(job, tech, revision="b")
    by_hand(sheet, tech, works=False)
    replaced(job, tech, mode="stays-made", revision="c")
    by_hand(sheet, tech)
    sightings_refresh()
    assert [row[:2] for row in seen()] == [("", "never-makes"), ("b", "stays-made"), ("c", "")]


def test_work_is_told_by_the_sheet_that_was_open_then(sheet: BenchSheet, job: Job, tech: User) -> None:
    by_hand(sheet, tech)
    services.sheet_close(sheet=sheet, by=tech)
    second = opened(job, tech)
    replaced(job, tech)
    services.sheet_close(sheet=second, by=tech)
    third = opened(job, tech)
    by_hand(third, tech)
    sightings_refresh()
    assert seen() == [("", "", sheet.pk), ("", "never-makes", second.pk), ("b", "", third.pk)]


def test_work_before_any_sheet_is_told_by_the_first(job: Job, tech: User, revision: object) -> None:
    replaced(job, tech)
    first = opened(job, tech)
    by_hand(first, tech)
    services.sheet_close(sheet=first, by=tech)
    by_hand(opened(job, tech), tech)
    sightings_refresh()
    assert seen(failed="never-makes") == [("", "never-makes", first.pk)]


def test_a_sheet_that_is_read_again_after_a_later_job_of_that_day_still_speaks_of_the_unit_of_its_time(
    sheet: BenchSheet, job: Job, tech: User, counter: User
) -> None:
    by_hand(sheet, tech)
    services.sheet_close(sheet=sheet, by=tech)
    later = job_open(car=job.car, by=counter, title="Again", stage="here")
    opened(later, tech)
    replaced(later, tech)
    BenchSheet.objects.update(sighted=False)
    sightings_refresh()
    (row,) = Sighting.objects.filter(sheet=sheet, position="BG1")
    assert (row.revision, row.since, row.failed) == ("", None, "")


def test_units_booked_late_stand_in_the_order_in_which_they_were_fitted(
    sheet: BenchSheet, job: Job, tech: User
) -> None:
    """What an earlier shop had fitted is written down after what this one fitted."""
    newest = dt.date(2024, 5, 6)
    Unit.objects.create(car=job.car, position="BG1", part=PART, revision="c", fitted_on=newest)
    Unit.objects.create(
        car=job.car, position="BG1", part=PART, revision="b", fitted_on=dt.date(2019, 5, 6), removed_on=newest
    )
    by_hand(sheet, tech)
    sightings_refresh()
    (row,) = Sighting.objects.filter(position="BG1")
    assert (row.revision, row.since, row.on) == ("c", newest, timezone.localdate())


def test_what_is_taken_back_changes_its_part_as_well(sheet: BenchSheet, tech: User) -> None:
    """Else the models would go on counting what was struck out."""
    check = by_hand(sheet, tech)
    sightings_refresh()
    services.check_strike(check=check, by=tech, why="wrong pin")
    assert sightings_refresh() == {("rht-trio", PART)}
