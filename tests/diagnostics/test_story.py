"""The whole way of one car by requests alone: 'closing stops half way' to a proven repair and a job that is done."""

import re
from typing import Any

import pytest
from django.test import Client

from diagnostics.models import BenchSheet, SystemRevision, Unit
from diagnostics.selectors import diagnosis_of_sheet, proof_of_job
from shop.errors import NotDone
from shop.models import Job, Stage, User
from shop.services import job_move
from tests.diagnostics.bench import SUPPLY, post_check, sound_volts, words

HTMX = {"HX-Request": "true"}
FAULTY = "BG11"
"""The parcel shelf never reports that it is clear: the switch is worn out."""


def _set_pose(client: Client, sheet: BenchSheet, pose: str) -> None:
    fields = {"pose": pose, "supply_volts": str(SUPPLY), "ignition": "on"}
    assert client.post(f"/sheets/{sheet.pk}/pose/", fields, headers=HTMX).status_code == 200
    sheet.refresh_from_db()


def _read(client: Client, sheet: BenchSheet, position: str, volts: float | None = None) -> Any:
    reading = sound_volts(sheet, position) if volts is None else volts
    response = post_check(client, sheet, check="pin", position=position, volts=str(reading))
    assert response.status_code == 200, words(response)
    return response


@pytest.mark.usefixtures("revision")
def test_from_complaint_to_done(job: Job, tech: User, client_as: Any) -> None:
    client = client_as("technician")
    assert client.post(f"/jobs/{job.pk}/bench/").status_code == 302
    sheet = BenchSheet.objects.get(job=job)
    _set_pose(client, sheet, "open")

    # The complaint: the shelf should swing clear, and after that nothing happens.
    complaint = {"stop": "close:clear-shelf", "lamp": "flashing"}
    assert client.post(f"/sheets/{sheet.pk}/complaint/", complaint, headers=HTMX).status_code == 200

    # Readings in the open pose: everything is as it should be, so none of these is to blame as it stands.
    for position in ("BG1", "BG2", "BG3", "BG5", "BG6", "BG12", "BG13"):
        _read(client, sheet, position)
    # By hand the shelf switch gives nothing, though it clicks not: it never makes.
    for fields in (
        {"check": "pin-by-hand", "pressed_volts": "12.5", "released_volts": "12.5"},
        {"check": "click:no"},
        {"check": "continuity", "ohms": "0.3"},
    ):
        assert post_check(client, sheet, position=FAULTY, **fields).status_code == 200
    first = diagnosis_of_sheet(sheet).suspects[0]
    assert (first.fault.position, first.fault.mode) == (FAULTY, "never-makes")
    assert first.probability > 0.8

    # It cannot be called done, and every reason is said.
    with pytest.raises(NotDone) as open_suspect:
        job_move(job=job, by=tech, stage=Stage.DONE)
    assert any(FAULTY in reason for reason in open_suspect.value.reasons)

    # Replace the switch: the original is booked off, the new one on; the proof of the path is void.
    fields = {"position": FAULTY, "kind": "replace", "part": "TW-BGF-3503", "serial": "S1", "words": "worn out"}
    panel = client.post(f"/jobs/{job.pk}/add-work/", fields, headers=HTMX)
    assert panel.status_code == 200
    assert "Its proof is void" in words(panel)
    units = {unit.removed_on is None: unit for unit in Unit.objects.filter(position=FAULTY)}
    assert units[True].serial == "S1"
    assert units[False].fitted_on is None
    with pytest.raises(NotDone) as unproven:
        job_move(job=job, by=tech, stage=Stage.DONE)
    assert any("not proven" in reason and FAULTY in reason for reason in unproven.value.reasons)

    # The re-check: both states at the pin, then the motion whole.
    by_hand = {"check": "pin-by-hand", "position": FAULTY, "pressed_volts": "0.1", "released_volts": "12.5"}
    assert post_check(client, sheet, **by_hand).status_code == 200
    assert proof_of_job(job)[FAULTY].proven
    with pytest.raises(NotDone) as not_tried:
        job_move(job=job, by=tech, stage=Stage.DONE)
    assert any("run whole" in reason for reason in not_tried.value.reasons)
    trial = {"check": "motion", "motion": "close", "stops_at": "whole", "lamp": "off"}
    assert post_check(client, sheet, **trial).status_code == 200

    done = job_move(job=job, by=tech, stage=Stage.DONE)
    assert done.stage == Stage.DONE
    kinds = set(job.trail.values_list("kind", flat=True))
    assert {"sheet.opened", "sheet.complaint", "work.added"} <= kinds
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    assert re.search(r'id="gives-BG11"', page)


def test_a_suspect_that_the_repair_did_not_touch_stays(
    job: Job,
    tech: User,
    client_as: Any,
    revision: SystemRevision,
) -> None:
    """The wrong switch is changed and proven: what the complaint really came from is still suspected."""
    client = client_as("technician")
    client.post(f"/jobs/{job.pk}/bench/")
    sheet = BenchSheet.objects.get(job=job)
    _set_pose(client, sheet, "open")
    client.post(f"/sheets/{sheet.pk}/complaint/", {"stop": "close:clear-shelf"}, headers=HTMX)
    _read(client, sheet, "BG4")
    client.post(
        f"/jobs/{job.pk}/add-work/", {"position": "BG4", "kind": "replace", "part": "TW-BGB-3121"}, headers=HTMX
    )
    post_check(client, sheet, check="pin-by-hand", position="BG4", pressed_volts="0.1", released_volts="12.5")
    suspected = {suspect.fault.position for suspect in diagnosis_of_sheet(sheet).suspects if suspect.probability > 0.05}
    assert suspected & {"BG11", "MA1"}
    with pytest.raises(NotDone):
        job_move(job=job, by=tech, stage=Stage.DONE)
