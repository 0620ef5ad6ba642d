"""Two switches in series, as people see them: the bench sheet, the gate, the certificate, the system's page."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from diagnostics import services
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors import diagnosis_of_sheet, proof_of_job, repaired_paths_of_job
from diagnostics.selectors.bench_list import bench_list_of_sheet
from diagnostics.selectors.page import sheet_page
from reports.document.bench import PinCard
from reports.document.compose.seen import Evidence as SeenEvidence
from reports.document.compose.seen import Worked
from reports.document.draw.pin_card import draw_pin_card
from shop.models import Car, Job, User
from tests.diagnostics.bench import SUPPLY, add, opened, post_check, publish, words
from tests.diagnostics.systems import text_of
from tests.reports import sample
from tests.reports.test_draw import pages_of

WHOLE = {"check": "motion", "stops_at": None, "lamp": None, "seconds": {}}


@pytest.fixture
def bow(job: Job, car: Car, tech: User, owner: User) -> BenchSheet:
    """A sheet on the soft top, whose latch switches BG6 and BG7 are in series on the pin of BG6."""
    publish(owner, "softbow-hydro")
    Car.objects.filter(pk=car.pk).update(system="softbow-hydro")
    job.refresh_from_db()
    return opened(job, tech)


def by_hand(sheet: BenchSheet, by: User, code: str) -> Check:
    return add(sheet, by, check="pin-by-hand", position=code, pressed_volts=0.1, released_volts=SUPPLY - 0.1)


def row_of(page: str, code: str) -> str:
    found = re.search(rf'<li class="pin" id="pin-{code}">(.*?)</li>\s*(?=<li class="pin"|</ol>)', page, re.DOTALL)
    assert found, code
    return found[1]


def test_the_second_switch_stands_under_its_pin_without_a_field_for_volts(bow: BenchSheet, client_as: Any) -> None:
    client: Client = client_as("technician")
    page = words(client.get(f"/sheets/{bow.pk}/?more=BG7"))
    order = re.findall(r'<li class="pin" id="pin-(\w+)">', page)
    assert order[order.index("BG6") + 1] == "BG7"
    first, second = row_of(page, "BG6"), row_of(page, "BG7")
    assert 'id="volts-BG6"' in first
    assert "with BG7 in series: made only while both are made" in first
    assert 'name="volts"' not in second
    assert "give-" not in second, "no state is promised where nothing is read"
    assert "in series with BG6, on its pin" in second
    assert 'id="pressed-BG7"' in second
    assert "hold BG6 pressed all the time" in second
    assert 'id="click-BG7"' in second
    assert "Link wire, ohms from the plug of BG6 to its own" in second


def test_the_first_one_says_what_to_hold_too(bow: BenchSheet, client_as: Any) -> None:
    page = words(client_as("technician").get(f"/sheets/{bow.pk}/?more=BG6"))
    assert "hold BG7 pressed all the time" in row_of(page, "BG6")
    other = words(client_as("technician").get(f"/sheets/{bow.pk}/?more=BG5"))
    assert "pressed all the time" not in row_of(other, "BG5")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (
            {"check": "pin-by-hand", "pressed_volts": "0.1", "released_volts": "12.5"},
            "By hand BG7 reads made and released",
        ),
        (
            {"check": "pin-by-hand", "pressed_volts": "0.1", "released_volts": "0.1"},
            "BG7 reads made when pressed",
        ),
        ({"check": "click:no"}, "BG7 does not click"),
        ({"check": "wiggle:no"}, "BG7 jumps"),
        ({"check": "continuity:open"}, "The wire of BG7 is open"),
        ({"check": "look", "found": "unplugged"}, "Seen at BG7"),
    ],
)
def test_every_check_of_the_second_switch_can_be_entered(
    bow: BenchSheet, client_as: Any, fields: dict[str, str], said: str
) -> None:
    response = post_check(client_as("technician"), bow, position="BG7", **fields)
    assert response.status_code == 200
    assert said in words(response)
    assert Check.objects.get().position == "BG7"


def test_a_reading_at_a_pin_that_it_has_not_is_one_sentence(bow: BenchSheet, client_as: Any) -> None:
    response = post_check(client_as("technician"), bow, check="pin", position="BG7", volts="0.1")
    assert response.status_code == 422
    assert "BG7 has no pin of its own; read BG6, whose pin is made only while both are made." in words(response)
    assert not Check.objects.exists()


def test_a_pair_that_is_never_made_suspects_both_and_offers_what_parts_them(bow: BenchSheet, tech: User) -> None:
    add(bow, tech, check="pin", position="BG6", volts=SUPPLY - 0.1)
    diagnosis = diagnosis_of_sheet(bow)
    assert diagnosis is not None
    suspected = {suspect.fault.position for suspect in diagnosis.suspects if suspect.probability > 0.05}
    assert {"BG6", "BG7"} <= suspected
    assert {"BG6", "BG7"} <= {check.position for check in diagnosis.next_checks}


def test_the_next_check_by_hand_says_what_to_hold(bow: BenchSheet, tech: User) -> None:
    for code in ("BG6", "BG7"):
        add(bow, tech, check="click", position=code, heard=True)
    add(bow, tech, check="pin", position="BG6", pose={**bow.pose, "cover-latch": "open"}, volts=0.1)
    page = sheet_page(bow, viewer_pk=tech.pk)
    names = {todo.check.position: todo.name for todo in page.todos if todo.check.check == "pin-by-hand"}
    assert names, [(todo.check.check, todo.check.position) for todo in page.todos]
    for code, name in names.items():
        assert name.endswith(f"(hold {'BG7' if code == 'BG6' else 'BG6'} pressed all the time)")


def test_replaced_one_must_be_pressed_before_the_job_is_done(bow: BenchSheet, job: Job, tech: User) -> None:
    for code in ("BG6", "BG7"):
        by_hand(bow, tech, code)
    assert proof_of_job(job)["BG7"].proven
    services.work_add(job=job, by=tech, position="BG7", kind="replace", part="TW-BGM-3210")
    proof = proof_of_job(job)
    assert not proof["BG6"].made, "the second switch is on the path of the first"
    assert not proof["BG7"].made
    add(bow, tech, check="pin", position="BG6", volts=0.1)
    path = next(path for path in repaired_paths_of_job(job) if path.position == "BG7")
    assert path.missing == "Read its pin by hand, BG6 held pressed: made and released."
    by_hand(bow, tech, "BG6")
    assert not proof_of_job(job)["BG7"].released, "the other one pressed says nothing of this one let go"
    by_hand(bow, tech, "BG7")
    assert proof_of_job(job)["BG7"].proven
    assert all(path.proven for path in repaired_paths_of_job(job))


def test_an_adjusted_trigger_is_proven_by_the_made_pin_and_the_hand(bow: BenchSheet, job: Job, tech: User) -> None:
    """Both let go together in every pose, so by hand is all that shows the one contact open."""
    services.work_add(job=job, by=tech, position="BG7", kind="adjust")
    by_hand(bow, tech, "BG7")
    path = next(path for path in repaired_paths_of_job(job) if path.position == "BG7")
    assert path.missing.startswith("By hand its trigger is not proven")
    assert "released" not in path.missing
    add(bow, tech, check="pin", position="BG6", volts=0.1)
    assert all(path.proven for path in repaired_paths_of_job(job))


def test_a_whole_motion_proves_the_trigger_that_must_be_reached(bow: BenchSheet, job: Job, tech: User) -> None:
    services.work_add(job=job, by=tech, position="BG7", kind="adjust")
    by_hand(bow, tech, "BG7")
    add(bow, tech, **WHOLE, motion="close")
    assert all(path.proven for path in repaired_paths_of_job(job))


def test_where_a_pose_parts_the_two_a_trigger_is_proven_in_it_and_not_by_motions(
    job: Job, car: Car, tech: User, owner: User
) -> None:
    """A motion that waits for the pin released is content whichever of the two let go."""
    text = text_of("softbow-hydro")
    start = text.index("in_series_with")
    text = text[:start] + text[start:].replace("{at: {cover-latch: locked}}", "{at: {cover: shut}}", 1)
    services.system_publish(text=text, source="apart", by=owner)
    Car.objects.filter(pk=car.pk).update(system="softbow-hydro")
    job.refresh_from_db()
    sheet = opened(job, tech)
    services.work_add(job=job, by=tech, position="BG6", kind="adjust")
    by_hand(sheet, tech, "BG6")
    for motion in ("open", "close"):
        add(sheet, tech, **WHOLE, motion=motion)
    (path,) = repaired_paths_of_job(job)
    assert path.missing.endswith("read its pin released.")
    add(sheet, tech, check="pin", position="BG6", pose={**sheet.pose, "cover-latch": "open"}, volts=SUPPLY - 0.1)
    assert all(path.proven for path in repaired_paths_of_job(job))


def test_the_bench_list_presses_each_of_the_two_once(bow: BenchSheet, tech: User) -> None:
    listed = bench_list_of_sheet(bow)
    assert listed is not None
    assert {one.code: one.hold for one in listed.by_hand if one.code in ("BG6", "BG7")} == {
        "BG6": "BG7 Cover latch locked, right",
        "BG7": "BG6 Cover latch locked, left",
    }
    for code in ("BG6", "BG7"):
        by_hand(bow, tech, code)
    listed = bench_list_of_sheet(bow)
    assert listed is not None
    assert not {"BG6", "BG7"} & {one.code for one in listed.by_hand}


def test_the_proof_and_the_systems_page_show_both(bow: BenchSheet, client_as: Any) -> None:
    by = client_as("technician")
    proof = words(by.get(f"/sheets/{bow.pk}/"))
    assert re.search(r'<th scope="row"><span class="mono">BG7</span>', proof)
    system = words(by.get("/systems/softbow-hydro/"))
    assert "in series with BG6: the pin is made only while both are made" in system


# --- the certificate's content

TOP = sample.system("softbow-hydro")


def test_the_certificate_proves_both_and_says_which_one_was_held() -> None:
    found = sample.results(sample.evidence_of(sample.sound_checks(TOP), top=TOP))
    rows = {row.position: row for row in found.proof}
    assert (rows["BG6"].pin, rows["BG7"].pin) == ("XG1/B2", "XG1/B2")
    assert rows["BG7"].made
    assert rows["BG7"].released
    pressed = next(one for one in found.readings if one.position == "BG7")
    assert pressed.situation == "by hand, pressed; BG6 held"
    assert pressed.pin == "XG1/B2"


def test_without_a_hand_on_it_the_second_switch_is_not_tested() -> None:
    checks = [one for one in sample.sound_checks(TOP) if one.position != "BG7"]
    found = sample.results(sample.evidence_of(checks, top=TOP))
    missing = [one for one in found.not_tested if one.what.startswith("BG7")]
    assert [one.why for one in missing] == ["Seen made only, not released."]


@pytest.mark.parametrize("code", ["BG6", "BG7"])
def test_work_on_one_of_the_two_overtakes_readings_at_their_pin(code: str) -> None:
    reading = sample.pin(TOP, 10, "BG6", "closed")
    work = Worked(code, "Replaced", "New switch", sample.START + timedelta(minutes=20), "Ines Okafor")
    evidence = SeenEvidence(TOP, (reading,), (work,))
    assert evidence.current("BG6") == ()
    again = sample.pin(TOP, 30, "BG6", "closed")
    evidence = SeenEvidence(TOP, (reading, again), (work,))
    assert evidence.current("BG6") == (again,)
    assert evidence.reworked(again)
    assert not evidence.reworked(reading)


def test_the_pin_card_names_the_second_switch_at_its_pin() -> None:
    at = datetime(2026, 11, 25, 10, 40, tzinfo=UTC)
    (page,) = pages_of(draw_pin_card(PinCard("Shop", TOP, "abc" * 20, at)))
    assert "in series with BG7 Cover latch locked, right" in " ".join(page.split())
