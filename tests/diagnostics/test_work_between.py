"""What work leaves of the evidence before it: what was told of earlier work stays apart from the work of this job."""

from typing import Any

from diagnostics import services
from diagnostics.models import BenchSheet
from diagnostics.selectors import case_of_sheet, diagnosis_of_sheet, open_suspects
from shop.gates import reasons_not_done
from shop.models import Job, User
from tests.diagnostics.bench import add

STOPPED = {"check": "motion", "motion": "close", "stops_at": "raise-lid", "lamp": "flashing", "seconds": {}}
WHOLE = {**STOPPED, "stops_at": None, "lamp": None}
TOLD = {"motion": "close", "stops_at": "raise-lid", "lamp": "flashing"}
NEVER_MAKES = {"check": "pin-by-hand", "position": "BG4", "pressed_volts": 12.5, "released_volts": 12.5}


def suspected(sheet: BenchSheet, position: str) -> float:
    diagnosis = diagnosis_of_sheet(sheet)
    assert diagnosis is not None
    return sum(one.probability for one in diagnosis.suspects if one.fault.position == position)


def work(job: Job, by: User, **what: Any) -> None:
    services.work_add(job=job, by=by, **what)


def test_a_fault_found_where_somebody_worked_earlier_outlives_a_wrong_repair(
    sheet: BenchSheet, job: Job, tech: User
) -> None:
    services.sheet_set_complaint(sheet=sheet, by=tech, complaint=TOLD, recent_work=("BG4",))
    add(sheet, tech, **NEVER_MAKES)
    assert suspected(sheet, "BG4") > 0.9
    work(job, tech, position="GB1", kind="charge", part="")
    add(sheet, tech, **STOPPED)
    assert suspected(sheet, "BG4") > 0.9


def test_a_trial_between_two_works_accuses_nobody(sheet: BenchSheet, job: Job, tech: User) -> None:
    """It ran after the right repair: with the stop before it, it would look like a thing that comes and goes."""
    services.sheet_set_complaint(sheet=sheet, by=tech, complaint=TOLD)
    add(sheet, tech, **STOPPED)
    work(job, tech, position="BG3", kind="adjust", part="")
    add(sheet, tech, **WHOLE)
    work(job, tech, position="BG5", kind="adjust", part="")
    add(sheet, tech, **WHOLE)
    case = case_of_sheet(sheet)
    assert case is not None
    assert [(one.check, one.after_work) for one in case.observations] == [("motion", False), ("motion", True)]
    diagnosis = diagnosis_of_sheet(sheet)
    assert diagnosis is not None
    assert [one.fault for one in open_suspects(diagnosis)] == []


def test_a_motion_that_stopped_between_two_works_alone_is_owed(sheet: BenchSheet, job: Job, tech: User) -> None:
    work(job, tech, position="GB1", kind="charge", part="")
    add(sheet, tech, **STOPPED)
    work(job, tech, position="BG5", kind="adjust", part="")
    assert any("has not been seen to run whole" in reason for reason in reasons_not_done(job))
    add(sheet, tech, **WHOLE)
    assert not any("has not been seen to run whole" in reason for reason in reasons_not_done(job))
