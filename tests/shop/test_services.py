"""The writes: permission, trail, order of things, and nothing half-written."""

import datetime as dt
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from shop import gates, services
from shop.errors import Conflict, NotDone, Refused, ShopError
from shop.models import Car, Customer, Hold, Job, Stage, TrailEntry, User

pytestmark = pytest.mark.django_db


def _kinds(job: Job) -> list[str]:
    return list(job.trail.values_list("kind", flat=True))


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Reasons against 'done', as an app above would give them; none at first."""
    reasons: list[str] = []
    monkeypatch.setattr(gates, "_gates", [lambda job: list(reasons)])
    return reasons


def test_taking_a_car_in_writes_the_trail_and_keeps_the_first_of_the_month(counter: User) -> None:
    car = services.car_create(
        by=counter,
        vin="0twah590-3rt000001",
        maker=" Halden ",
        model="Brise",
        made_on=dt.date(2014, 6, 23),
        plate="tw  1",
    )
    assert (car.vin, car.maker, car.made_on, car.plate) == ("0TWAH5903RT000001", "Halden", dt.date(2014, 6, 1), "TW 1")
    entry = TrailEntry.objects.get(car=car)
    assert (entry.kind, entry.by, entry.link) == ("car.created", counter, car.get_absolute_url())
    assert car.vin in entry.words


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"vin": "0TWAH5903RTI00001"}, "Place 12 of the VIN reads I"),
        ({"vin": "0TW"}, "A VIN has 17 characters; this one has 3."),
        ({"made_on": dt.date(2999, 1, 1)}, "The production month Jan 2999 lies in the future"),
        ({"maker": "  "}, "The maker is missing."),
    ],
)
def test_a_wrong_car_is_refused_with_one_sentence_and_leaves_nothing(
    counter: User, change: dict[str, Any], words: str
) -> None:
    right: dict[str, Any] = {
        "vin": "0TWAH5903RT000001",
        "maker": "Halden",
        "model": "Brise",
        "made_on": dt.date(2014, 6, 1),
    }
    with pytest.raises(ShopError, match=words):
        services.car_create(by=counter, **right | change)
    assert not Car.objects.exists()
    assert not TrailEntry.objects.exists()


def test_the_same_vin_twice_is_a_conflict(car: Car, counter: User) -> None:
    with pytest.raises(Conflict, match=car.vin):
        services.car_create(by=counter, vin=car.vin, maker="A", model="B", made_on=car.made_on)
    assert Car.objects.count() == 1


def test_a_change_of_a_car_tells_old_and_new_but_no_owner_names(car: Car, counter: User) -> None:
    other = services.customer_create(by=counter, name="Ben Marlow")
    same = {name: getattr(car, name) for name in ("vin", "maker", "model", "made_on", "climate", "system")}
    services.car_update(car=car, by=counter, plate="TW 99", owner=other, **same)
    words = car.trail.filter(kind="car.changed").get().words
    assert words == "Changed: plate TW 14 K → TW 99; another owner."
    services.car_update(car=car, by=counter, plate="TW 99", owner=other, **same)
    assert car.trail.filter(kind="car.changed").count() == 1, "nothing changed, nothing to tell"


def test_parts_people_write_neither_cars_nor_customers(car: Car, parts_user: User) -> None:
    with pytest.raises(Refused):
        services.customer_create(by=parts_user, name="X")
    with pytest.raises(Refused):
        services.odometer_add(car=car, by=parts_user, km=1, read_on=dt.date(2020, 1, 1))
    assert Customer.objects.count() == 1


def test_an_odometer_that_runs_backwards_is_kept_and_flagged(car: Car, tech: User) -> None:
    services.odometer_add(car=car, by=tech, km=50_000, read_on=dt.date(2020, 1, 1))
    services.odometer_add(car=car, by=tech, km=60_000, read_on=dt.date(2022, 1, 1))
    services.odometer_add(car=car, by=tech, km=49_000, read_on=dt.date(2021, 1, 1))
    services.odometer_add(car=car, by=tech, km=70_000, read_on=dt.date(2019, 1, 1))
    kinds = list(car.trail.filter(kind__startswith="odometer").order_by("pk").values_list("kind", flat=True))
    assert kinds == ["odometer.added", "odometer.added", "odometer.flagged", "odometer.flagged"]
    first_flagged = car.trail.filter(kind="odometer.flagged").earliest("pk")
    assert "less than the 50,000 km of 1 Jan 2020" in first_flagged.words
    assert car.odometer.count() == 4


def test_one_reading_a_day_and_none_from_tomorrow(car: Car, tech: User) -> None:
    today = timezone.localdate()
    services.odometer_add(car=car, by=tech, km=5, read_on=today)
    with pytest.raises(Conflict, match="5 km are booked already"):
        services.odometer_add(car=car, by=tech, km=6, read_on=today)
    with pytest.raises(ShopError, match="future"):
        services.odometer_add(car=car, by=tech, km=6, read_on=today + dt.timedelta(days=1))
    assert car.odometer.count() == 1


def test_the_clock_of_a_hold_starts_anew_only_for_another_thing(job: Job, tech: User) -> None:
    started = job.held_since
    services.job_hold(job=job, by=tech, hold=Hold.BENCH, note="after the blue one")
    assert job.held_since == started
    services.job_hold(job=job, by=tech, hold=Hold.PART, note="seal kit")
    assert job.held_since > started
    assert job.trail.latest("pk").words == f"{job.number} waits for a part. seal kit"
    services.job_hold(job=job, by=tech, hold=Hold.PART, note="seal kit")
    assert _kinds(job).count("job.held") == 2, "the same again is no news"


def test_done_without_a_reason_against_it(job: Job, tech: User, gate: list[str]) -> None:
    services.job_move(job=job, by=tech, stage=Stage.DONE)
    job.refresh_from_db()
    assert job.stage == Stage.DONE
    assert job.finished_at is not None
    assert (job.hold, job.hold_note) == (Hold.CUSTOMER, "to be collected")
    assert job.trail.latest("pk").kind == "job.moved"


@pytest.mark.parametrize("why", ["", "  ", "the customer insists"])
def test_done_is_refused_with_every_reason_whatever_a_technician_says(
    job: Job, tech: User, gate: list[str], why: str
) -> None:
    gate += ["BG3 is not proven.", "BG5 stays made, 12 %."]
    before = _kinds(job)
    with pytest.raises(NotDone) as caught:
        services.job_move(job=job, by=tech, stage=Stage.DONE, why=why)
    assert caught.value.reasons == ("BG3 is not proven.", "BG5 stays made, 12 %.")
    job.refresh_from_db()
    assert (job.stage, job.finished_at) == (Stage.HERE, None)
    assert _kinds(job) == before


def test_the_owner_calls_it_done_only_with_a_why_and_the_trail_keeps_both(
    job: Job, owner: User, gate: list[str]
) -> None:
    gate += ["BG3 is not proven."]
    with pytest.raises(NotDone, match="Say why"):
        services.job_move(job=job, by=owner, stage=Stage.DONE, why=" ")
    services.job_move(job=job, by=owner, stage=Stage.DONE, why="Car is sold for parts.")
    entry = job.trail.latest("pk")
    assert entry.kind == "job.overridden"
    assert "BG3 is not proven." in entry.words
    assert "Car is sold for parts." in entry.words


def test_handed_over_comes_after_done_and_is_the_end(job: Job, tech: User, gate: list[str]) -> None:
    with pytest.raises(Conflict, match="must be done"):
        services.job_move(job=job, by=tech, stage=Stage.GONE)
    services.job_move(job=job, by=tech, stage=Stage.DONE)
    with pytest.raises(Conflict, match="nothing holds it up"):
        services.job_hold(job=job, by=tech, hold=Hold.BAY)
    services.job_move(job=job, by=tech, stage=Stage.GONE)
    for stage in (Stage.HERE, Stage.DONE):
        with pytest.raises(Conflict, match="handed over"):
            services.job_move(job=job, by=tech, stage=stage)
    job.refresh_from_db()
    assert (job.stage, job.hold) == (Stage.GONE, Hold.NOTHING)


def test_a_done_job_can_be_taken_up_again(job: Job, tech: User, gate: list[str]) -> None:
    services.job_move(job=job, by=tech, stage=Stage.DONE)
    services.job_move(job=job, by=tech, stage=Stage.PROVING)
    job.refresh_from_db()
    assert (job.stage, job.finished_at) == (Stage.PROVING, None)


def test_a_second_press_of_done_sees_what_the_first_did(job: Job, tech: User, gate: list[str]) -> None:
    stale = Job.objects.get(pk=job.pk)
    services.job_move(job=job, by=tech, stage=Stage.DONE)
    services.job_move(job=stale, by=tech, stage=Stage.DONE)
    assert _kinds(job).count("job.moved") == 1


def test_when_the_trail_cannot_be_written_nothing_is(
    job: Job, tech: User, gate: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**_kwargs: object) -> None:
        raise RuntimeError("disk full")

    monkeypatch.setattr("shop.services.jobs.trail_record", broken)
    with pytest.raises(RuntimeError), transaction.atomic():
        services.job_move(job=job, by=tech, stage=Stage.DONE)
    assert Job.objects.get(pk=job.pk).stage == Stage.HERE


def test_an_empty_note_is_refused_and_a_full_one_kept_with_its_trail(job: Job, parts_user: User) -> None:
    with pytest.raises(ShopError, match="empty"):
        services.note_add(job=job, by=parts_user, words=" \n")
    services.note_add(job=job, by=parts_user, words=" Kit is in bin 4. ")
    assert job.notes.get().words == "Kit is in bin 4."
    assert job.trail.latest("pk").kind == "job.noted"


def test_a_job_opens_booked_or_taken_in_and_no_further(car: Car, counter: User) -> None:
    assert services.job_open(car=car, by=counter, title="Inspection").stage == Stage.BOOKED
    with pytest.raises(ShopError, match="booked or taken in"):
        services.job_open(car=car, by=counter, title="Inspection", stage=Stage.DONE)
    with pytest.raises(ShopError, match="what the job is"):
        services.job_open(car=car, by=counter, title=" ")
    assert car.jobs.count() == 1


def test_a_job_taken_back_from_done_no_longer_waits_to_be_collected(job: Job, owner: User) -> None:
    services.job_move(job=job, by=owner, stage=Stage.DONE)
    assert (job.hold, job.hold_note) == (Hold.CUSTOMER, "to be collected")
    done = job.held_since
    services.job_move(job=job, by=owner, stage=Stage.MENDING)
    assert (job.hold, job.hold_note, job.finished_at) == (Hold.BENCH, "", None)
    assert job.held_since > done


def test_a_changed_car_is_told_in_words(car: Car, counter: User) -> None:
    facts = {name: getattr(car, name) for name in ("vin", "plate", "maker", "model", "system", "owner")}
    services.car_update(car=car, by=counter, made_on=dt.date(2014, 7, 1), climate="hot", **facts)
    told = TrailEntry.objects.get(kind="car.changed").words
    assert told == "Changed: production month Jun 2014 → Jul 2014; climate Temperate → Hot."


def test_a_car_of_which_only_the_year_is_known_stands_in_its_january_and_the_trail_tells(
    car: Car, counter: User
) -> None:
    facts = {name: getattr(car, name) for name in ("vin", "plate", "maker", "model", "climate", "system", "owner")}
    known = dt.date(2019, 3, 4)
    services.car_update(car=car, by=counter, made_on=dt.date(2014, 6, 1), year_only=True, known_from=known, **facts)
    car.refresh_from_db()
    assert (car.made_on, car.year_only, car.known_from) == (dt.date(2014, 1, 1), True, known)
    told = TrailEntry.objects.get(kind="car.changed").words
    assert "only the year known no → yes; history known from – → 4 Mar 2019" in told


@pytest.mark.parametrize(
    ("known_from", "words"),
    [
        (dt.date(2014, 5, 31), "before the car was made"),
        (dt.date(2999, 1, 1), "lies in the future"),
    ],
)
def test_a_history_known_from_a_day_that_cannot_be_is_refused(counter: User, known_from: dt.date, words: str) -> None:
    with pytest.raises(ShopError, match=words):
        services.car_create(
            by=counter,
            vin="0TWAH5903RT000001",
            maker="Halden",
            model="Brise",
            made_on=dt.date(2014, 6, 1),
            known_from=known_from,
        )
    assert not Car.objects.exists()
