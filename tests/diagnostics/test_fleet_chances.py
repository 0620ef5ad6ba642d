"""What the planning of parts reads of all cars of a top system: units with their ages, visits, repairs, suspects."""

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from diagnostics.learning.fleet import NEVER, Cohort, Fleet, half_of
from diagnostics.learning.records import month_of
from diagnostics.models import BenchSheet, Sighting, SystemRevision, Unit, Work
from diagnostics.selectors import system_of
from diagnostics.selectors.failure_model import models_now
from diagnostics.selectors.fleet_chances import fleet_of, open_faults, part_shares
from shop.models import Car, Job, Stage, User
from tests.diagnostics.bench import add
from tests.diagnostics.learned import a_model, keep

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)
WRITTEN = dt.datetime(2019, 2, 3, 9, tzinfo=dt.UTC)
PART, LATER = "TW-BGA-3014", "TW-BGA-3014-B"


@pytest.fixture(autouse=True)
def learned(revision: SystemRevision, car: Car) -> None:
    Car.objects.update(created_at=WRITTEN)
    keep(
        [
            a_model(),
            a_model(mode="never-makes"),
            a_model(mode="stays-made", original=False),
            a_model(mode="never-makes", original=False),
        ]
    )


def fleet(revision: SystemRevision, on: dt.date = TODAY) -> Fleet:
    models = models_now("rht-trio")
    assert models is not None
    return fleet_of(system_of(revision), models, on)


def another(car: Car, number: int, **facts: Any) -> Car:
    facts = {"made_on": car.made_on, "climate": "temperate", "system": "rht-trio", **facts}
    made = Car.objects.create(vin=f"0TWAH5903RT9{number:05d}", maker="Halden", model="Brise", **facts)
    Car.objects.filter(pk=made.pk).update(created_at=WRITTEN)
    return made


def visit(car: Car, by: User, on: dt.date, stage: str = Stage.GONE) -> Job:
    at = timezone.make_aware(dt.datetime.combine(on, dt.time(9)))
    done = at if stage == Stage.GONE else None
    return Job.objects.create(
        car=car, title="Top", stage=stage, held_since=at, opened_at=at, opened_by=by, finished_at=done
    )


def at(found: Fleet, position: str, part: str = PART, *, past: bool = False) -> list[Cohort]:
    every = found.past if past else found.fitted
    return [one for one in every if (one.position, one.part) == (position, part)]


def test_original_units_count_from_the_production_month(car: Car, revision: SystemRevision) -> None:
    other = another(car, 1, made_on=dt.date(2016, 1, 1), year_only=True, climate="hot")
    found = fleet(revision)
    (cohort,) = at(found, "BG1")
    assert found.cars.key[cohort.car].tolist() == [car.pk, other.pk]
    assert cohort.since.tolist() == [[2 * month_of(car.made_on) + 1, 2016 * 24 + 12]] * 2
    assert [way.model.population.mode for way in cohort.ways] == ["stays-made", "never-makes"]
    assert all(way.model.population.original for way in cohort.ways)
    assert {one.position for one in found.fitted} == {*system_of(revision).positions}


def test_a_replaced_unit_counts_from_when_it_was_fitted_and_the_old_one_is_past(
    car: Car, revision: SystemRevision, owner: User
) -> None:
    changed = dt.date(2024, 3, 20)
    Unit.objects.create(car=car, position="BG1", part=PART, removed_on=changed)
    Unit.objects.create(car=car, position="BG1", part=PART, revision="C", fitted_on=changed)
    another(car, 1)
    found = fleet(revision)
    untouched, new = sorted(at(found, "BG1"), key=lambda one: not one.original)
    assert (new.since.tolist(), new.revision, new.original) == ([[half_of(changed)]] * 2, "C", False)
    assert not any(way.model.population.original for way in new.ways)
    assert (len(untouched.car), untouched.original) == (1, True)
    (old,) = at(found, "BG1", past=True)
    assert (old.until.tolist(), old.original) == ([half_of(changed)], True)
    before = fleet(revision, changed - dt.timedelta(days=40))
    assert [(len(one.car), one.original) for one in at(before, "BG1")] == [(2, True)]
    assert before.past == ()


def test_a_place_that_was_left_empty_has_no_unit(car: Car, revision: SystemRevision) -> None:
    Unit.objects.create(car=car, position="BG1", part=PART, removed_on=dt.date(2024, 3, 20))
    assert at(fleet(revision), "BG1") == []


def test_what_was_mended_in_place_has_a_clock_of_its_own_in_that_way(
    car: Car, revision: SystemRevision, sheet: BenchSheet
) -> None:
    another(car, 1)
    on = dt.date(2025, 2, 20)
    Sighting.objects.create(
        sheet=sheet, car=car, system="rht-trio", position="BG1", part=PART, on=on, failed="never-makes", mended=True
    )
    usual, own = sorted(at(fleet(revision), "BG1"), key=lambda one: one.since[1, 0])
    assert len(usual.car) == len(own.car) == 1
    assert own.since[:, 0].tolist() == [2 * month_of(car.made_on) + 1, half_of(on)]
    assert [way.model.population.original for way in own.ways] == [True, False]


def test_cars_that_are_another_system_or_written_down_twice_are_not_there(car: Car, revision: SystemRevision) -> None:
    another(car, 1, system="softbow-hydro")
    another(car, 2, merged_into=car)
    another(car, 3, made_on=dt.date(2026, 7, 1))
    later = another(car, 4)
    Car.objects.filter(pk=later.pk).update(created_at=dt.datetime(2026, 6, 3, 9, tzinfo=dt.UTC))
    assert fleet(revision).cars.key.tolist() == [car.pk]


def test_visits_are_stays_and_what_failed_at_later_ones_is_what_a_car_brought(
    car: Car, revision: SystemRevision, counter: User, sheet: BenchSheet
) -> None:
    Job.objects.filter(pk=sheet.job_id).update(opened_at=dt.datetime(2026, 4, 1, 9, tzinfo=dt.UTC))
    first = visit(car, counter, dt.date(2020, 5, 3))
    visit(car, counter, dt.date(2022, 5, 3))
    visit(car, counter, dt.date(2022, 5, 12))
    visit(car, counter, dt.date(2026, 5, 20), Stage.BOOKED)
    never = another(car, 1)
    Unit.objects.create(car=car, position="BG3", part="X", fitted_on=dt.date(2020, 5, 4), fitted_job=first)
    early = BenchSheet.objects.create(
        job=first, car=car, revision=revision, opened_by=counter, opened_at=first.opened_at, closed_at=first.opened_at
    )
    for there, on in ((early, dt.date(2020, 5, 3)), (sheet, dt.date(2026, 4, 1)), (sheet, dt.date(2026, 4, 2))):
        Sighting.objects.create(
            sheet=there, car=car, system="rht-trio", position=f"BG{on.day}", part=PART, on=on, failed="stays-made"
        )
    cars = fleet(revision).cars
    assert (cars.first[0], cars.last[0]) == (half_of(dt.date(2020, 5, 3)), half_of(dt.date(2026, 4, 1)))
    assert (cars.visits.tolist(), cars.came.tolist(), cars.brought.tolist()) == ([2, 0], [True, False], [2, 0])
    assert cars.key[1] == never.pk
    assert fleet(revision).at_first == {"BG3": 1}
    assert fleet(revision).begins == half_of(dt.date(2020, 5, 3))


def test_six_queries_however_many_cars(
    car: Car, revision: SystemRevision, counter: User, django_assert_num_queries: Any
) -> None:
    models = models_now("rht-trio")
    assert models is not None
    for number in range(12):
        one = another(car, number)
        visit(one, counter, dt.date(2022, 1, 1 + number))
        Unit.objects.create(car=one, position="BG1", part=LATER, fitted_on=dt.date(2022, 1, 1 + number))
        with django_assert_num_queries(6):
            found = fleet_of(system_of(revision), models, TODAY)
    assert len(found.cars) == 13
    assert all((one.until == NEVER).all() for one in found.fitted)


def test_how_often_a_new_part_is_fitted_is_learned_from_the_repairs(
    car: Car, revision: SystemRevision, job: Job, tech: User
) -> None:
    system = system_of(revision)
    usual = part_shares(system)
    assert usual["BG1", "stays-made"] == 0.95
    assert usual["BG1", "out-of-adjustment"] == 0.05
    for _time in range(5):
        Work.objects.create(job=job, position="BG1", kind="adjust", mode="stays-made", by=tech, at=timezone.now())
    Work.objects.create(job=job, position="BG1", kind="adjust", mode=Work.PRECAUTION, by=tech, at=timezone.now())
    told = part_shares(system)
    assert told["BG1", "stays-made"] == told["BG2", "stays-made"] == pytest.approx(0.95 / 2)
    assert told["BG1", "never-makes"] == 0.95


def test_suspects_of_open_jobs_ask_for_their_part(revision: SystemRevision, sheet: BenchSheet, tech: User) -> None:
    system = system_of(revision)
    add(sheet, tech, check="click", position="BG1", heard=False)
    told = open_faults(system, part_shares(system))
    first = max(told, key=lambda one: one.needs)
    assert (first.job, first.car, first.position) == (sheet.job_id, sheet.car_id, "BG1")
    assert 0.3 < sum(one.needs for one in told if one.position == "BG1") <= 1
    Job.objects.filter(pk=sheet.job_id).update(stage=Stage.GONE, finished_at=timezone.now())
    assert open_faults(system, part_shares(system)) == []
