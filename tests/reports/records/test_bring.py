"""Bringing old records: what becomes of each row, all or nothing, and twice is once."""

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.models import BenchSheet, Check, Unit
from reports.bring import NotBrought
from reports.records.fates import Fate, Tally
from shop.errors import Refused, ShopError
from shop.models import Car, Customer, Job, OdometerReading, Role, Stage, TrailEntry, User
from tests.conftest import VIN
from tests.diagnostics.bench import publish
from tests.reports.records.conftest import Bring, fates

pytestmark = pytest.mark.django_db

CARS = (
    "VIN,Plate,Maker,Model,Built,Climate,System,Owner,E-Mail,Phone\n"
    "0TWAH5903RT000011,k 1,Halden,Brise,2014-06,hot,rht-trio,Ben Roe,ben@post.example,1\n"
    "0TWAH5903RT000012,,Halden,Brise,2015,,,Ben Roe,ben@post.example,1\n"
    "0TWAH5903RT000013,,Halden,Brise,03/2016,kalt,,,,\n"
)
JOBS = (
    "VIN,Job,Title,Complaint,Opened,Finished,km\n"
    "0TWAH5903RT000011,A-1,Top stops,Half way,2019-05-02,2019-05-09,84.000\n"
    "0TWAH5903RT000011,A-2,Service,,2021-05-02,2021-05-03,\n"
    "0TWAH5903RT000012,A-1,Look,,2023-01-02,,\n"
)


def _books() -> dict[str, int]:
    names = ("shop", "diagnostics", "parts", "reports")
    models = [model for name in names for model in apps.get_app_config(name).get_models()]
    return {model.__name__: model._default_manager.count() for model in models}


def test_cars_come_with_their_owners_once(bring: Bring) -> None:
    assert fates(bring(CARS)) == [(2, "new"), (3, "new"), (4, "new")]
    first, second, third = Car.objects.filter(vin__startswith="0TWAH5903RT00001").order_by("vin")
    assert (first.plate, first.made_on, first.climate, first.system) == ("K 1", dt.date(2014, 6, 1), "hot", "rht-trio")
    assert (second.made_on, second.year_only, second.climate) == (dt.date(2015, 1, 1), True, "temperate")
    assert (third.made_on, third.climate, third.owner) == (dt.date(2016, 3, 1), "cold", None)
    assert first.owner == second.owner == Customer.objects.get()
    assert Customer.objects.get().email == "ben@post.example"
    assert TrailEntry.objects.filter(kind="car.created", car=first).count() == 1


@pytest.mark.parametrize("table", [CARS, JOBS], ids=["cars", "jobs"])
def test_the_same_file_twice_changes_nothing(bring: Bring, table: str) -> None:
    bring(CARS)
    bring(table)
    before = _books()
    again = bring(table)
    assert {fate.fate for fate in again.fates} == {"same"}
    assert _books() == before | {"TrailEntry": before["TrailEntry"] + 1}  # that it was brought


def test_a_dry_run_says_the_same_and_writes_nothing(bring: Bring) -> None:
    before = _books()
    dry = bring(CARS, dry_run=True)
    assert _books() == before
    assert not dry.written
    assert fates(dry) == fates(bring(CARS))


def test_one_refused_row_and_nothing_is_brought(bring: Bring) -> None:
    before = _books()
    with pytest.raises(
        NotBrought, match=r"1 rows are refused, so nothing was brought\. The first, row 5: Place 10"
    ) as no:
        bring(CARS + "0TWAH5903OT000014,,Halden,Brise,2014,,,,,\n")
    assert _books() == before
    assert fates(no.value.brought) == [(2, "new"), (3, "new"), (4, "new"), (5, "refused")]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0TWAH5903RT000011,,Halden,Brise,2014,,,,,", "stands in row 2 already"),
        ("0TWAH5903RT00001,,Halden,Brise,2014,,,,,", "A VIN has 17 characters; this one has 16"),
        (",,Halden,Brise,2014,,,,,", "The VIN is missing"),
        ("0TWAH5903RT000014,,,Brise,2014,,,,,", "The maker is missing"),
        ("0TWAH5903RT000014,,Halden,Brise,,,,,,", "The production month is missing"),
        ("0TWAH5903RT000014,,Halden,Brise,2199,,,,,", "lies in the future"),
        ("0TWAH5903RT000014,,Halden,Brise,soon,,,,,", "“soon” is no day"),
        ("0TWAH5903RT000014,,Halden,Brise,2014,wet,,,,", "“wet” is no climate; expected one of: hot"),
        ("0TWAH5903RT000014,,Halden,Brise,2014,,no slug!,,,", "slug"),
        ("0TWAH5903RT000014,,Halden,Brise,2014,,,Ada,not mail,", "valid email"),
        ("0TWAH5903RT000014,,Halden,Brise,2014,,,,a@b.example,", "stands without a name"),
        (f"0TWAH5903RT000014,{'p' * 17},Halden,Brise,2014,,,,,", "at most 16 characters"),
    ],
)
def test_rows_of_cars_that_cannot_be(bring: Bring, row: str, words: str) -> None:
    refused = [fate for fate in bring(CARS + row, dry_run=True).fates if fate.fate == "refused"]
    assert [fate.row for fate in refused] == [5]
    assert words in refused[0].words


def test_what_the_file_states_otherwise_is_changed_and_told(bring: Bring, car: Car) -> None:
    owner = car.owner
    told = bring(f"VIN,Maker,Model,Built,Plate,Owner\n{VIN},Halden,Brise,2014,NEW 1,Somebody Else\n")
    assert [(fate.fate, fate.words) for fate in told.fates] == [
        ("changed", "the books name another owner, who stays; plate: TW 14 K → NEW 1")
    ]
    car.refresh_from_db()
    assert (car.plate, car.owner, car.made_on) == ("NEW 1", owner, dt.date(2014, 6, 1))  # the books know the month
    assert TrailEntry.objects.filter(kind="car.changed", car=car).count() == 1
    assert fates(bring(f"VIN,Maker,Model,Built,Plate\n{VIN},Halden,Brise,2014-06,\n")) == [(2, "same")]


def test_from_when_the_history_is_known_comes_along(bring: Bring, car: Car) -> None:
    """What the books know and the file leaves empty stays; what cannot be beside the books' month is its row's fate."""
    head = "VIN,Maker,Model,Built,History known from\n"
    assert fates(
        bring(f"{head}0TWAH5903RT000011,Halden,Brise,2014-06,03.02.2018\n{VIN},Halden,Brise,2014,2016-01-09\n")
    )
    assert Car.objects.get(vin="0TWAH5903RT000011").known_from == dt.date(2018, 2, 3)
    assert Car.objects.get(vin=VIN).known_from == dt.date(2016, 1, 9)
    assert fates(bring(f"{head}{VIN},Halden,Brise,2014-06,\n")) == [(2, "same")]
    for row, words in (("2014,2014-02-01", "before the car was made"), ("2014,2199-01-01", "lies in the future")):
        with pytest.raises(NotBrought, match=words):
            bring(f"{head}{VIN},Halden,Brise,{row}\n")


def test_a_car_that_was_written_down_twice_stays_as_it_was_put_together(bring: Bring, car: Car) -> None:
    """Its row changes nothing, and its old jobs go to the car that stands for both."""
    bring(CARS)
    Car.objects.filter(vin="0TWAH5903RT000011").update(merged_into=car)
    assert fates(bring(CARS.replace("Brise", "Other"))) == [(2, "same"), (3, "changed"), (4, "changed")]
    bring(JOBS)
    assert set(Job.objects.filter(car=car).values_list("reference", flat=True)) == {"A-1", "A-2"}


def test_jobs_come_finished_with_their_odometer(bring: Bring) -> None:
    bring(CARS)
    told = bring(JOBS)
    assert [(fate.fate, fate.words) for fate in told.fates] == [
        ("new", ""), ("new", ""), ("new", "not finished: it will stand on the Floor"),
    ]  # fmt: skip
    first, _second, still_open = Job.objects.order_by("opened_at")
    assert (first.reference, first.stage, first.complaint) == ("A-1", Stage.GONE, "Half way")
    assert timezone.localdate(first.opened_at) == dt.date(2019, 5, 2)
    assert first.finished_at is not None
    assert timezone.localdate(first.finished_at) == dt.date(2019, 5, 9)
    assert still_open.stage == Stage.HERE
    assert [(one.km, one.read_on) for one in OdometerReading.objects.all()] == [(84_000, dt.date(2019, 5, 2))]
    assert TrailEntry.objects.filter(job=first, kind="job.brought").exists()


def test_a_job_that_ended_since_is_ended(bring: Bring) -> None:
    bring(CARS)
    bring(JOBS)
    changed = bring(JOBS.replace("2023-01-02,,", "2023-01-02,2023-02-02,"))
    assert fates(changed) == [(2, "same"), (3, "same"), (4, "changed")]
    assert not Job.objects.exclude(stage=Stage.GONE).exists()


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0TWAH5903RT000019,A-9,x,,2019-01-01,,", "bring the table of cars first"),
        ("0TWAH5903RT000011,,x,,2019-01-01,,", "The reference is missing"),
        ("0TWAH5903RT000011,A-9,,,2019-01-01,,", "The title is missing"),
        ("0TWAH5903RT000011,A-9,x,,,,", "opened is missing"),
        ("0TWAH5903RT000011,A-9,x,,2019-01-02,2019-01-01,", "finished before it was opened"),
        ("0TWAH5903RT000011,A-9,x,,2199-01-02,,", "lies in the future"),
        ("0TWAH5903RT000011,A-1,x,,2019-01-02,,", "stands in row 2 already"),
        ("0TWAH5903RT000011,A-9,x,,2019-01-02,,9000000", "expected at most 5000000"),
    ],
)
def test_rows_of_jobs_that_cannot_be(bring: Bring, row: str, words: str) -> None:
    bring(CARS)
    refused = [fate for fate in bring(JOBS + row, dry_run=True).fates if fate.fate == "refused"]
    assert [fate.row for fate in refused] == [5]
    assert words in refused[0].words


CHECKS = (
    "VIN,Job,Date,Position,Check,Volts,Supply,Pose,Outcome\n"
    '0TWAH5903RT000011,A-1,2019-05-03,BG3,pin,"0,2",12.6,closed,\n'
    "0TWAH5903RT000011,A-1,2019-05-03,BG1,click,,,,yes\n"
    "0TWAH5903RT000011,A-2,2021-05-02,BG3,look,,,,nichts\n"
    "0TWAH5903RT000012,A-1,2023-01-02,XG1/A3,pin,11.9,12.5,,\n"
)


def test_checks_become_entries_on_closed_sheets_of_their_day(bring: Bring, owner: User) -> None:
    publish(owner)
    bring(CARS)
    bring(JOBS)
    assert {fate.fate for fate in bring(CHECKS).fates} == {"new"}
    assert BenchSheet.objects.count() == 3
    assert not BenchSheet.objects.filter(closed_at__isnull=True).exists()
    assert not BenchSheet.objects.filter(sighted=True).exists()  # the learning will read them
    pin, free = Check.objects.get(kind="pin", position="BG3"), Check.objects.get(position="XG1/A3")
    assert pin.observation["volts"] == 0.2
    assert pin.verdict in ("ok", "finding")
    assert (free.verdict, free.sheet.revision) == ("note", None)
    before = _books()
    assert {fate.fate for fate in bring(CHECKS).fates} == {"same"}
    assert _books() == before | {"TrailEntry": before["TrailEntry"] + 1}


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0TWAH5903RT000011,A-1,2019-05-03,BG3,pin,0.2,12.6,,", "in a pose only; expected one of: closed, open"),
        ("0TWAH5903RT000011,A-1,2019-05-03,BG3,pin,,12.6,open,", "The volts are missing"),
        ("0TWAH5903RT000011,A-1,2019-05-03,ZZ9,pin,0.2,12.6,open,", "no position ZZ9"),
        ("0TWAH5903RT000011,A-9,2019-05-03,BG3,pin,0.2,12.6,open,", "No job A-9 of the car"),
        ("0TWAH5903RT000011,A-1,2019-05-03,BG3,smell,,,,", "“smell” is no kind of check"),
        ("0TWAH5903RT000011,A-1,2019-05-03,BG3,click,,,,maybe", "“maybe” is no outcome"),
        ("0TWAH5903RT000012,A-1,2023-01-02,BG1,click,,,,yes", "only pin readings are kept"),
        ("0TWAH5903RT000012,A-1,2023-01-02,BG1,pin,1,12,,", "by connector and pin, such as XG1/A3"),
        ("0TWAH5903RT000011,A-1,2019-05-03,BG1,click,,,,yes", "stands in row 3 already"),
    ],
)
def test_rows_of_checks_that_cannot_be(bring: Bring, owner: User, row: str, words: str) -> None:
    publish(owner)
    bring(CARS)
    bring(JOBS)
    refused = [fate for fate in bring(CHECKS + row, dry_run=True).fates if fate.fate == "refused"]
    assert [fate.row for fate in refused] == [6]
    assert words in refused[0].words


FITTED = (
    "VIN,Position,Part number,Revision,Fitted on,Removed on,Reason\n"
    "0TWAH5903RT000011,BG3,TW-BGB-3121,,,2019-05-03,sticks\n"
    "0TWAH5903RT000011,BG3,TW-BGB-3121,b,2019-05-03,,\n"
)


def test_units_come_with_their_days_and_can_be_removed_later(bring: Bring) -> None:
    bring(CARS)
    assert fates(bring(FITTED)) == [(2, "new"), (3, "new")]
    assert fates(bring(FITTED)) == [(2, "same"), (3, "same")]
    original, now = Unit.objects.order_by("pk")
    assert (original.fitted_on, original.removed_on, original.removed_why) == (None, dt.date(2019, 5, 3), "sticks")
    assert (now.fitted_on, now.revision, now.removed_on) == (dt.date(2019, 5, 3), "b", None)
    later = FITTED.replace("b,2019-05-03,,", "b,2019-05-03,2024-01-09,worn")
    assert fates(bring(later)) == [(2, "same"), (3, "changed")]
    now.refresh_from_db()
    assert (now.removed_on, now.removed_why) == (dt.date(2024, 1, 9), "worn")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("0TWAH5903RT000011,BG3,TW-OTHER,,2020-01-01,,", "the unit of row 3 is still fitted"),
        ("0TWAH5903RT000011,BG4,TW-OTHER,,2020-01-02,2020-01-01,", "removed before it was fitted"),
        ("0TWAH5903RT000011,BG4,TW-OTHER,,2199-01-02,,", "lies in the future"),
        ("0TWAH5903RT000011,BG9,TW-OTHER,,2020-01-02,,", "the books have TW-OLD fitted still"),
    ],
)
def test_rows_of_units_that_cannot_be(bring: Bring, row: str, words: str) -> None:
    bring(CARS)
    Unit.objects.create(car=Car.objects.get(vin="0TWAH5903RT000011"), position="BG9", part="TW-OLD")
    refused = [fate for fate in bring(FITTED + row, dry_run=True).fates if fate.fate == "refused"]
    assert [fate.row for fate in refused] == [4]
    assert words in refused[0].words


def test_days_that_may_be_two_are_asked(bring: Bring) -> None:
    bring(CARS)
    table = "VIN,Job,Title,Opened,Finished\n0TWAH5903RT000011,B-1,x,03/04/2019,05/06/2019\n"
    with pytest.raises(ShopError, match="say whether the day or the month comes first"):
        bring(table)
    bring(table, order="dmy")
    assert timezone.localdate(Job.objects.get(reference="B-1").opened_at) == dt.date(2019, 4, 3)


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.COUNTER, Role.PARTS])
def test_the_owner_alone_may_bring(bring: Bring, role: str) -> None:
    with pytest.raises(Refused):
        bring(CARS, by=User.objects.create_user("x", role=role))


def test_what_fails_while_it_is_written_leaves_nothing(bring: Bring, monkeypatch: pytest.MonkeyPatch) -> None:
    before = _books()

    def fail(_brought: Any) -> None:
        raise RuntimeError("the disk is full")

    with pytest.raises(RuntimeError):
        bring(CARS, keep=fail)
    assert _books() == before


@given(st.lists(st.sampled_from(["new", "same", "changed", "refused"])))
def test_every_row_is_counted_once(names: list[Any]) -> None:
    tally = Tally()
    for row, name in enumerate(names, start=2):
        tally.take(Fate(row, name))
    assert sum(tally.as_json().values()) == len(names)
    assert tally.first_refused is None or tally.first_refused.row == names.index("refused") + 2


def test_the_command_brings_and_says_what_became_of_it(
    owner: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "cars.csv"
    path.write_text(CARS.replace("VIN", "Number on the car"))
    call_command("import_history", path, "--column", "Number on the car=vin", "--kind", "cars", "--dry-run")
    assert capsys.readouterr().out.startswith("new 3, changed 0, same 0, refused 0")
    assert not Car.objects.exists()
    call_command("import_history", path, "--column", "Number on the car=vin", "--kind", "cars", "--json")
    assert '"written": true' in capsys.readouterr().out
    assert Car.objects.count() == 3


@pytest.mark.parametrize(
    ("text", "more", "words"),
    [
        ("", [], "empty"),
        ("one,two\n1,2\n", [], "cannot be told from its headings: one, two"),
        (CARS, ["--column", "plate"], "expected HEADING=FIELD"),
        (CARS, ["--column", "Nothing=vin"], "no column “Nothing”"),
        (CARS + "x,,,,,,,,,\n", [], "1 rows are refused"),
        ("Part number,Quantity\nx,1\n", [], "x is not in the catalogue, and the file gives no name for it"),
    ],
)
def test_the_command_refuses_in_one_line(owner: User, tmp_path: Path, text: str, more: list[str], words: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text)
    with pytest.raises(CommandError, match=words) as caught:
        call_command("import_history", path, *more)
    assert caught.value.returncode == 2
    assert "\n" not in str(caught.value)
    assert not Car.objects.exists()
