"""The bench sheet by keys and by ear: what only a browser shows of what moved, undone, unfolded and drawn."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import BrowserContext, Page, expect

from diagnostics import services
from diagnostics.models import BenchSheet, Check
from shop.models import Job, User
from tests.diagnostics.bench import add, opened, publish

pytestmark = pytest.mark.django_db(transaction=True)

# What a screen reader would be told: every change inside the place that is read out.
LISTEN = """() => {
  const place = document.getElementById("changed");
  window.heard = [];
  new MutationObserver((all) => {
    if (all.some((one) => one.addedNodes.length)) window.heard.push(place.textContent.trim());
  }).observe(place, { childList: true, subtree: true });
}"""


@pytest.fixture
def sheet(job: Job, tech: User, owner: User) -> BenchSheet:
    publish(owner)
    return opened(job, tech)


@pytest.fixture
def as_person(context: BrowserContext, live_server: Any) -> Iterator[Callable[[User, str], Page]]:
    """A page of somebody who is signed in; no script of it may fail."""
    failed: list[str] = []

    def go(user: User, path: str) -> Page:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: failed.append(str(error)))
        page.goto(f"{live_server.url}{path}")
        return page

    yield go
    assert failed == []


def test_what_moved_is_announced_once_and_not_again_when_something_else_changes(
    sheet: BenchSheet, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.evaluate(LISTEN)
    add(sheet, owner, check="pin", position="BG3", volts=12.5)
    expect(page.locator("#changed")).to_contain_text("BG3 Lid shut: never makes", timeout=10_000)
    # The pose that somebody sets comes to this page as well, and moves no suspect.
    services.sheet_set_pose(sheet=sheet, by=owner, pose="open", supply_volts=12.5, ignition_on=True)
    expect(page.locator("#gives-BG10")).to_contain_text("made", timeout=10_000)
    heard = page.evaluate("window.heard")
    assert len(heard) == 1
    assert "Because: BG3 reads released" in heard[0]


def test_whoever_may_only_read_hears_it_once_too_and_keeps_open_what_they_opened(
    sheet: BenchSheet, tech: User, counter: User, as_person: Callable[[User, str], Page]
) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    page = as_person(counter, sheet.get_absolute_url())
    page.evaluate(LISTEN)
    page.locator("#suspects summary").first.click()
    opened_one = page.locator("#suspects details[open]").get_attribute("id")
    services.sheet_set_pose(sheet=sheet, by=tech, pose="open", supply_volts=12.5, ignition_on=True)
    expect(page.locator("#gives-BG10")).to_contain_text("made", timeout=10_000)
    assert page.evaluate("window.heard") == []
    assert page.locator("#suspects details[open]").get_attribute("id") == opened_one


def test_the_keys_are_listed_on_a_question_mark_and_can_be_switched_off(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    panel = page.get_by_role("dialog", name="Keys on this sheet")
    page.locator("#volts-BG1").focus()
    page.keyboard.press("?")
    expect(panel).to_be_visible()
    page.keyboard.press("Escape")
    expect(panel).to_be_hidden()
    expect(page.locator("#volts-BG1")).to_be_focused()
    expect(page.locator("#volts-BG1")).to_have_value("")
    page.get_by_role("button", name="Keys").click()
    panel.get_by_label("Single keys work on this device").uncheck()
    panel.get_by_role("button", name="Close").click()
    page.reload()
    page.locator("#volts-BG1").focus()
    page.keyboard.press("?")
    expect(panel).to_be_hidden()
    expect(page.locator("#volts-BG1")).to_have_value("?")


def test_undo_and_enter_again_by_keys(sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG3").focus()
    page.keyboard.type("12.5")
    page.keyboard.press("Enter")
    expect(page.locator("#changed")).to_contain_text("BG3 Lid shut")
    expect(page.locator("#volts-BG4")).to_be_focused()
    page.keyboard.press("u")
    expect(page.locator("#redo")).to_be_visible()
    expect(page.locator("#changed")).to_contain_text("Because this was taken back")
    assert Check.objects.get().struck_at is not None
    page.keyboard.press("r")
    expect(page.locator("#volts-BG3")).to_be_focused()
    expect(page.locator("#volts-BG3")).to_have_value("12.5")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict-BG3")).to_contain_text("12.5 V")
    assert Check.objects.filter(struck_at=None).count() == 1


def test_undo_stands_beside_the_pin_and_gives_way_to_enter_again(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#verdict-BG3").get_by_role("button", name="Undo").click()
    again = page.locator("#verdict-BG3").get_by_role("link", name="Enter it again")
    expect(again).to_be_focused()
    assert Check.objects.get().struck_why == "undone by tech"
    page.keyboard.press("Enter")
    expect(page.locator("#volts-BG3")).to_be_focused()
    expect(page.locator("#volts-BG3")).to_have_value("12.5")


def test_poses_next_pin_and_next_check_by_keys(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG1").focus()
    page.keyboard.press("ArrowDown")
    expect(page.locator("#volts-BG2")).to_be_focused()
    page.keyboard.press("ArrowUp")
    expect(page.locator("#volts-BG1")).to_be_focused()
    page.keyboard.press("p")
    expect(page.get_by_role("button", name="closed", exact=True)).to_be_focused()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#gives-BG10")).to_contain_text("made")  # the stack is stowed
    expect(page.locator("#volts-BG1")).to_be_focused()  # the first pin that is unread in this pose
    first = page.locator("#next [data-focus]").first
    target, is_link = first.get_attribute("data-focus"), first.evaluate("one => one.tagName === 'A'")
    page.keyboard.press("n")
    field = f"#{target} > summary" if str(target).startswith("trial-") else f"#{target}"
    expect(page.locator(field) if is_link else first.locator("button")).to_be_focused()


def test_a_letter_in_a_field_that_says_something_is_a_letter(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#more-BG1 summary").click()
    page.locator("#words-BG1").focus()
    page.keyboard.type("unsure?")
    expect(page.locator("#words-BG1")).to_have_value("unsure?")
    page.locator("#volts-BG1").fill("1")
    page.keyboard.type("n")
    expect(page.locator("#volts-BG1")).to_have_value("1n")
    expect(page.get_by_role("dialog", name="Keys on this sheet")).to_be_hidden()


def test_folded_fields_are_there_when_the_network_is_not(
    sheet: BenchSheet, tech: User, context: BrowserContext, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#ohms-BG1").wait_for(state="attached")
    context.set_offline(True)
    page.locator("#more-BG1 summary").click()
    page.locator("#ohms-BG1").fill("0.4")
    page.keyboard.press("Enter")
    expect(page.locator("#waiting")).to_contain_text("BG1 0.4")
    context.set_offline(False)
    expect(page.locator("#waiting")).to_be_hidden(timeout=10_000)
    assert [check.observation["ohms"] for check in Check.objects.all()] == [0.4]


def test_a_contradiction_brings_to_the_field_of_the_entry_to_repeat(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    add(sheet, tech, check="pin", position="BG3", volts=0.1)
    add(sheet, tech, check="pin", position="BG3", volts=12.5)
    page = as_person(tech, sheet.get_absolute_url())
    page.get_by_role("link", name=re.compile("Repeat entry")).click()
    expect(page.locator("#volts-BG3")).to_be_focused()
    page.get_by_role("link", name=re.compile("^Entry 1: ")).click()
    expect(page.locator(f"#check-{Check.objects.earliest('pk').pk}")).to_be_in_viewport()


def test_drawings_come_when_unfolded_and_follow_the_pose(
    sheet: BenchSheet, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    expect(page.locator("#drawings-fold svg")).to_have_count(0)
    page.locator("#drawings-fold > summary").click()
    expect(page.locator("#drawings-fold svg").first).to_be_visible()
    with page.expect_request("**/drawings/**", timeout=10_000):
        services.sheet_set_pose(sheet=sheet, by=owner, pose="open", supply_volts=12.5, ignition_on=True)
    expect(page.locator("#drawings-fold svg").first).to_be_visible()


@pytest.mark.parametrize(
    "blocked",
    [
        "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); }",
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } })",
    ],
    ids=["full", "forbidden"],
)
def test_a_device_that_stores_nothing_still_sends_what_is_entered(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page], context: BrowserContext, blocked: str
) -> None:
    context.add_init_script(blocked)
    page = as_person(tech, sheet.get_absolute_url())
    page.fill("#volts-BG3", "0.2")
    page.press("#volts-BG3", "Enter")
    expect(page.locator("#verdict-BG3")).to_contain_text("0.2 V", timeout=10_000)
    assert sheet.checks.count() == 1


def test_too_much_text_is_refused_at_its_row_and_holds_up_nothing_behind_it(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page], settings: Any
) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 4000
    page = as_person(tech, sheet.get_absolute_url())
    page.fill("#volts-BG1", "1" * 5000)
    page.press("#volts-BG1", "Enter")
    page.fill("#volts-BG3", "0.2")
    page.press("#volts-BG3", "Enter")
    expect(page.locator("#verdict-BG3")).to_contain_text("0.2 V", timeout=10_000)
    expect(page.locator("#pin-BG1 .error")).to_contain_text("not taken: That is too much text")
    assert sheet.checks.count() == 1


def test_after_a_refused_supply_the_cursor_stays_at_the_mistake(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.fill("#supply", "abc")
    page.press("#supply", "Enter")
    expect(page.locator("#said")).to_contain_text("“abc” is no number")
    page.wait_for_timeout(200)  # the cursor would have gone by now
    expect(page.locator("#supply")).to_be_focused()
    page.fill("#supply", "12.6")
    page.press("#supply", "Enter")
    expect(page.locator("#volts-BG1")).to_be_focused()
