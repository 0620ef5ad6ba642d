"""A car written down twice becomes one: nothing is lost, what contradicts itself is said or refused, and both VINs lead
to the car that stays."""

import datetime as dt
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics import services as bench
from diagnostics.models import BenchSheet, FailureModel, Sighting, Unit
from reports.models import Certificate
from shop import selectors, services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, OdometerReading, OwnerChange, TrailEntry, User
from tests.diagnostics.bench import add, opened, publish
from tests.diagnostics.learned import a_model, keep

pytestmark = pytest.mark.django_db
DOUBLE_VIN = "0TWAH5903RT000002"
WHY = "Same engine number"


@pytest.fixture
def double(car: Car, counter: User) -> Car:
    return services.car_create(
        by=counter, vin=DOUBLE_VIN, maker="Halden", model="Brise", made_on=car.made_on, system="rht-trio"
    )


def _unit(car: Car, since: int | None, until: int | None, position: str = "BG3") -> Unit:
    day = [None if year is None else dt.date(year, 5, 1) for year in (since, until)]
    return Unit.objects.create(car=car, position=position, part="TW-BGB-3121", fitted_on=day[0], removed_on=day[1])


def _merge(kept: Car, double: Car, by: User) -> Car:
    return services.car_merge(kept=kept, double=double, by=by, why=WHY)


def test_everything_of_the_double_hangs_on_the_car_that_stays(
    car: Car, double: Car, counter: User, tech: User, owner: User
) -> None:
    publish(owner)
    job = services.job_open(car=double, by=counter, title="Closing stops", stage="here")
    sheet = opened(job, tech)
    add(sheet, tech, check="battery", volts=12.6)
    bench.work_add(job=job, by=tech, position="BG3", kind="replace", part="TW-BGB-3121")
    services.odometer_add(car=double, by=tech, km=60_000, read_on=dt.date(2020, 1, 1))
    told = double.trail.count()
    certificate = Certificate.objects.create(
        number="TW-1", job=job, car=double, fingerprint="a" * 64, asked_at=job.opened_at
    )
    _merge(car, double, counter)
    for row in (job, sheet, certificate, OdometerReading.objects.get(), *Unit.objects.all()):
        row.refresh_from_db()
        assert row.car == car, row  # type: ignore[attr-defined]
    assert Unit.objects.count() == 2
    assert double.trail.count() == told, "what is written in the trail is never changed"
    entry = TrailEntry.objects.latest("pk")
    assert (entry.kind, entry.car) == ("car.merged", car)
    assert DOUBLE_VIN in entry.words
    assert f"Why: {WHY}. Moved: " in entry.words
    assert {one.kind for one in selectors.trail_of(car)} >= {"car.created", "job.opened", "sheet.opened", "car.merged"}
    assert selectors.trail_of(car).filter(kind="car.created").count() == 2


def test_nothing_that_points_at_a_car_is_forgotten() -> None:
    """Whoever adds a table that hangs on a car says in a mover what becomes of it, and in this list."""
    known = {"job", "odometerreading", "ownerchange", "car", "unit", "benchsheet", "sighting", "certificate"}
    there = {relation.related_model._meta.model_name for relation in Car._meta.related_objects}
    assert there - {"trailentry"} == known


def test_both_vins_and_the_address_of_the_double_lead_to_the_car(
    car: Car, double: Car, counter: User, client_as: Any
) -> None:
    services.car_update(
        car=double, by=counter, vin=DOUBLE_VIN, maker="Halden", model="Brise", made_on=car.made_on, plate="ZZ 77",
        climate=car.climate, system=car.system, owner=None,
    )  # fmt: skip
    _merge(car, double, counter)
    for words in (car.vin, DOUBLE_VIN, DOUBLE_VIN[-8:], "zz-77", "Quill"):
        assert selectors.cars_found(words) == [car], words
    assert selectors.cars_found("") == [car]
    client: Client = client_as("technician")
    assert client.get(f"/cars/{double.pk}/")["Location"] == f"/cars/{car.pk}/"


def test_nothing_is_booked_on_a_double(car: Car, double: Car, counter: User) -> None:
    _merge(car, double, counter)
    stale = Car.objects.get(pk=double.pk)
    stale.merged_into = None  # as a page that was opened before knows it
    with pytest.raises(Conflict, match=car.vin):
        services.job_open(car=stale, by=counter, title="Look")
    with pytest.raises(Conflict, match=car.vin):
        services.odometer_add(car=stale, by=counter, km=1, read_on=dt.date(2020, 1, 1))
    with pytest.raises(Conflict, match=car.vin):
        services.car_update(
            car=stale, by=counter, vin=DOUBLE_VIN, maker="A", model="B", made_on=car.made_on, plate="", climate="hot",
            system="", owner=None,
        )  # fmt: skip
    assert not Job.objects.exists()


def test_two_units_at_one_place_at_one_time_are_refused_by_name_and_nothing_moves(
    car: Car, double: Car, counter: User
) -> None:
    _unit(car, 2018, 2022)
    other = _unit(double, 2020, None)
    services.job_open(car=double, by=counter, title="Look")
    with pytest.raises(Conflict) as caught:
        _merge(car, double, counter)
    assert caught.value.words == (
        "At BG3 both cars had a unit at the same time: TW-BGB-3121 (1 May 2018 to 1 May 2022) and "
        "TW-BGB-3121 (1 May 2020 to now)."
    )
    other.refresh_from_db()
    double.refresh_from_db()
    assert (other.car, double.merged_into, car.jobs.count()) == (double, None, 0)


def test_units_that_followed_each_other_are_one_history(car: Car, double: Car, counter: User) -> None:
    _unit(car, None, 2018)
    _unit(double, 2018, None)  # fitted on the day on which the other came off
    _unit(double, None, None, "BG4")
    _merge(car, double, counter)
    assert car.units.count() == 3  # type: ignore[attr-defined]


def test_a_sheet_open_on_both_is_closed_first(car: Car, double: Car, counter: User, tech: User, owner: User) -> None:
    publish(owner)
    sheets = [opened(services.job_open(car=one, by=counter, title="x", stage="here"), tech) for one in (car, double)]
    with pytest.raises(Conflict, match="close one of them first"):
        _merge(car, double, counter)
    bench.sheet_close(sheet=sheets[0], by=tech)
    _merge(car, double, counter)
    assert set(BenchSheet.objects.values_list("car", flat=True)) == {car.pk}


def test_jobs_of_one_number_in_the_old_records_are_put_right_first(car: Car, double: Car, counter: User) -> None:
    for one in (car, double):
        job = services.job_open(car=one, by=counter, title="x")
        Job.objects.filter(pk=job.pk).update(reference="R-17")
    with pytest.raises(Conflict, match="R-17"):
        _merge(car, double, counter)


def test_contradicting_odometers_are_said_and_none_is_lost(car: Car, double: Car, counter: User) -> None:
    for one, km, year in ((car, 50_000, 2020), (double, 51_000, 2020), (double, 30_000, 2021)):
        services.odometer_add(car=one, by=counter, km=km, read_on=dt.date(year, 1, 1))
    said = selectors.merge_preview(car, double).said
    assert said == (
        "Odometer on 1 Jan 2020: 50,000 km stays; the double’s 51,000 km stay with the double.",
        "Odometer: 30,000 km on 1 Jan 2021 is less than 50,000 km on 1 Jan 2020.",
    )
    _merge(car, double, counter)
    assert list(car.odometer.values_list("km", flat=True)) == [50_000, 30_000]
    assert double.odometer.get().km == 51_000
    assert said[0] in car.trail.get(kind="car.merged").words


def test_empty_facts_are_taken_from_the_double_and_others_stay(car: Car, double: Car, counter: User) -> None:
    other = services.customer_create(by=counter, name="Ben Marlow")
    Car.objects.filter(pk=car.pk).update(plate="", owner=None)
    Car.objects.filter(pk=double.pk).update(plate="ZZ 77", owner=other, climate="hot")
    kept = _merge(car, double, counter)
    assert (kept.plate, kept.owner, kept.climate) == ("ZZ 77", other, "temperate")
    words = car.trail.get(kind="car.merged").words
    assert "Climate: “Temperate” stays; the double says “Hot”." in words
    assert "Marlow" not in words


def test_what_was_learned_of_the_parts_is_learned_anew(
    car: Car, double: Car, counter: User, tech: User, owner: User
) -> None:
    publish(owner)
    sheet = opened(services.job_open(car=double, by=counter, title="x", stage="here"), tech)
    Sighting.objects.create(
        sheet=sheet, car=double, system="rht-trio", position="BG1", part="TW-BGA-3014", on=dt.date(2024, 1, 1), good=1
    )
    BenchSheet.objects.update(sighted=True)
    keep([a_model(), a_model(part="TW-OTHER-1")])
    _merge(car, double, counter)
    assert Sighting.objects.get().car == car
    stale = dict(FailureModel.objects.values_list("part", "fingerprint"))
    assert stale["TW-BGA-3014"].startswith("stale:")
    assert not stale["TW-OTHER-1"].startswith("stale:")
    sheet.refresh_from_db()
    assert not sheet.sighted


def test_a_car_is_no_double_of_itself_nor_of_a_double(car: Car, double: Car, counter: User) -> None:
    with pytest.raises(Conflict, match="with itself"):
        _merge(car, car, counter)
    _merge(car, double, counter)
    with pytest.raises(Conflict, match="a double already"):
        _merge(double, car, counter)
    third = services.car_create(by=counter, vin="0TWAH5903RT000003", maker="A", model="B", made_on=car.made_on)
    _merge(third, car, counter)
    double.refresh_from_db()
    assert double.merged_into == third, "one step leads to the car, however often it was put together"
    assert selectors.cars_found(DOUBLE_VIN) == [third]


def test_who_may_not_or_says_no_why_changes_nothing(car: Car, double: Car, counter: User, tech: User) -> None:
    with pytest.raises(Refused):
        _merge(car, double, tech)
    with pytest.raises(ShopError, match="how you know"):
        services.car_merge(kept=car, double=double, by=counter, why="  ")
    double.refresh_from_db()
    assert double.merged_into is None


def test_the_page_tells_what_moves_before_anything_does(car: Car, double: Car, counter: User, client_as: Any) -> None:
    services.job_open(car=double, by=counter, title="Look")
    client: Client = client_as("counter")
    found = client.get(f"/cars/{car.pk}/merge/?q=halden").content.decode()
    assert found.count("?double=") == 0, "the maker is not what is searched"
    found = client.get(f"/cars/{car.pk}/merge/?q=0tw").content.decode()
    assert f"?double={double.pk}" in found
    assert f"?double={car.pk}" not in found
    page = client.get(f"/cars/{car.pk}/merge/?double={double.pk}").content.decode()
    assert "<dt>Jobs with their notes, plans, estimates and outlays</dt><dd>1</dd>" in page
    assert "This cannot be undone." in page
    answer = client.post(f"/cars/{car.pk}/merge/", {"double": double.pk, "why": ""})
    assert answer.status_code == 422
    answer = client.post(f"/cars/{car.pk}/merge/", {"double": double.pk, "why": WHY})
    assert answer["Location"] == f"/cars/{car.pk}/"
    assert client.get(f"/cars/{double.pk}/merge/")["Location"] == f"/cars/{car.pk}/"


def test_what_stands_against_it_is_shown_and_no_button(car: Car, double: Car, client_as: Any) -> None:
    _unit(car, None, None)
    _unit(double, None, None)
    client: Client = client_as("owner")
    page = client.get(f"/cars/{car.pk}/merge/?double={double.pk}").content.decode()
    assert "At BG3 both cars had a unit at the same time" in page
    assert "Put them together" not in page
    answer = client.post(f"/cars/{car.pk}/merge/", {"double": double.pk, "why": WHY})
    assert answer.status_code == 409


@pytest.mark.parametrize("which", ["kept", "double"])
def test_of_two_originals_a_person_says_which_one_counts(
    car: Car, double: Car, counter: User, client_as: Any, which: str
) -> None:
    """Both entries of the car were given an original at BG3: the other one stays with the double, as nothing."""
    units = {"kept": _unit(car, None, None), "double": _unit(double, None, None)}
    after = _unit(double, None, None, "BG4")
    counts, left = units[which], units["double" if which == "kept" else "kept"]
    client: Client = client_as("counter")
    page = client.get(f"/cars/{car.pk}/merge/?double={double.pk}").content.decode()
    name = f"unit-{units['kept'].pk}-{units['double'].pk}"
    assert f'name="{name}" value="{counts.pk}">' in page
    chosen = {"double": double.pk, name: counts.pk}
    page = client.get(f"/cars/{car.pk}/merge/", chosen).content.decode()
    assert "At BG3 the unit TW-BGB-3121 (original to now) does not count and stays with the double." in page
    assert "Put them together" in page
    assert f'<input type="hidden" name="{name}" value="{counts.pk}">' in page
    assert client.post(f"/cars/{car.pk}/merge/", chosen | {"why": WHY})["Location"] == f"/cars/{car.pk}/"
    for unit in (counts, left, after):
        unit.refresh_from_db()
    assert (counts.car, counts.removed_on, after.car) == (car, None, car)
    assert (left.car, left.removed_on) == (double, left.car.made_on), "not fitted anywhere any more"
    words = car.trail.get(kind="car.merged").words
    assert "does not count and stays with the double" in words
    assert "Units 1" in words if which == "kept" else "Units 2" in words


def test_a_choice_that_is_none_settles_nothing(car: Car, double: Car, counter: User) -> None:
    one, other = _unit(car, None, None), _unit(double, None, None)
    with pytest.raises(Conflict, match="At BG3"):
        services.car_merge(kept=car, double=double, by=counter, why=WHY, chosen={f"unit-{one.pk}-{other.pk}": "both"})


def test_what_was_chosen_first_settles_the_pairs_that_follow(car: Car, double: Car, counter: User) -> None:
    """Of two units one after the other beside one that stood all the time: that one goes, and nothing besides."""
    first, second, other = _unit(car, None, 2018), _unit(car, 2018, None), _unit(double, None, None)
    names = {f"unit-{one.pk}-{other.pk}": one for one in (first, second)}
    chosen = dict(zip(names, (str(first.pk), str(other.pk)), strict=True))
    preview = selectors.merge_preview(car, double, dict([*chosen.items()][:1]))
    assert (preview.refused, [choice.chosen for choice in preview.choices]) == ((), [str(first.pk)])
    services.car_merge(kept=car, double=double, by=counter, why=WHY, chosen=chosen)
    assert set(Unit.objects.filter(car=car)) == {first, second}


BOOKED = st.lists(
    st.tuples(st.booleans(), st.sampled_from(["job", "odometer", "owner", "unit"]), st.integers(2015, 2024)),
    max_size=12,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(BOOKED)
def test_whatever_hangs_on_two_cars_as_many_rows_hang_on_the_one(
    car: Car, double: Car, counter: User, booked: list[tuple[bool, str, int]]
) -> None:
    """All of it moves or nothing does, and no row is ever lost; only readings of one day stay with the double."""

    with transaction.atomic():
        for first, what, year in booked:
            _book(car if first else double, what, year, counter)
        tables = (Job, OdometerReading, OwnerChange, Unit)
        before = {table: table.objects.count() for table in tables}
        trail = TrailEntry.objects.count()
        refused = bool(selectors.merge_preview(car, double).refused)
        try:
            _merge(car, double, counter)
        except Conflict:
            assert refused
            assert TrailEntry.objects.count() == trail
        else:
            assert not refused
            left = set(car.odometer.values_list("read_on", flat=True))
            for table in tables:
                rows = table.objects.filter(car=double)
                assert [getattr(row, "read_on", None) in left for row in rows] == [True] * rows.count()
        assert {table: table.objects.count() for table in tables} == before
        transaction.set_rollback(True)
    for one in (car, double):
        one.refresh_from_db()


def _book(car: Car, what: str, year: int, by: User) -> None:
    day = dt.date(year, 1, 1)
    if what == "job":
        services.job_open(car=car, by=by, title=f"Job of {year}")
    elif what == "odometer" and not car.odometer.filter(read_on=day).exists():
        services.odometer_add(car=car, by=by, km=1000 * (year - 2000), read_on=day)
    elif what == "owner":
        OwnerChange.objects.create(car=car, on=day, at="2025-01-01T00:00Z", by=by)
    elif what == "unit" and not Unit.objects.filter(car=car, position=f"BG{year % 3}").exists():
        _unit(car, year, year + 2, f"BG{year % 3}")
