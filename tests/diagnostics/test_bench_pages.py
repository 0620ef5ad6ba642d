"""The bench by requests: with JavaScript and without, by role, two people, bad input, weight and number of queries."""

import re
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from diagnostics import services
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors.page import pose_token
from shop.models import Car, Job, Stage, User
from shop.services import job_move, job_open
from tests.diagnostics.bench import add, opened, post_check, words

HTMX = {"HX-Request": "true"}
ROLES = ["technician", "owner", "counter", "parts"]


def _queries(client: Client, method: str, url: str, **data: Any) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        response = getattr(client, method)(url, data, headers=HTMX if method == "post" else {})
    assert response.status_code == 200
    return len([one for one in captured if not one["sql"].startswith(("SAVEPOINT", "RELEASE", "BEGIN", "COMMIT"))])


def test_pins_stand_in_the_order_of_the_connector_with_their_wires(
    sheet: BenchSheet,
    client_as: Any,
) -> None:
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/"))
    shown = re.findall(r'id="volts-([A-Z0-9]+)"', page)
    assert shown == [*(f"BG{n}" for n in range(1, 14)), "SF1", "SF2"]
    row = page.split('id="pin-BG3"')[1].split("</li>")[0]
    assert "BU/BK" in row
    assert "iec-BU" in row
    assert "made</span>" in row  # the lid is shut in the closed pose
    assert "under 3.8 V" in row


@pytest.mark.parametrize("role", ROLES)
def test_everybody_reads_and_only_technician_and_owner_get_fields(
    sheet: BenchSheet,
    client_as: Any,
    role: str,
) -> None:
    client = client_as(role)
    writes = role in ("technician", "owner")
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    assert ('id="volts-BG1"' in page) is writes
    assert ("bench.js" in page) is writes
    response = post_check(client, sheet, check="battery", volts="12.6")
    assert response.status_code == (200 if writes else 403)
    assert Check.objects.exists() is writes
    for path in ("systems/", "systems/rht-trio/", f"jobs/{sheet.job_id}/bench/panel/", f"cars/{sheet.car_id}/units/"):
        assert client.get(f"/{path}").status_code == 200


@pytest.mark.parametrize("path", ["sheets/1/", "sheets/1/live/", "systems/", "jobs/1/bench/", "cars/1/units/"])
def test_nobody_gets_in_without_signing_in(client_as: Any, path: str) -> None:
    response = client_as("nobody").get(f"/{path}")
    assert response.status_code == 302
    assert "sign-in" in response["Location"]


def test_an_entry_answers_with_every_fragment_that_can_have_changed(
    sheet: BenchSheet,
    client_as: Any,
) -> None:
    response = post_check(client_as("technician"), sheet, check="pin", position="BG1", volts="0,1")
    answer = words(response)
    swapped = set(re.findall(r'id="([\w-]+)" hx-swap-oob="true"|id="([\w-]+)"[^>]*hx-swap-oob="true"', answer))
    ids = {first or second for first, second in swapped}
    assert {"live", "next", "suspects", "proof", "entries", "verdict-BG1", "gives-BG1"} <= ids
    assert "BG1 reads made" in answer
    assert 'id="volts-BG1"' not in answer  # the field itself is never taken away
    assert Check.objects.get().observation["volts"] == 0.1


def test_without_javascript_an_entry_leads_back_to_its_pin(sheet: BenchSheet, client_as: Any) -> None:
    client = client_as("technician")
    response = post_check(client, sheet, htmx=False, check="pin", position="BG1", volts="0.1", at="pin-BG1")
    assert response.status_code == 302
    assert response["Location"] == f"/sheets/{sheet.pk}/#pin-BG1"
    assert "BG1 reads made" in words(client.get(response["Location"]))


def test_what_was_typed_comes_back_with_the_reason(sheet: BenchSheet, client_as: Any) -> None:
    client = client_as("technician")
    response = post_check(client, sheet, htmx=False, check="pin", position="BG4", volts="1o.4")
    page = words(response)
    assert response.status_code == 422
    assert "“1o.4” is no number; expected volts, such as 11.9." in page
    assert re.search(r'id="volts-BG4"[^>]*value="1o.4"', page)
    assert page.count('value="1o.4"') == 1
    assert not Check.objects.exists()


@pytest.mark.parametrize(
    ("fields", "status", "said"),
    [
        ({"check": "pin", "position": "BG1", "volts": ""}, 422, "No number was typed"),
        ({"check": "pin", "position": "BG77", "volts": "1"}, 422, "BG77"),
        ({"check": "pin", "position": "BG1", "volts": "1", "pose": "upside-down"}, 422, "upside-down"),
        ({"check": "pin", "position": "BG1", "volts": "1", "pose": "lid:sideways"}, 422, "no place"),
        ({"check": "pin", "position": "BG1", "volts": "nan"}, 422, "nan"),
        ({"check": "pin", "position": "BG1", "volts": "1e9"}, 422, "1000000000"),
        ({"check": "continuity", "position": "BG1"}, 422, "ohms"),
        ({"check": "motion", "motion": "close"}, 422, "Where it stopped"),
        ({"check": "motion", "motion": "close", "stops_at": "whole", "seconds_raise-lid": "fast"}, 422, "fast"),
        ({"check": "nonsense"}, 422, "nonsense"),
    ],
)
def test_bad_input_is_one_sentence(
    sheet: BenchSheet,
    client_as: Any,
    fields: dict[str, str],
    status: int,
    said: str,
) -> None:
    response = post_check(client_as("technician"), sheet, **fields)
    assert response.status_code == status
    sentence = re.search(r"<p data-words>(.*?)</p>", words(response), re.DOTALL)
    assert sentence
    assert said in sentence[1]
    assert not Check.objects.exists()


def test_refused_evidence_is_an_entry_with_its_reason(sheet: BenchSheet, client_as: Any) -> None:
    response = post_check(client_as("technician"), sheet, check="pin", position="BG1", volts="14.9")
    assert response.status_code == 200
    assert "no evidence" in words(response)
    assert Check.objects.get().verdict == "refused"


def test_a_closed_sheet_answers_with_a_conflict(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    services.sheet_close(sheet=sheet, by=tech)
    response = post_check(client_as("technician"), sheet, check="battery", volts="12.6")
    assert response.status_code == 409
    assert "closed" in words(response)


def test_every_kind_of_entry_can_be_made_by_its_button(sheet: BenchSheet, client_as: Any) -> None:
    client = client_as("technician")
    for fields in (
        {"check": "pin", "volts": "0.1"},
        {"check": "pin-by-hand", "pressed_volts": "0.1", "released_volts": "12.5"},
        {"check": "click:yes"},
        {"check": "wiggle:no"},
        {"check": "continuity", "ohms": "0.4"},
        {"check": "continuity:open"},
        {"check": "look", "found": "nothing"},
        {"check": "look", "words": "green crust at the plug"},
        {"check": "battery", "volts": "12.6"},
        {"check": "motion", "motion": "close", "stops_at": "raise-lid", "lamp": "steady", "seconds_release-lid": "0.9"},
    ):
        response = post_check(client, sheet, **({"position": "BG1"} | fields))
        assert response.status_code == 200, words(response)
    kept = [check.observation for check in Check.objects.order_by("pk")]
    assert kept[2]["heard"] is True
    assert kept[3]["steady"] is False
    assert kept[4]["ohms"] == 0.4
    assert kept[5]["ohms"] is None
    assert kept[7]["found"] == "green crust at the plug"
    assert kept[9]["seconds"] == {"release-lid": 0.9}
    assert words(client.get(f"/sheets/{sheet.pk}/")).count("green crust at the plug") >= 2


def test_an_entry_keeps_the_pose_that_it_was_read_in(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    """Typed while the network was away, sent after somebody moved the top on."""
    there = pose_token(sheet.pose)
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.2, ignition_on=False)
    fields = {"pose": there, "supply_volts": "12.6", "ignition": "yes"}
    post_check(client_as("technician"), sheet, check="pin", position="BG1", volts="0.1", **fields)
    kept = Check.objects.get().observation
    assert kept["pose"] == sheet.pose
    assert (kept["supply_volts"], kept["ignition"]) == (12.6, True)


def test_two_people_see_each_others_entries(sheet: BenchSheet, owner: User, client_as: Any) -> None:
    client = client_as("technician")
    version = re.search(r"live/\?v=([\w.]+)", words(client.get(f"/sheets/{sheet.pk}/")))
    assert version
    live = f"/sheets/{sheet.pk}/live/?v={version[1]}"
    assert client.get(live, headers=HTMX).status_code == 204
    add(sheet, owner, check="pin", position="BG2", volts=12.5)
    changed = client.get(live, headers=HTMX)
    assert changed.status_code == 200
    assert "BG2 reads released" in words(changed)
    assert '<input id="volts-' not in words(changed)
    check = Check.objects.get()
    again = re.search(r"live/\?v=([\w.]+)", words(changed))
    assert again
    services.check_strike(check=check, by=owner, why="wrong pin")
    assert client.get(f"/sheets/{sheet.pk}/live/?v={again[1]}", headers=HTMX).status_code == 200


def test_undo_strikes_ones_own_last_entry(sheet: BenchSheet, owner: User, client_as: Any) -> None:
    client = client_as("technician")
    assert 'id="undo"' not in words(client.get(f"/sheets/{sheet.pk}/"))
    post_check(client, sheet, check="battery", volts="12.6")
    assert 'id="undo"' in words(client.get(f"/sheets/{sheet.pk}/"))
    check = Check.objects.get()
    client.post(f"/checks/{check.pk}/strike/", {"undo": "1"}, headers=HTMX)
    check.refresh_from_db()
    assert check.struck_why == "undone by tech"
    add(sheet, owner, check="battery", volts=12.6)
    assert 'id="undo"' not in words(client.get(f"/sheets/{sheet.pk}/"))


def test_striking_out_asks_for_a_reason(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    check = add(sheet, tech, check="battery", volts=12.6)
    client = client_as("technician")
    assert client.post(f"/checks/{check.pk}/strike/", {"why": ""}, headers=HTMX).status_code == 422
    answer = client.post(f"/checks/{check.pk}/strike/", {"why": "charger was on"}, headers=HTMX)
    assert "Struck out by tech: charger was on" in words(answer)
    assert client.post(f"/checks/{check.pk}/strike/", {"why": "again"}, headers=HTMX).status_code == 409


def test_pose_by_name_and_by_axis(sheet: BenchSheet, client_as: Any) -> None:
    client, url = client_as("technician"), f"/sheets/{sheet.pk}/pose/"
    assert client.post(url, {"pose": "open", "supply_volts": "12,4", "ignition": "on"}, headers=HTMX).status_code == 200
    sheet.refresh_from_db()
    assert (sheet.pose["stack"], sheet.supply_mv, sheet.ignition_on) == ("stowed", 12400, True)
    client.post(url, {"axis_lid": "between", "supply_volts": "12.4"}, headers=HTMX)
    sheet.refresh_from_db()
    assert (sheet.pose["lid"], sheet.pose["stack"], sheet.ignition_on) == ("between", "stowed", False)
    for bad in ({"pose": "sideways"}, {"axis_lid": "gone"}, {"pose": "open", "supply_volts": "230"}):
        assert client.post(url, bad, headers=HTMX).status_code == 422
    sheet.refresh_from_db()
    assert sheet.pose["lid"] == "between"


def test_opening_goes_to_the_open_sheet(
    job: Job,
    car: Car,
    counter: User,
    revision: Any,
    client_as: Any,
) -> None:
    client = client_as("technician")
    assert "Open a bench sheet" in words(client.get(f"/jobs/{job.pk}/bench/"))
    assert not BenchSheet.objects.exists()  # looking opens nothing
    first = client.post(f"/jobs/{job.pk}/bench/")["Location"]
    assert client.post(f"/jobs/{job.pk}/bench/")["Location"] == first
    other = job_open(car=car, by=counter, title="Squeaks", stage=Stage.HERE)
    assert client.get(f"/jobs/{other.pk}/bench/")["Location"] == first
    conflict = client.post(f"/jobs/{other.pk}/bench/")
    assert conflict.status_code == 409
    assert first in words(conflict)
    assert BenchSheet.objects.count() == 1
    counter_page = client_as("counter")
    assert counter_page.post(f"/jobs/{job.pk}/bench/")["Location"] == first  # there to read
    assert counter_page.post(f"/jobs/{other.pk}/bench/").status_code == 403


def test_an_undeclared_car_is_read_by_connector_and_pin(car: Car, job: Job, tech: User, client_as: Any) -> None:
    car.system = ""
    car.save()
    free = opened(job, tech)
    client = client_as("technician")
    assert 'id="connector"' in words(client.get(f"/sheets/{free.pk}/"))
    fields = {"check": "pin", "connector": "xg1", "row": "a", "number": "3", "volts": "1.2", "pose": "half open"}
    assert post_check(client, free, **fields).status_code == 200
    assert Check.objects.get().position == "XG1/A3"
    broken = post_check(client, free, htmx=False, **(fields | {"number": "x"}))
    assert broken.status_code == 422
    assert 'value="half open"' in words(broken)


def test_nothing_inline_that_the_content_policy_would_block(sheet: BenchSheet, client_as: Any) -> None:
    client = client_as("technician")
    for path in (f"sheets/{sheet.pk}/", "systems/rht-trio/", f"jobs/{sheet.job_id}/bench/panel/"):
        page = words(client.get(f"/{path}"))
        assert not re.search(r"\sstyle=|\son\w+=\"|<script(?![^>]*src=)", page), path


def test_few_queries_and_a_light_page_however_many_entries(
    sheet: BenchSheet,
    tech: User,
    client_as: Any,
) -> None:
    client = client_as("technician")
    page, add_url = f"/sheets/{sheet.pk}/", f"/sheets/{sheet.pk}/checks/"
    entry = {"check": "pin", "position": "BG1", "volts": "0.1"}

    def count() -> list[int]:
        return [
            _queries(client, "get", page),
            _queries(client, "post", add_url, entry_id=str(uuid.uuid4()), **entry),
            _queries(client, "get", f"/jobs/{sheet.job_id}/bench/panel/"),
            _queries(client, "get", f"/cars/{sheet.car_id}/units/"),
            _queries(client, "get", f"/cars/{sheet.car_id}/top-proof/"),
        ]

    few = count()
    for n in range(1, 14):
        add(sheet, tech, check="pin", position=f"BG{n}", volts=0.1)
        add(sheet, tech, check="wiggle", position=f"BG{n}", steady=True)
    services.work_add(job=sheet.job, by=tech, position="BG3", kind="adjust")
    many = count()
    assert few == many
    page_queries, entry_queries, *fragments = many
    assert page_queries < 12
    assert max(fragments) < 12
    assert entry_queries < 16
    assert len(client.get(page).content) < 150_000


def test_systems_and_their_options(revision: Any, client_as: Any) -> None:
    client = client_as("counter")
    assert "Retractable hardtop of three shells" in words(client.get("/systems/"))
    options = words(client.get("/systems/?as=options"))
    assert '<option value="rht-trio">' in options
    assert "<html" not in options
    one = words(client.get("/systems/rht-trio/"))
    assert one.index("XG1/A1<") < one.index("XG1/B1<") < one.index("XG2/A1<")
    assert "The parcel shelf swings clear" in one
    assert '<option value="BG11">' in words(client.get("/systems/rht-trio/?as=options"))
    assert client.get("/systems/rht-trio/?revision=2").status_code == 200
    assert client.get("/systems/rht-trio/?revision=9").status_code == 404
    assert client.get("/systems/no-such-top/").status_code == 404


def test_a_system_that_nobody_declared_is_said_on_the_car_and_at_its_address(revision: Any, client_as: Any) -> None:
    client = client_as("counter")
    assert "Retractable hardtop of three shells" in words(client.get("/systems/rht-trio/?as=fact"))
    assert "not declared" in words(client.get("/systems/rth-trio/?as=fact"))
    gone = client.get("/systems/rth-trio/")
    assert gone.status_code == 404
    assert "No top system rth-trio is declared here" in words(gone)


def test_a_done_job_takes_no_more_entries_and_holds_up_no_other(
    sheet: BenchSheet, owner: User, counter: User, client_as: Any
) -> None:
    job_move(job=sheet.job, by=owner, stage=Stage.DONE, why="as agreed")
    client = client_as("technician")
    refused = post_check(client, sheet, check="battery", volts="12.6")
    assert refused.status_code == 409
    assert "takes no more entries" in words(refused)
    assert 'id="volts-BG1"' not in words(client.get(f"/sheets/{sheet.pk}/"))
    other = job_open(car=sheet.car, by=counter, title="Squeaks", stage=Stage.HERE)
    assert "Open a bench sheet" in words(client.get(f"/jobs/{other.pk}/bench/"))
    client.post(f"/jobs/{other.pk}/bench/")
    sheet.refresh_from_db()
    assert sheet.closed_at is not None
    assert BenchSheet.objects.get(closed_at=None).job == other


def test_every_entry_of_a_long_sheet_stands_on_a_page_of_its_own(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    for n in range(1, 13):
        add(sheet, tech, check="wiggle", position=f"BG{n}", steady=True)
    client = client_as("technician")
    assert "2 earlier entries" in words(client.get(f"/sheets/{sheet.pk}/"))
    page = words(client.get(f"/sheets/{sheet.pk}/?entries=all"))
    assert page.count('id="check-') == 12
    assert 'id="volts-BG1"' not in page
    check = Check.objects.earliest("pk")
    answer = client.post(f"/checks/{check.pk}/strike/", {"why": "wrong car", "at": "entries"})
    assert answer["Location"] == f"/sheets/{sheet.pk}/#entries"


def test_the_fullest_sheet_stays_a_light_page(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    """Every kind of entry at every sensor, and the top part of the way: the longest that the page can become."""
    for code in [*(f"BG{n}" for n in range(1, 14)), "SF1", "SF2"]:
        add(sheet, tech, check="pin", position=code, volts=0.1)
        add(sheet, tech, check="pin-by-hand", position=code, pressed_volts=0.1, released_volts=12.5)
        add(sheet, tech, check="click", position=code, heard=True)
        add(sheet, tech, check="wiggle", position=code, steady=True)
        add(sheet, tech, check="continuity", position=code, ohms=0.4)
        add(sheet, tech, check="look", position=code, found="nothing")
    axes = {"lid": "between", "stack": "up"}
    services.sheet_set_pose(sheet=sheet, by=tech, pose=axes, supply_volts=12.6, ignition_on=True)
    client = client_as("technician")
    assert len(client.get(f"/sheets/{sheet.pk}/").content) < 150_000
    assert len(client.get(f"/sheets/{sheet.pk}/?entries=all").content) < 150_000
