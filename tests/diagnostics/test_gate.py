"""What keeps a job from being called done, as far as the bench knows."""

import pytest

from diagnostics import services
from diagnostics.models import BenchSheet
from shop.errors import NotDone
from shop.gates import reasons_not_done
from shop.models import Car, Job, Stage, User
from shop.services import job_move
from tests.diagnostics.bench import add


def test_a_job_without_a_sheet_or_with_an_empty_one_is_free(job: Job, owner: User, sheet: BenchSheet) -> None:
    assert reasons_not_done(job) == []


def test_a_finding_keeps_the_job_open_and_the_owner_may_say_why_not(
    sheet: BenchSheet,
    job: Job,
    tech: User,
    owner: User,
) -> None:
    add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=12.5, released_volts=12.5)
    with pytest.raises(NotDone) as error:
        job_move(job=job, by=tech, stage=Stage.DONE)
    assert any(reason.startswith("Open suspect: BG11") for reason in error.value.reasons)
    job_move(job=job, by=owner, stage=Stage.DONE, why="the customer takes it as it is")
    assert job.trail.filter(words__contains="the customer takes it as it is").exists()


def test_struck_and_refused_entries_hold_nothing_up(sheet: BenchSheet, job: Job, tech: User) -> None:
    check = add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=12.5, released_volts=12.5)
    assert reasons_not_done(job)
    services.check_strike(check=check, by=tech, why="probe had slipped")
    add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=14.5, released_volts=14.5)
    assert reasons_not_done(job) == []


def test_work_without_any_sheet_is_unproven(job: Job, tech: User, revision: object) -> None:
    services.work_add(job=job, by=tech, position="BG11", kind="adjust")
    (reason,) = reasons_not_done(job)
    assert "BG11" in reason
    assert "not proven" in reason


def test_a_trial_that_stopped_must_run_whole_after_the_work(
    sheet: BenchSheet,
    job: Job,
    tech: User,
) -> None:
    trial = {"check": "motion", "motion": "open", "lamp": None, "seconds": {}}
    add(sheet, tech, **trial, stops_at="clear-shelf")
    services.work_add(job=job, by=tech, position="MA1", kind="replace", part="TW-MAA-6001")
    assert any("Opening" in reason and "run whole" in reason for reason in reasons_not_done(job))
    add(sheet, tech, **trial, stops_at=None)
    assert not any("run whole since" in reason for reason in reasons_not_done(job))
    # It stops again: the last trial counts.
    add(sheet, tech, **trial, stops_at="clear-shelf")
    assert any("run whole since" in reason for reason in reasons_not_done(job))


def test_closing_the_sheet_and_opening_another_loses_no_suspect(
    sheet: BenchSheet,
    job: Job,
    tech: User,
) -> None:
    add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=12.5, released_volts=12.5)
    before = reasons_not_done(job)
    services.sheet_close(sheet=sheet, by=tech)
    services.sheet_open(job=job, by=tech)
    assert reasons_not_done(job) == before


def test_an_undeclared_car_asks_for_a_check_of_what_was_worked_on(car: Car, job: Job, tech: User) -> None:
    car.system = ""
    car.save()
    services.work_add(job=job, by=tech, position="BG1", kind="adjust")
    assert any("BG1" in reason for reason in reasons_not_done(job))
