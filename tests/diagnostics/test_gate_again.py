"""The gate over several sheets, revisions and works of one job: nothing that was found or told gets lost on the way."""

from typing import Any

import pytest

from diagnostics import services
from diagnostics.models import BenchSheet, SystemRevision
from diagnostics.selectors import case_of_sheet, diagnosis_of_sheet, open_suspects, repaired_paths_of_job
from diagnostics.selectors.page import sheet_page
from shop.errors import ShopError
from shop.gates import reasons_not_done
from shop.models import Car, Job, User
from tests.diagnostics.bench import add, publish

WHOLE = {"check": "motion", "stops_at": None, "lamp": None, "seconds": {}}
TOLD = {"motion": "close", "stops_at": "raise-stack", "lamp": "flashing"}
WORN = {"check": "pin-by-hand", "position": "BG11", "pressed_volts": 12.5, "released_volts": 12.5}


def test_the_next_sheet_starts_from_what_was_told_and_can_take_it_back(sheet: BenchSheet, job: Job, tech: User) -> None:
    services.sheet_set_complaint(sheet=sheet, by=tech, complaint=TOLD, recent_work=("MM3",))
    services.sheet_close(sheet=sheet, by=tech)
    after = services.sheet_open(job=job, by=tech)
    case = case_of_sheet(after)
    assert case is not None
    assert case.complaint is not None
    assert (case.complaint.stops_at, case.recent_work) == ("raise-stack", ("MM3",))
    services.sheet_set_complaint(sheet=after, by=tech, complaint=None)
    case = case_of_sheet(after)
    assert case is not None
    assert (case.complaint, case.recent_work) == (None, ())
    assert reasons_not_done(job) == []


def test_a_job_stays_on_the_revision_that_it_began_with(
    sheet: BenchSheet, job: Job, tech: User, owner: User, revision: SystemRevision
) -> None:
    add(sheet, tech, **WORN)
    before = reasons_not_done(job)
    assert before
    services.sheet_close(sheet=sheet, by=tech)
    old, new = f"revision: {revision.revision}\n", f"revision: {revision.revision + 1}\n"
    assert old in revision.text
    services.system_publish(text=revision.text.replace(old, new), source="newer", by=owner)
    after = services.sheet_open(job=job, by=tech)
    assert after.revision == revision
    assert reasons_not_done(job) == before


def test_work_is_booked_on_the_revision_that_the_job_began_with(
    sheet: BenchSheet, job: Job, tech: User, owner: User, revision: SystemRevision
) -> None:
    newer = revision.text.replace("BG11", "BG21").replace(
        f"revision: {revision.revision}\n", f"revision: {revision.revision + 1}\n"
    )
    services.system_publish(text=newer, source="newer", by=owner)
    work = services.work_add(job=job, by=tech, position="BG11", kind="adjust")
    assert [path.position for path in repaired_paths_of_job(job)] == [work.position]
    with pytest.raises(ShopError, match="no position BG21"):
        services.work_add(job=job, by=tech, position="BG21", kind="adjust")


@pytest.mark.parametrize("system", ["", "softline-electro"])
def test_another_top_system_takes_back_nothing_that_was_found(
    sheet: BenchSheet, job: Job, tech: User, owner: User, system: str
) -> None:
    publish(owner, "softline-electro")
    found = add(sheet, tech, **WORN)
    before = reasons_not_done(job)
    services.sheet_close(sheet=sheet, by=tech)
    Car.objects.filter(pk=job.car_id).update(system=system)
    services.sheet_open(job=Job.objects.get(pk=job.pk), by=tech)
    assert reasons_not_done(Job.objects.get(pk=job.pk)) == before
    services.check_strike(check=found, by=tech, why="it was another system")
    assert reasons_not_done(Job.objects.get(pk=job.pk)) == []


@pytest.mark.parametrize("seen", ["in a pose", "in a motion that waits for it"])
def test_a_trigger_that_was_adjusted_is_not_proven_by_hand(sheet: BenchSheet, job: Job, tech: User, seen: str) -> None:
    """Pressed by hand a switch reads right wherever its trigger stands."""
    services.work_add(job=job, by=tech, position="BG11", kind="adjust")
    add(sheet, tech, **{**WORN, "pressed_volts": 0.1})
    (path,) = repaired_paths_of_job(job)
    assert path.missing.endswith("read its pin made and released.")
    add(sheet, tech, check="pin", position="BG11", volts=12.5)
    assert repaired_paths_of_job(job)[0].missing.endswith("read its pin made.")
    if seen == "in a pose":
        add(sheet, tech, check="pin", position="BG11", pose={"shelf": "clear"}, volts=0.1)
    else:
        add(sheet, tech, **WHOLE, motion="open")
    assert repaired_paths_of_job(job)[0].proven


def test_a_battery_that_reads_low_again_is_not_proven(sheet: BenchSheet, job: Job, tech: User) -> None:
    services.work_add(job=job, by=tech, position="GB1", kind="charge")
    add(sheet, tech, check="battery", volts=12.7)
    assert repaired_paths_of_job(job)[0].proven
    add(sheet, tech, check="battery", volts=12.3)
    assert not repaired_paths_of_job(job)[0].proven
    add(sheet, tech, check="battery", volts=12.7)
    assert repaired_paths_of_job(job)[0].proven


def test_the_sheet_shows_every_suspect_that_holds_the_job_up(
    sheet: BenchSheet, job: Job, tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("diagnostics.selectors.page.SHOWN_SUSPECTS", 2)
    services.sheet_set_complaint(sheet=sheet, by=tech, complaint=TOLD)
    held = open_suspects(_diagnosis(sheet))
    assert len(held) > 2
    shown = sheet_page(sheet, viewer_pk=tech.pk).bars
    assert [bar.suspect for bar in shown if bar.is_open] == list(held)
    assert len([reason for reason in reasons_not_done(job) if reason.startswith("Open suspect")]) == len(held)


def test_a_proof_struck_out_is_owed_again(sheet: BenchSheet, job: Job, tech: User) -> None:
    services.work_add(job=job, by=tech, position="BG11", kind="plug-in")
    proof = add(sheet, tech, **{**WORN, "pressed_volts": 0.1})
    assert reasons_not_done(job) == []
    services.check_strike(check=proof, by=tech, why="wrong pin")
    (reason,) = reasons_not_done(job)
    assert "Repaired and not proven: BG11" in reason


def test_one_of_twins_worked_on_leaves_the_other_suspected(sheet: BenchSheet, job: Job, tech: User) -> None:
    """MM3 and MM4 are the left and the right cylinder of one axis."""
    add(sheet, tech, check="look", position="MM4", found="leaks")
    services.work_add(job=job, by=tech, position="MM3", kind="replace", part="TW-MMB-5014")
    for motion in ("open", "close"):
        add(sheet, tech, **WHOLE, motion=motion)
    reasons = reasons_not_done(job)
    assert any(reason.startswith("Open suspect: MM4") for reason in reasons), reasons


def _diagnosis(sheet: BenchSheet) -> Any:
    return diagnosis_of_sheet(sheet)
