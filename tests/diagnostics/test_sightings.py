"""Sightings: made from sheets, kept up to date, read as columns and by people."""

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics import services
from diagnostics.engine.faults import MODE_BITS, modes_in
from diagnostics.learning.spells import groups_of, spells_of
from diagnostics.models import BenchSheet, Check, Sighting, Unit, Work
from diagnostics.selectors.behind import Counted, units_behind, units_told
from diagnostics.selectors.sightings import fitted_in, observations
from diagnostics.services import sightings_refresh
from shop.models import Car, Job, User
from shop.services import car_create, job_open
from tests.diagnostics.bench import add, opened
from tests.diagnostics.test_seen import MAKES_NOT

PART = "TW-BGA-3014"


def by_hand(sheet: BenchSheet, by: User, position: str = "BG1", *, works: bool = True) -> Check:
    pressed = 0.1 if works else 12.5
    return add(sheet, by, check="pin-by-hand", position=position, pressed_volts=pressed, released_volts=12.5)


def replaced(job: Job, by: User, position: str = "BG1", mode: str = "never-makes", **more: Any) -> Work:
    return services.work_add(
        job=job, by=by, position=position, kind="replace", part=PART, mode=mode, **{"revision": "b"} | more
    )


def told(position: str = "BG1") -> list[tuple[Any, ...]]:
    rows = Sighting.objects.filter(position=position).order_by("pk")
    return [(row.part, row.revision, row.since, row.failed, row.mended, modes_in(row.good)) for row in rows]


def test_a_sitting_with_a_replacement_speaks_of_both_units(sheet: BenchSheet, job: Job, tech: User) -> None:
    by_hand(sheet, tech, works=False)
    replaced(job, tech)
    by_hand(sheet, tech)
    assert sightings_refresh() == {("rht-trio", PART)}
    contact = MAKES_NOT - {"out-of-adjustment"} | {"stays-made", "shorted-to-ground"}
    today = timezone.localdate()
    assert told() == [
        (PART, "", None, "never-makes", False, frozenset()),
        (PART, "b", today, "", False, frozenset(contact)),
    ]
    row = Sighting.objects.get(failed="")
    assert (row.sheet, row.car, row.system, row.on, row.observations) == (sheet, job.car, "rht-trio", today, 1)


def test_a_refresh_does_its_work_once_and_tells_only_what_changed(sheet: BenchSheet, tech: User) -> None:
    by_hand(sheet, tech)
    assert sightings_refresh()
    before = list(Sighting.objects.order_by("pk").values())
    assert sightings_refresh() == set()
    BenchSheet.objects.update(sighted=False)
    assert sightings_refresh() == set(), "made anew, but nothing says anything else"
    assert list(Sighting.objects.order_by("pk").values()) == before
    add(sheet, tech, check="click", position="BG1", heard=True)
    assert sightings_refresh() == {("rht-trio", PART)}, "one more check stands behind the same"


def test_every_change_of_checks_and_work_has_the_sheet_looked_at_again(sheet: BenchSheet, job: Job, tech: User) -> None:
    def again() -> bool:
        asked = not BenchSheet.objects.get(pk=sheet.pk).sighted
        sightings_refresh()
        assert BenchSheet.objects.get(pk=sheet.pk).sighted
        return asked

    assert again()
    check = by_hand(sheet, tech)
    assert again()
    services.check_strike(check=check, by=tech, why="wrong pin")
    assert again()
    assert not Sighting.objects.exists(), "what is struck out says nothing"
    services.work_add(job=job, by=tech, position="BG1", kind="adjust")
    assert again()
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    assert BenchSheet.objects.get(pk=sheet.pk).sighted, "where the car stands tells nothing of a unit"
    services.sheet_close(sheet=sheet, by=tech)
    assert again()


def test_what_is_refused_or_of_a_top_that_nobody_declared_says_nothing(
    sheet: BenchSheet, tech: User, counter: User, car: Car
) -> None:
    add(sheet, tech, check="pin", position="BG1", pose="closed", volts=0.1, ignition=False)
    other = car_create(by=counter, vin="0TWAH5903RT000002", maker="Halden", model="Brise", made_on=car.made_on)
    unknown = opened(job_open(car=other, by=counter, title="Look", stage="here"), tech)
    services.check_add(
        sheet=unknown,
        by=tech,
        observation={"check": "pin", "connector": "XG1", "number": 4, "volts": 0.1, "supply_volts": 12.6},
        entry_id="5b0f1a43-5d9b-4d6d-8c9a-111111111111",
    )
    assert sightings_refresh() == set()
    assert not BenchSheet.objects.filter(sighted=False).exists()


def test_only_so_many_sheets_where_asked(sheet: BenchSheet, tech: User, counter: User, car: Car) -> None:
    by_hand(sheet, tech)
    other = car_create(
        by=counter, vin="0TWAH5903RT000002", maker="Halden", model="Brise", made_on=car.made_on, system=car.system
    )
    by_hand(opened(job_open(car=other, by=counter, title="Look", stage="here"), tech), tech, "BG3")
    assert len(sightings_refresh(1)) == 1
    assert BenchSheet.objects.filter(sighted=False).count() == 1
    assert len(sightings_refresh(5)) == 1


def test_a_later_sheet_speaks_of_the_unit_that_is_fitted_then(
    sheet: BenchSheet, job: Job, tech: User, counter: User
) -> None:
    replaced(job, tech)
    services.sheet_close(sheet=sheet, by=tech)
    again = opened(job_open(car=job.car, by=counter, title="Look", stage="here"), tech)
    by_hand(again, tech)
    sightings_refresh()
    assert [row[:4] for row in told()] == [
        (PART, "", None, "never-makes"),
        (PART, "b", timezone.localdate(), ""),
    ]


def test_a_chunk_takes_few_queries_however_many_sheets_it_has(
    sheet: BenchSheet, tech: User, counter: User, car: Car
) -> None:
    counts = []
    for number in (2, 3, 4):
        BenchSheet.objects.update(sighted=False)
        other = car_create(
            by=counter,
            vin=f"0TWAH5903RT00000{number}",
            maker="Halden",
            model="Brise",
            made_on=car.made_on,
            system=car.system,
        )
        by_hand(opened(job_open(car=other, by=counter, title="Look", stage="here"), tech), tech)
        with CaptureQueriesContext(connection) as asked:
            sightings_refresh()
        counts.append(len(asked))
    assert counts[0] == counts[-1] <= 20


# Read as columns


def test_the_columns_say_what_the_rows_say(sheet: BenchSheet, job: Job, tech: User) -> None:
    Car.objects.filter(pk=job.car_id).update(climate="hot", known_from=dt.date(2019, 3, 4))
    by_hand(sheet, tech, works=False)
    replaced(job, tech)
    by_hand(sheet, tech)
    by_hand(sheet, tech, "BG3")
    sightings_refresh()
    found = observations()
    assert len(found) == Sighting.objects.count() == 3
    assert found.modes == tuple(MODE_BITS)
    assert [int(found.good[i]) >> found.modes.index("never-makes") & 1 for i in range(3)] == [0, 1, 1]
    today = timezone.localdate().toordinal()
    assert [found.positions[code] for code in found.position_code] == ["BG1", "BG1", "BG3"]
    assert [found.modes[code] if code >= 0 else "" for code in found.failed] == ["never-makes", "", ""]
    assert list(found.since_day) == [0, today, 0]
    assert list(found.original) == [True, False, True]
    assert list(found.day) == [today] * 3
    assert len(set(found.unit)) == 3
    assert set(found.car) == {job.car_id}
    assert set(found.month) == {2014 * 12 + 5}
    assert set(found.climate) == {1}
    assert set(found.known_day) == {dt.date(2019, 3, 4).toordinal()}
    assert [found.revisions[code] for code in found.revision_code] == ["", "b", ""]
    only = observations(system="rht-trio", part=PART)
    assert len(only) == 2
    assert only.parts == (PART,)
    assert len(observations(system="softbow-hydro")) == 0


def test_what_was_seen_good_again_and_again_comes_as_its_last_day(sheet: BenchSheet, tech: User, job: Job) -> None:
    days = [dt.date(2020, 5, 1), dt.date(2022, 5, 1), dt.date(2021, 5, 1)]
    for number, day in enumerate(days):
        one = BenchSheet.objects.create(
            job=job, car=job.car, revision=sheet.revision, opened_by=tech, opened_at=timezone.now(), sighted=True,
            closed_at=timezone.now(),
        )  # fmt: skip
        for position in ("BG1", "BG3"):
            Sighting.objects.create(
                sheet=one, car=job.car, system="rht-trio", position=position, part=PART, on=day, good=2,
                failed="never-makes" * (position == "BG3" and number == 1), observations=2,
            )  # fmt: skip
    with CaptureQueriesContext(connection) as asked:
        found = observations()
    assert len(asked) == 3
    bg1 = np.array([found.positions[code] == "BG1" for code in found.position_code])
    assert list(found.day[bg1]) == [max(days).toordinal()]
    assert list(found.checks[bg1]) == [6]
    assert list(found.day[~bg1]) == sorted(day.toordinal() for day in days), "where something failed, all of it"


def test_what_was_mended_and_seen_good_on_one_day_is_no_failure_at_a_known_age(
    sheet: BenchSheet, job: Job, tech: User
) -> None:
    add(sheet, tech, check="look", position="MM3", found="binds")
    services.work_add(job=job, by=tech, position="MM3", kind="trim", mode="binds")
    whole = {"check": "motion", "stops_at": None, "lamp": None, "seconds": {}}
    add(sheet, tech, **whole, motion="open")
    sightings_refresh()
    group = next(one for one in groups_of(observations()) if "MM3" in one.positions)
    spells = list(spells_of(group, "binds"))
    original = next(one for one in spells if one.population.original and one.has_failed.any())
    (failed,) = np.flatnonzero(original.has_failed)
    assert original.good[failed] == 0.0, "it failed somewhere between the works and today"
    assert original.failed[failed] > 5
    # On the day of the repair the mended one is of no age yet, so nothing is told of it.
    assert not any(one.has_failed.any() for one in spells if not one.population.original)


# The units behind a number, and what a car was last seen good in


def test_the_units_behind_a_number_are_named_with_the_sheet_that_tells(sheet: BenchSheet, job: Job, tech: User) -> None:
    by_hand(sheet, tech, works=False)
    replaced(job, tech)
    by_hand(sheet, tech)
    by_hand(sheet, tech, "BG2")
    sightings_refresh()
    asked = Counted("rht-trio", ("BG1", "BG2"), "never-makes")
    rows = list(units_behind(asked))
    assert [(row["position"], row["first_failed"] is None) for row in rows] == [("BG1", False), ("BG2", True)]
    failed, good = units_told(asked, rows)
    assert {failed.sheet, good.sheet} == {sheet.pk}
    assert rows[0]["car__vin"] == job.car.vin
    today = timezone.localdate()
    assert (failed.last_good, dict(failed.failures), good.last_good) == (None, {"never-makes": today}, today)
    june = dt.date(2014, 6, 1)
    for more, units in (
        ({"failed": True}, 1), ({"failed": False}, 1), ({"first": june, "last": june}, 2),
        ({"first": dt.date(2014, 7, 1)}, 0), ({"mode": "weak"}, 0),
    ):  # fmt: skip
        assert len(units_behind(replace(asked, **more))) == units


def last_good(car: Car) -> dict[tuple[str, str], tuple[dt.date, dt.date | None]]:
    return {key: (clock.good, clock.since) for key, clock in fitted_in(car).clocks.items() if clock.good is not None}


def test_what_a_car_was_last_seen_good_in_is_of_the_unit_that_is_fitted_now(
    sheet: BenchSheet, job: Job, tech: User
) -> None:
    by_hand(sheet, tech)
    today = timezone.localdate()
    sightings_refresh()
    assert last_good(job.car)["BG1", "never-makes"] == (today, None)
    replaced(job, tech)
    sightings_refresh()
    assert ("BG1", "never-makes") not in last_good(job.car), "nobody has seen the new one yet"
    by_hand(sheet, tech)
    services.work_add(job=job, by=tech, position="BG3", kind="mend-wire", mode="open")
    by_hand(sheet, tech, "BG3")
    add(sheet, tech, check="look", position="MM3", found="leaks")
    sightings_refresh()
    found = last_good(job.car)
    assert found["BG1", "never-makes"] == (today, today)
    assert found["BG3", "open"] == (today, today), "mended in place: its clock starts anew"
    assert found["BG3", "never-makes"] == (today, None)
    assert ("MM3", "leaks") not in found
    assert Unit.objects.filter(car=job.car).count() == 2


@pytest.mark.parametrize("mode", ["", "precaution"])
def test_a_unit_changed_without_a_fault_is_good_to_the_end_of_its_life(
    sheet: BenchSheet, job: Job, tech: User, mode: str
) -> None:
    by_hand(sheet, tech)
    replaced(job, tech, mode=mode)
    sightings_refresh()
    (old,) = told()
    assert old[3] == ""
    assert "never-makes" in old[5]
