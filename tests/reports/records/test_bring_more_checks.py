"""Readings by hand, motion trials and pressure holds from tables; and that rows written in bulk are as any other."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from diagnostics.models import Check
from diagnostics.selectors import diagnosis_of_sheet
from reports.bring import NotBrought
from reports.bring.write import link_to, rows_written
from shop.models import Car, Customer, Job, TrailEntry, User
from tests.diagnostics.bench import publish
from tests.reports.records.conftest import Bring, fates
from tests.reports.records.test_bring import CARS, JOBS

pytestmark = pytest.mark.django_db

HEAD = (
    "VIN,Job,Date,Position,Check,Pressed,Released,Supply,Outcome,Motion,Stopped at,Lamp,Bar start,Bar end,Seconds,Oil"
)
CAR = "0TWAH5903RT000011,A-1,2019-05-03"


@pytest.fixture
def _books(bring: Bring, owner: User) -> None:
    publish(owner)
    bring(CARS)
    bring(JOBS)


def _row(rest: str) -> str:
    return f"{HEAD}\n{CAR},{rest}\n"


@pytest.mark.usefixtures("_books")
def test_a_reading_by_hand_is_judged_as_one_made_here(bring: Bring) -> None:
    told = bring(_row('BG3,by hand,"0,2",12.4 V,12.6,,,,,,,,'))
    check = Check.objects.get()
    assert (check.kind, check.position, check.verdict) == ("pin-by-hand", "BG3", "ok")
    assert (check.observation["pressed_volts"], check.observation["released_volts"]) == (0.2, 12.4)
    assert told.fates[0].words == check.words


@pytest.mark.usefixtures("_books")
def test_a_trial_that_stopped_speaks_to_the_suspects(bring: Bring) -> None:
    """The step by its title as well as by its name, and the seconds of the steps before it."""
    table = _row(",motion,,,,no,Öffnen,The lid opens to the rear,blinkt,,,unlock-header 1.4; release-lid 0.9,20 °C")
    assert fates(bring(table)) == [(2, "new")]
    check = Check.objects.get()
    said = check.observation
    assert (check.kind, said["motion"], said["stops_at"], said["lamp"]) == ("motion", "open", "raise-lid", "flashing")
    assert said["seconds"] == {"unlock-header": 1.4, "release-lid": 0.9}
    assert said["oil_c"] == 20
    assert check.verdict == "finding"
    assert diagnosis_of_sheet(check.sheet) is not None
    assert fates(bring(table)) == [(2, "same")]


@pytest.mark.usefixtures("_books")
def test_a_trial_that_ran_is_kept_as_one(bring: Bring) -> None:
    bring(_row(",Probelauf,,,,ran,close,,off,,,,"))
    assert Check.objects.get().observation["stops_at"] is None


@pytest.mark.usefixtures("_books")
def test_a_pressure_hold_is_judged_with_its_temperature(bring: Bring) -> None:
    bring(_row("GP1,hold,,,,,,,,120 bar,118,60 s,21"))
    check = Check.objects.get()
    assert (check.kind, check.position) == ("pressure-hold", "GP1")
    assert (check.observation["bar_start"], check.observation["bar_end"], check.observation["seconds"]) == (
        120,
        118,
        60,
    )
    assert check.observation["oil_c"] == 21


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("BG3,by hand,,12.4,12.6,,,,,,,,", "while it was pressed are missing"),
        ("BG3,by hand,0.2,,12.6,,,,,,,,", "while it was let go are missing"),
        (",motion,,,,yes,,,,,,,", "The motion is missing"),
        (",motion,,,,yes,sideways,,,,,,", "“sideways” is no motion"),
        (",motion,,,,yes,open,,green,,,,", "“green” is no lamp"),
        (",motion,,,,,open,,,,,,", "Say either that the motion ran"),
        (",motion,,,,no,open,,,,,,", "Say either that the motion ran"),
        (",motion,,,,yes,open,raise-lid,,,,,", "and not both"),
        (",motion,,,,no,open,raise-the-roof,,,,,", "has no step “raise-the-roof”"),
        (",motion,,,,yes,open,,,,,soon,", "“soon” is no time of a step"),
        (",motion,,,,yes,open,,,,,raise-lid 1; raise-lid 2,", "each step once"),
        ("GP1,hold,,,,,,,,,118,60,", "bar at the start are missing"),
        ("GP1,hold,,,,,,,,120,,60,", "bar at the end are missing"),
        ("GP1,hold,,,,,,,,120,118,,", "seconds of the hold are missing"),
        ("GP1,hold,,,,,,,,120,130,60,", "A shut volume gains no pressure"),
    ],
)
@pytest.mark.usefixtures("_books")
def test_rows_that_cannot_be(bring: Bring, row: str, words: str) -> None:
    with pytest.raises(NotBrought, match=words):
        bring(_row(row))
    assert not Check.objects.exists()


def test_of_a_car_without_a_declared_system_only_pin_readings_are_kept(bring: Bring) -> None:
    bring(CARS)
    bring(JOBS)
    with pytest.raises(NotBrought, match="only pin readings are kept"):
        bring(_row(",motion,,,,yes,open,,,,,,"))


def test_rows_written_in_bulk_are_as_any_other(owner: User) -> None:
    names = [f"Owner {number}" for number in range(450)]  # more than one statement
    keys = rows_written(Customer, ({"name": name, "phone": "1"} for name in names))
    assert [Customer.objects.get(pk=pk).name for pk in (keys[0], keys[-1])] == [names[0], names[-1]]
    assert list(Customer.objects.filter(pk__in=keys).order_by("pk").values_list("name", flat=True)) == names
    first = Customer.objects.get(pk=keys[0])
    assert (first.email, first.note, timezone.localdate(first.created_at)) == ("", "", timezone.localdate())
    assert rows_written(Customer, []) == []


def test_what_the_database_refuses_is_refused_in_bulk_too(car: Car) -> None:
    row = {"vin": car.vin, "maker": "A", "model": "B", "made_on": dt.date(2014, 6, 1)}
    with pytest.raises(IntegrityError), transaction.atomic():
        rows_written(Car, [row])


def test_links_of_the_trail_lead_where_the_rows_are(bring: Bring) -> None:
    bring(CARS)
    bring(JOBS)
    for entry in TrailEntry.objects.filter(kind__in=["car.created", "odometer.added"]).select_related("car"):
        assert entry.car is not None
        assert entry.link == entry.car.get_absolute_url() == link_to(Car, entry.car.pk)
    for job in Job.objects.all():
        (entry,) = TrailEntry.objects.filter(job=job)
        assert (entry.link, entry.car) == (job.get_absolute_url(), job.car)
        assert job.number in entry.words
