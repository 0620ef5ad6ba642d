"""Sheets and entries: what is kept, what is refused and why, what is struck out; who may; twice is once."""

import threading
import uuid
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from diagnostics import services
from diagnostics.models import BenchSheet, Check, SystemRevision
from diagnostics.selectors import case_of_sheet, checks_of_job, diagnosis_of_sheet, proof_of_job
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, Stage, User
from shop.services import job_open
from tests.diagnostics.bench import SUPPLY, add, opened, publish


def test_the_sheet_fills_in_pose_supply_and_ignition(sheet: BenchSheet, tech: User) -> None:
    check = add(sheet, tech, check="pin", position="BG1", volts=0.1)
    assert check.observation["pose"] == sheet.pose
    assert check.observation["supply_volts"] == SUPPLY
    assert check.observation["ignition"] is True
    assert check.observation["after_work"] is False
    assert check.verdict == "ok"


def test_an_entry_sent_twice_is_kept_once(sheet: BenchSheet, tech: User) -> None:
    entry_id = uuid.uuid4()
    observation = {"check": "pin", "position": "BG1", "volts": 0.1}
    first = services.check_add(sheet=sheet, by=tech, observation=observation, entry_id=entry_id)
    again = services.check_add(sheet=sheet, by=tech, observation=observation, entry_id=entry_id)
    assert first.pk == again.pk
    assert Check.objects.count() == 1
    # Also when the answer was lost and the sheet was closed in the meantime.
    services.sheet_close(sheet=sheet, by=tech)
    assert services.check_add(sheet=sheet, by=tech, observation=observation, entry_id=entry_id).pk == first.pk


@pytest.mark.parametrize(
    ("state", "volts", "said"),
    [
        ({"supply_volts": 12.6, "ignition_on": False}, 0.1, "Ignition off"),
        ({"supply_volts": 12.6, "ignition_on": True}, 13.4, "more than the supply"),
        ({"supply_volts": None, "ignition_on": True}, 0.1, "No supply"),
    ],
)
def test_no_evidence_is_kept_with_its_reason_and_counts_for_nothing(
    sheet: BenchSheet,
    tech: User,
    job: Job,
    state: dict[str, Any],
    volts: float,
    said: str,
) -> None:
    services.sheet_set_pose(sheet=sheet, by=tech, pose="closed", **state)
    sheet.refresh_from_db()
    check = add(sheet, tech, check="pin", position="BG1", volts=volts)
    assert check.verdict == "refused"
    assert said in check.words
    assert case_of_sheet(sheet).observations == ()
    assert not proof_of_job(job)["BG1"].made


@pytest.mark.parametrize(
    ("observation", "said"),
    [
        ({"check": "pin", "position": "BG99", "volts": 1.0}, "BG99"),
        ({"check": "pin", "position": "BG1", "volts": 1.0, "pose": "sideways"}, "sideways"),
        ({"check": "pin", "position": "BG1", "volts": 1.0, "pose": {"lid": "gone"}}, "gone"),
        ({"check": "pin", "position": "MM1", "volts": 1.0}, "MM1"),
        ({"check": "pin", "position": "BG1", "volts": "lots"}, "lots"),
        ({"check": "pin", "position": "BG1"}, "volts"),
        ({"check": "continuity", "position": "BG1", "ohms": -1}, "-1"),
        ({"check": "motion", "motion": "close", "stops_at": "fly-away"}, "fly-away"),
        ({"check": "horoscope"}, "horoscope"),
    ],
)
def test_an_entry_that_cannot_be_is_one_sentence_and_nothing_is_written(
    sheet: BenchSheet,
    tech: User,
    observation: dict[str, Any],
    said: str,
) -> None:
    with pytest.raises(ShopError) as error:
        services.check_add(sheet=sheet, by=tech, observation=observation, entry_id=uuid.uuid4())
    assert error.value.status == 422
    assert said in error.value.words
    assert "\n" not in error.value.words
    assert not Check.objects.exists()


def test_struck_out_stays_readable_and_counts_for_nothing(
    sheet: BenchSheet,
    tech: User,
    owner: User,
    job: Job,
) -> None:
    check = add(sheet, tech, check="pin", position="BG1", volts=0.1)
    assert proof_of_job(job)["BG1"].made
    with pytest.raises(ShopError):
        services.check_strike(check=check, by=owner, why="  ")
    services.check_strike(check=check, by=owner, why="wrong pin")
    assert not proof_of_job(job)["BG1"].made
    kept = checks_of_job(job).get()
    assert (kept.struck_by, kept.struck_why, kept.observation["volts"]) == (owner, "wrong pin", 0.1)
    assert job.trail.filter(kind="check.struck", words__contains="wrong pin", by=owner).exists()
    with pytest.raises(Conflict, match="owner"):
        services.check_strike(check=check, by=tech, why="me too")
    kept.refresh_from_db()
    assert kept.struck_why == "wrong pin"


def test_second_sheet_on_the_car_is_a_conflict_that_leads_to_the_first(
    sheet: BenchSheet,
    car: Car,
    counter: User,
    tech: User,
) -> None:
    other = job_open(car=car, by=counter, title="Squeaks", stage=Stage.HERE)
    with pytest.raises(services.SheetAlreadyOpen) as error:
        services.sheet_open(job=other, by=tech)
    assert error.value.sheet == sheet
    assert sheet.job.number in error.value.words
    services.sheet_close(sheet=sheet, by=tech)
    assert services.sheet_open(job=other, by=tech).car == car


@pytest.mark.django_db(transaction=True)
def test_two_people_open_a_sheet_at_once_and_one_is_made(job: Job, tech: User, owner: User) -> None:
    publish(owner)
    outcomes: list[str] = []
    start = threading.Barrier(2)

    def open_it(by: User) -> None:
        try:
            start.wait()
            services.sheet_open(job=job, by=by)
            outcomes.append("opened")
        except services.SheetAlreadyOpen:
            outcomes.append("there")
        finally:
            connection.close()

    threads = [threading.Thread(target=open_it, args=(by,)) for by in (tech, owner)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["opened", "there"]
    assert BenchSheet.objects.filter(closed_at__isnull=True).count() == 1


def test_the_database_itself_refuses_a_second_open_sheet(sheet: BenchSheet, tech: User) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        BenchSheet.objects.create(job=sheet.job, car=sheet.car, opened_by=tech, opened_at=timezone.now())


def test_a_closed_sheet_takes_no_more(sheet: BenchSheet, tech: User) -> None:
    services.sheet_close(sheet=sheet, by=tech)
    with pytest.raises(Conflict):
        add(sheet, tech, check="battery", volts=12.6)
    with pytest.raises(Conflict):
        services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    assert not Check.objects.exists()


def test_the_next_sheet_of_the_job_goes_on_from_the_evidence_of_the_last(
    sheet: BenchSheet,
    tech: User,
    job: Job,
) -> None:
    add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=12.5, released_volts=12.5)
    before = diagnosis_of_sheet(sheet).suspects[0]
    services.sheet_close(sheet=sheet, by=tech)
    after = diagnosis_of_sheet(opened(job, tech)).suspects[0]
    assert before.fault.position == after.fault.position == "BG11"
    assert after.probability == pytest.approx(before.probability)


@pytest.mark.parametrize("role", ["counter", "parts"])
def test_only_technician_and_owner_write(
    sheet: BenchSheet,
    counter: User,
    parts_user: User,
    job: Job,
    role: str,
) -> None:
    by = {"counter": counter, "parts": parts_user}[role]
    check = Check(sheet=sheet)
    for refused in (
        lambda: services.sheet_open(job=job, by=by),
        lambda: services.sheet_set_pose(sheet=sheet, by=by, pose="open", supply_volts=None, ignition_on=True),
        lambda: services.sheet_set_complaint(sheet=sheet, by=by, complaint=None),
        lambda: add(sheet, by, check="battery", volts=12.6),
        lambda: services.check_strike(check=check, by=by, why="x"),
        lambda: services.work_add(job=job, by=by, position="BG1", kind="replace", part="TW-BGA-3014"),
        lambda: services.sheet_close(sheet=sheet, by=by),
        lambda: publish(by),
    ):
        with pytest.raises(Refused):
            refused()


def test_publishing_is_append_only(owner: User, revision: SystemRevision) -> None:
    assert publish(owner).pk == revision.pk
    changed = revision.text.replace("Header latch locked", "Header latch shut")
    with pytest.raises(Conflict, match="never changes"):
        services.system_publish(text=changed, source="x.yaml", by=owner)
    newer = services.system_publish(
        text=changed.replace("\nrevision: 2\n", "\nrevision: 3\n"), source="x.yaml", by=owner
    )
    assert newer.revision == 3
    with pytest.raises(ShopError, match=r"x\.yaml:\d+"):
        services.system_publish(text=revision.text.replace("lid: shut", "lid: ajar", 1), source="x.yaml", by=owner)
    assert SystemRevision.objects.count() == 2


def test_an_open_sheet_keeps_the_revision_it_was_opened_on(
    sheet: BenchSheet,
    owner: User,
    revision: SystemRevision,
) -> None:
    text = revision.text.replace("\nrevision: 2\n", "\nrevision: 3\n")
    services.system_publish(text=text, source="x.yaml", by=owner)
    sheet.refresh_from_db()
    assert sheet.revision == revision


def test_undeclared_system_takes_free_readings(car: Car, job: Job, tech: User) -> None:
    car.system = ""
    car.save()
    free = opened(job, tech)
    assert free.revision is None
    reading = {"check": "pin", "connector": "XG1", "row": "A", "number": 3, "volts": 1.2, "pose": "half open"}
    check = services.check_add(sheet=free, by=tech, observation=reading, entry_id=uuid.uuid4())
    assert (check.position, check.verdict) == ("XG1/A3", "note")
    assert check.observation["supply_volts"] == SUPPLY
    above = services.check_add(sheet=free, by=tech, observation={**reading, "volts": 14.0}, entry_id=uuid.uuid4())
    assert above.verdict == "refused"
    with pytest.raises(ShopError):
        services.check_add(sheet=free, by=tech, observation={**reading, "number": 0}, entry_id=uuid.uuid4())
    assert diagnosis_of_sheet(free) is None
    assert proof_of_job(job) == {}


def test_more_entries_than_a_case_can_hold_are_told(
    sheet: BenchSheet, tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("diagnostics.services.checks.MOST_OBSERVATIONS", 2)
    for _number in range(2):
        add(sheet, tech, check="battery", volts=12.6)
    with pytest.raises(Conflict, match="has 2 entries"):
        add(sheet, tech, check="battery", volts=12.6)
    assert sheet.checks.count() == 2
