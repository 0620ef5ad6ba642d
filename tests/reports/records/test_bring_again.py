"""Old records beside what the books know already: what a second file adds, and what it leaves as it is."""

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError
from django.utils import timezone

from diagnostics.models import BenchSheet, Check, Unit
from reports.bring import NotBrought
from shop.errors import Conflict
from shop.models import Car, Customer, Job, OdometerReading, Stage, User
from tests.conftest import VIN
from tests.diagnostics.bench import publish
from tests.reports.records.conftest import Bring, fates
from tests.reports.records.test_bring import CARS, CHECKS, FITTED, JOBS

pytestmark = pytest.mark.django_db
FIRST = "0TWAH5903RT000011"


def test_of_two_jobs_of_a_day_the_first_odometer_is_kept(bring: Bring) -> None:
    bring(CARS)
    bring(
        f"VIN,Job,Title,Opened,Finished,km\n{FIRST},A,x,2019-05-02,2019-05-02,100\n{FIRST},B,y,2019-05-02,2019-05-02,105\n"
    )
    assert OdometerReading.objects.get().km == 100


def test_what_was_finished_stays_finished(bring: Bring) -> None:
    bring(CARS)
    bring(JOBS)
    assert fates(bring(JOBS.replace("2019-05-09", ""))) == [(2, "same"), (3, "same"), (4, "same")]
    job = Job.objects.get(car__vin=FIRST, reference="A-1")
    assert job.stage == Stage.GONE
    assert job.finished_at is not None
    assert timezone.localdate(job.finished_at) == dt.date(2019, 5, 9)


def test_an_exchange_in_one_file_after_the_unit_that_the_books_have(bring: Bring) -> None:
    bring(CARS)
    Unit.objects.create(car=Car.objects.get(vin=FIRST), position="BG3", part="TW-BGB-3121")
    assert fates(bring(FITTED)) == [(2, "changed"), (3, "new")]
    assert Unit.objects.filter(removed_on=None).get().fitted_on == dt.date(2019, 5, 3)


def test_units_that_come_later_have_the_sheets_read_again(bring: Bring, owner: User) -> None:
    publish(owner)
    bring(CARS)
    bring(JOBS)
    bring(CHECKS)
    BenchSheet.objects.update(sighted=True)
    bring(FITTED)
    assert set(BenchSheet.objects.filter(sighted=False).values_list("car__vin", flat=True)) == {FIRST}


def test_owners_of_one_name_are_not_taken_for_one(bring: Bring) -> None:
    for phone in ("1", "2"):
        Customer.objects.create(name="Ben Roe", phone=phone)
    head = "VIN,Maker,Model,Built,Owner,Phone\n"
    bring(f"{head}{FIRST},Halden,Brise,2014,Ben Roe,\n0TWAH5903RT000012,Halden,Brise,2014,Ben Roe,2\n")
    first, second = Car.objects.filter(vin__startswith="0TWAH5903RT00001").order_by("vin")
    assert first.owner is not None
    assert second.owner is not None
    assert (first.owner.phone, second.owner.phone) == ("", "2")
    assert Customer.objects.count() == 3, "by the name alone nobody knows which of the two it is"


def test_a_car_without_an_owner_gets_the_one_of_the_file(bring: Bring, car: Car) -> None:
    Car.objects.filter(pk=car.pk).update(owner=None)
    told = bring(f"VIN,Maker,Model,Built,Owner,Phone\n{VIN},Halden,Brise,2014-06,Ada New,77\n")
    assert (told.fates[0].fate, told.fates[0].words) == ("changed", "gets its owner")
    car.refresh_from_db()
    assert car.owner is not None
    assert (car.owner.name, car.owner.phone) == ("Ada New", "77")


def test_the_same_entry_of_two_cars_is_two_entries(bring: Bring, owner: User) -> None:
    bring(CARS)
    bring(JOBS.replace("2023-01-02,,", "2019-05-02,,"))
    head = "VIN,Job,Date,Position,Check,Volts,Supply\n"
    rows = [f"{vin},A-1,2019-05-03,XG1/A3,pin,11.9,12.5\n" for vin in (FIRST, "0TWAH5903RT000012")]
    Car.objects.update(system="")
    assert fates(bring(head + "".join(rows))) == [(2, "new"), (3, "new")]
    assert Check.objects.count() == 2


def test_a_job_takes_so_many_entries_and_no_more(bring: Bring, owner: User, monkeypatch: pytest.MonkeyPatch) -> None:
    publish(owner)
    bring(CARS)
    bring(JOBS)
    monkeypatch.setattr("reports.bring.checks.MOST_OBSERVATIONS", 1)
    with pytest.raises(NotBrought, match="The job takes no more than 1 entries"):
        bring(CHECKS)
    assert not Check.objects.exists()


def test_what_somebody_books_meanwhile_is_not_written_over(bring: Bring) -> None:
    """Between the look at every row and the writing: then all of it is refused, by the row that it concerns."""
    bring(CARS)

    def meanwhile() -> None:
        Unit.objects.create(car=Car.objects.get(vin=FIRST), position="BG3", part="TW-OTHER")

    with pytest.raises(NotBrought, match="row 3: At BG3 the books have TW-OTHER fitted still"):
        bring(FITTED, hold=meanwhile)
    assert not Unit.objects.exists()


def test_a_race_lost_to_somebody_else_is_told_in_words(bring: Bring, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_args: Any) -> None:
        raise IntegrityError("unique")

    monkeypatch.setattr("reports.bring.cars.rows_written", lost)
    with pytest.raises(Conflict, match="Somebody has just written the same"):
        bring(CARS)
    assert not Car.objects.exists()
