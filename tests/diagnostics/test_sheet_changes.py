"""What the sheet says besides its readings: what the last entry moved, undone and entered again, what contradicts, the
two ways to a fix, and the fields that come after the page."""

import html
import json
import re
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diagnostics import services
from diagnostics.engine.results import RepairStep, Surprise, Ways
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors import page as pages
from diagnostics.selectors import todos
from shop.models import User
from tests.diagnostics.bench import add, post_check, sound_volts, words

HTMX = {"HX-Request": "true"}


def part(page: str, name: str) -> str:
    """The text of one part of a page, up to the next section, without its marks."""
    start = page.index(f'id="{name}"')
    inside = re.split(r"<section|</section>", page[start:])[0]
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", inside)))


def bad_volts(sheet: BenchSheet, code: str) -> float:
    return 12.5 if sound_volts(sheet, code) < 6 else 0.1


def test_a_finding_says_who_rose_and_because_of_what(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=bad_volts(sheet, "BG3"))
    said = part(words(client_as("technician").get(f"/sheets/{sheet.pk}/")), "changed")
    assert re.search(r"BG3 Lid shut: never makes .* \d+ % → \d+ %", said)
    assert "Because: BG3 reads released" in said
    assert "by tech" in said
    assert said.count("→") <= 4


def test_an_empty_sheet_says_nothing_and_a_sound_reading_on_top_was_expected(
    sheet: BenchSheet, tech: User, client_as: Any
) -> None:
    client = client_as("technician")
    empty = words(client.get(f"/sheets/{sheet.pk}/"))
    assert "data-token" not in empty.split('id="changed"')[1].split("</div>")[0]
    for _twice in range(2):
        add(sheet, tech, check="pin", position="BG1", volts=sound_volts(sheet, "BG1"))
    assert "Nothing moved: this was expected." in part(words(client.get(f"/sheets/{sheet.pk}/")), "changed")


def test_refused_evidence_moves_nothing_and_says_why(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=14.9)
    said = part(words(client_as("technician").get(f"/sheets/{sheet.pk}/")), "changed")
    assert "Nothing moved: the entry does not count." in said


def test_the_second_person_reads_what_the_first_ones_entry_moved(
    sheet: BenchSheet, owner: User, client_as: Any
) -> None:
    client = client_as("technician")
    version = re.search(r"live/\?v=([\w.]+)", words(client.get(f"/sheets/{sheet.pk}/")))
    assert version
    add(sheet, owner, check="pin", position="BG3", volts=bad_volts(sheet, "BG3"))
    live = client.get(f"/sheets/{sheet.pk}/live/?v={version[1]}", headers=HTMX)
    assert "BG3 Lid shut: never makes" in part(words(live), "changed")
    assert "by owner" in part(words(live), "changed")
    assert live["HX-Trigger"] == '{"sheet-changed": {}}'
    # The place that is read out stays on the page; only what stands in it is changed.
    assert 'id="changed" role="status" aria-live="polite" hx-swap-oob="innerHTML"' in words(live)


def test_every_change_is_told_by_a_token_of_its_own(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    client = client_as("technician")

    def token() -> str:
        found = re.search(r'data-token="([\w-]+)"', words(client.get(f"/sheets/{sheet.pk}/")))
        assert found
        return found[1]

    check = add(sheet, tech, check="battery", volts=12.6)
    first = token()
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.5, ignition_on=True)
    assert token() == first  # the pose moved, no suspect did
    services.check_strike(check=check, by=tech, why="charger was on")
    struck = token()
    assert struck != first
    add(sheet, tech, check="battery", volts=12.6)
    assert token() not in (first, struck)


def test_undone_the_suspects_go_back_and_the_entry_is_offered_again(
    sheet: BenchSheet, owner: User, client_as: Any
) -> None:
    client, volts = client_as("technician"), bad_volts(sheet, "BG3")
    post_check(client, sheet, check="pin", position="BG3", volts=str(volts))
    rose = part(words(client.get(f"/sheets/{sheet.pk}/")), "changed")
    check = Check.objects.get()
    undone = words(client.post(f"/checks/{check.pk}/strike/", {"undo": "1"}, headers=HTMX))
    fell = part(undone, "changed")
    assert "Because this was taken back: BG3 reads released" in fell
    (before, after), (back, there) = (
        re.search(r"never makes (.*?) → ((?:under )?\d+ %)", one).groups()  # type: ignore[union-attr]
        for one in (rose, fell)
    )
    assert (back, there) == (after, before)
    again = re.search(r'id="redo" href="\?again=(\d+)#volts-BG3"[^>]*data-typed="([^"]*)"', undone)
    assert again
    assert int(again[1]) == check.pk
    assert json.loads(html.unescape(again[2]))["volts"] == f"{volts:g}"
    # Without JavaScript the page comes with the number in its field, and nothing else is filled.
    page = words(client.get(f"/sheets/{sheet.pk}/?again={check.pk}"))
    assert re.search(rf'id="volts-BG3"[^>]*value="{volts:g}"', page)
    assert page.count(f'value="{volts:g}"') == 1
    # It is nobody else's to enter again, and no one's once something else was entered.
    assert 'id="redo"' not in words(client_as("owner").get(f"/sheets/{sheet.pk}/"))
    post_check(client, sheet, check="battery", volts="12.6")
    assert 'id="redo"' not in words(client.get(f"/sheets/{sheet.pk}/"))


def test_undo_stands_beside_the_pin_of_ones_own_last_entry_alone(
    sheet: BenchSheet, tech: User, owner: User, client_as: Any
) -> None:
    add(sheet, owner, check="pin", position="BG2", volts=12.5)
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/"))
    assert page.count('form="undo-form"') == 1
    assert 'form="undo-form"' in page.split('id="verdict-BG3"')[1].split("</div>")[0]
    assert page.count('id="undo-form"') == 1
    assert 'form="undo-form"' not in words(client_as("owner").get(f"/sheets/{sheet.pk}/"))


def test_what_somebody_else_struck_out_is_not_offered_again(
    sheet: BenchSheet, tech: User, owner: User, client_as: Any
) -> None:
    check = add(sheet, tech, check="battery", volts=12.6)
    services.check_strike(check=check, by=owner, why="charger was on")
    assert 'id="redo"' not in words(client_as("technician").get(f"/sheets/{sheet.pk}/"))


def test_an_old_entry_struck_out_late_is_the_last_change(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    client = client_as("technician")
    old = add(sheet, tech, check="pin", position="BG3", volts=12.5)
    add(sheet, tech, check="pin", position="BG1", volts=sound_volts(sheet, "BG1"))
    services.check_strike(check=old, by=tech, why="wrong pin")
    said = part(words(client.get(f"/sheets/{sheet.pk}/")), "changed")
    assert "Struck out by tech" in said
    assert "Because this was taken back: BG3 reads released" in said


def test_a_reading_is_entered_again_only_in_the_pose_that_it_was_read_in(
    sheet: BenchSheet, tech: User, client_as: Any
) -> None:
    client = client_as("technician")
    check = add(sheet, tech, check="pin", position="BG3", volts=0.1)
    client.post(f"/checks/{check.pk}/strike/", {"undo": "1"})
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    assert 'id="redo"' not in page
    assert "To enter it again, first bring the top to: closed" in part(page, "entries")


@pytest.mark.parametrize(
    ("entry", "shown"),
    [
        (
            {"check": "pin-by-hand", "pressed_volts": 0.2, "released_volts": 12.5},
            [r'id="pressed-BG3"[^>]*value="0.2"', r'id="freed-BG3"[^>]*value="12.5"'],
        ),
        ({"check": "continuity", "ohms": 0.4}, [r'id="ohms-BG3"[^>]*value="0.4"']),
        ({"check": "look", "found": "green crust"}, [r'id="words-BG3"[^>]*value="green crust"']),
        ({"check": "click", "heard": True}, [r'id="click-BG3"']),
    ],
)
def test_every_kind_of_entry_can_be_entered_again(
    sheet: BenchSheet, tech: User, client_as: Any, entry: dict[str, Any], shown: list[str]
) -> None:
    client = client_as("technician")
    check = add(sheet, tech, position="BG3", **entry)
    client.post(f"/checks/{check.pk}/strike/", {"undo": "1"})
    link = re.search(r'id="redo" href="([^"#]*)', words(client.get(f"/sheets/{sheet.pk}/")))
    assert link
    page = words(client.get(f"/sheets/{sheet.pk}/{html.unescape(link[1])}"))
    for pattern in shown:
        assert re.search(pattern, page), pattern


def test_a_trial_is_entered_again_with_its_step_lamp_and_seconds(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    client = client_as("technician")
    trial = {"motion": "close", "stops_at": "raise-stack", "lamp": "steady", "seconds": {"release-lid": 0.9}}
    check = add(sheet, tech, check="motion", **trial)
    client.post(f"/checks/{check.pk}/strike/", {"undo": "1"})
    page = words(client.get(f"/sheets/{sheet.pk}/?again={check.pk}"))
    form = page.split('id="entry-close"')[1].split("</form>")[0]
    assert re.search(r'value="raise-stack" checked', form)
    assert re.search(r'id="seconds-close-release-lid"[^>]*value="0.9"', form)
    assert '<option value="steady" selected>' in form
    assert " checked" not in page.split('id="entry-open"')[1].split("</form>")[0]


def test_entries_that_contradict_are_named_with_links_and_the_one_to_repeat(
    sheet: BenchSheet, tech: User, client_as: Any
) -> None:
    first = add(sheet, tech, check="pin", position="BG3", volts=0.1)
    second = add(sheet, tech, check="pin", position="BG3", volts=12.5)
    client = client_as("technician")
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    said = page.split('id="next"')[1].split("</section>")[0]
    assert "entries disagree" in said
    assert f'href="#check-{first.pk}"' in said
    assert f'href="#check-{second.pk}"' in said
    assert re.search(r'data-focus="volts-BG3">Repeat entry [12]<', said)
    # From another pose the way there comes first; who may only read gets no button.
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    moved = words(client.get(f"/sheets/{sheet.pk}/")).split('id="next"')[1].split("</section>")[0]
    assert "First bring the top to: <strong>closed</strong>" in moved
    assert "Repeat entry" not in words(client_as("counter").get(f"/sheets/{sheet.pk}/"))


def test_an_entry_that_is_no_longer_on_the_page_is_linked_where_it_stands(
    sheet: BenchSheet, tech: User, client_as: Any
) -> None:
    first = add(sheet, tech, check="pin", position="BG3", volts=0.1)
    for n in range(4, 14):
        add(sheet, tech, check="wiggle", position=f"BG{n}", steady=True)
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    client = client_as("technician")
    link = re.search(rf'href="([^"]*#check-{first.pk})"', words(client.get(f"/sheets/{sheet.pk}/")))
    assert link
    assert f'id="check-{first.pk}"' in words(client.get(html.unescape(link[1]).split("#")[0]))


def test_the_most_surprising_entry_is_named_and_linked(
    sheet: BenchSheet, tech: User, client_as: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    check = add(sheet, tech, check="battery", volts=12.6)
    told = pages.surprising_of

    def surprised(one: BenchSheet, evidence: Any, _surprise: Any, shown: Any) -> Any:
        return told(one, evidence, Surprise(0, 1e-15, "Nothing fits this battery."), shown)

    monkeypatch.setattr(pages, "surprising_of", surprised)
    said = words(client_as("technician").get(f"/sheets/{sheet.pk}/")).split('id="suspects"')[1]
    assert f'Nothing fits this battery. <a href="#check-{check.pk}">To entry 1</a>' in said
    assert todos.surprising_of is told


def test_both_ways_to_a_fix_stand_with_their_minutes_and_the_caution(
    sheet: BenchSheet, tech: User, client_as: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    step = RepairStep("BG3:replace", "Replace BG3 (Lid shut)", 0.4, 42.0)
    ways = Ways((step,), 58.0, 48.0, "Checks first is shorter by about 10 min.")
    real = pages.diagnosis_of
    monkeypatch.setattr(pages, "diagnosis_of", lambda *args: _with_ways(real(*args), ways))
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    said = part(words(client_as("technician").get(f"/sheets/{sheet.pk}/")), "next")
    assert "checks first about 48 min, repairs at once about 58 min" in said
    assert "Replace BG3 (Lid shut) 40 %, about 42 min" in said
    assert "prop lid and frame" in said


def _with_ways(diagnosis: Any, ways: Ways) -> Any:
    from dataclasses import replace

    return replace(diagnosis, ways=ways)


def test_folded_fields_come_in_one_request_and_stand_open_where_asked(sheet: BenchSheet, client_as: Any) -> None:
    client = client_as("technician")
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    assert 'id="ohms-BG3"' not in page
    assert '<a class="btn btn-small" href="?more=BG3#more-BG3">' in page
    loader = re.search(r'hx-get="(/sheets/\d+/fields/)"', page)
    assert loader
    fields = words(client.get(loader[1], headers=HTMX))
    folded = set(re.findall(r'<div id="(in-[A-Z0-9]+)"', page))
    assert folded == set(re.findall(r'<div id="(in-[A-Z0-9]+)" hx-swap-oob="true"', fields))
    assert 'id="ohms-BG3"' in fields
    unfolded = words(client.get(f"/sheets/{sheet.pk}/?more=BG3"))
    assert re.search(r'<details class="disclose pin-more" id="more-BG3" open>', unfolded)
    assert unfolded.count('id="ohms-') == 1
    # What stands there and may have been typed into is not taken away by what comes later.
    later = words(client.get(f"/sheets/{sheet.pk}/fields/?more=BG3", headers=HTMX))
    assert 'id="in-BG3"' not in later


def test_what_was_refused_without_javascript_stands_unfolded_in_its_field(sheet: BenchSheet, client_as: Any) -> None:
    response = post_check(client_as("technician"), sheet, htmx=False, check="continuity", position="BG3", ohms="many")
    assert response.status_code == 422
    assert re.search(r'id="ohms-BG3"[^>]*value="many"', words(response))


def test_doing_the_next_check_without_javascript_leads_to_its_unfolded_field(sheet: BenchSheet, client_as: Any) -> None:
    fields = {"pose": "open", "supply_volts": "12.6", "ignition": "on", "at": "pressed-BG3", "unfold": "BG3"}
    answer = client_as("technician").post(f"/sheets/{sheet.pk}/pose/", fields)
    assert answer["Location"] == f"/sheets/{sheet.pk}/?more=BG3#pressed-BG3"


def test_what_an_entry_moved_costs_no_query(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    client, page = client_as("technician"), f"/sheets/{sheet.pk}/"
    client.get(page)

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get(page)
        return len(queries)

    empty = count()
    check = add(sheet, tech, check="pin", position="BG3", volts=12.5)
    assert count() == empty
    services.check_strike(check=check, by=tech, why="wrong pin")
    assert count() == empty
