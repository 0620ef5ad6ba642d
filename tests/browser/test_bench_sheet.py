"""The bench sheet under real hands: one keystroke a reading, the network gone, two people on one sheet."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import BrowserContext, Page, expect

from diagnostics import services
from diagnostics.models import BenchSheet, Check
from shop.models import Job, User
from tests.diagnostics.bench import add, opened, publish

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def sheet(job: Job, tech: User, owner: User) -> BenchSheet:
    publish(owner)
    return opened(job, tech)


@pytest.fixture
def as_person(context: BrowserContext, live_server: Any) -> Callable[[User, str], Page]:
    """A page of somebody who is signed in."""

    def go(user: User, path: str) -> Page:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
        context.add_cookies([cookie])
        page = context.new_page()
        page.goto(f"{live_server.url}{path}")
        return page

    return go


def test_nine_readings_take_their_digits_and_one_key_each(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    keys = 0
    page.locator("#supply").click()
    keys += 1
    page.keyboard.press("Enter")  # the supply stands there already
    keys += 1
    expect(page.locator("#volts-BG1")).to_be_focused()
    for n in range(1, 10):
        expect(page.locator(f"#volts-BG{n}")).to_be_focused()
        for key in "0.1":
            page.keyboard.press(key)
        page.keyboard.press("Enter")
        keys += len("0.1") + 1
    # A process that has just started makes the tables of the system with the first entry.
    expect(page.locator("#verdict-BG9")).to_contain_text("0.1 V", timeout=20_000)
    expect(page.locator("#volts-BG10")).to_be_focused()
    assert keys == 2 + 9 * 4
    assert Check.objects.filter(kind="pin").count() == 9
    readings = {check.position: check.observation["volts"] for check in Check.objects.all()}
    assert readings == {f"BG{n}": 0.1 for n in range(1, 10)}


def test_entries_made_without_network_are_kept_said_and_sent_once(
    sheet: BenchSheet, tech: User, context: BrowserContext, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    context.set_offline(True)
    page.locator("#volts-BG1").fill("0.1")
    page.keyboard.press("Enter")
    page.locator("#volts-BG2").fill("12.5")
    page.keyboard.press("Enter")
    expect(page.locator("#waiting")).to_contain_text("No connection")
    expect(page.locator("#waiting")).to_contain_text("BG1 0.1 · BG2 12.5")
    expect(page.locator("#pin-BG2")).to_contain_text("waiting to be sent")
    assert not Check.objects.exists()
    context.set_offline(False)
    expect(page.locator("#waiting")).to_be_hidden(timeout=10_000)
    expect(page.locator("#verdict-BG2")).to_contain_text("12.5 V")
    assert sorted(Check.objects.values_list("position", flat=True)) == ["BG1", "BG2"]


def test_entries_survive_a_closed_page_and_an_answer_that_was_lost(
    sheet: BenchSheet, tech: User, context: BrowserContext, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    # The entry arrives, its answer does not: it is sent again, and kept once.
    taken: list[int] = []

    def lose_the_answer(route: Any) -> None:
        if taken:
            route.continue_()
            return
        taken.append(route.fetch().status)
        route.abort()

    page.route("**/checks/", lose_the_answer)
    page.locator("#volts-BG1").fill("0.1")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict-BG1")).to_contain_text("0.1 V", timeout=10_000)
    assert taken == [200]
    assert Check.objects.count() == 1
    context.set_offline(True)
    page.locator("#volts-BG3").fill("0.2")
    page.keyboard.press("Enter")
    expect(page.locator("#waiting")).to_be_visible()
    page.close()
    context.set_offline(False)
    page = as_person(tech, sheet.get_absolute_url())
    expect(page.locator("#verdict-BG3")).to_contain_text("0.2 V", timeout=10_000)
    assert Check.objects.count() == 2


def test_a_refused_entry_comes_back_into_its_field(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG1").fill("1o.4")
    page.keyboard.press("Enter")
    expect(page.locator("#pin-BG1")).to_contain_text("is no number")
    expect(page.locator("#volts-BG1")).to_have_value("1o.4")
    assert not Check.objects.exists()


def test_what_somebody_else_enters_appears_and_takes_no_field_away(
    sheet: BenchSheet, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG4").fill("11.")
    add(sheet, owner, check="pin", position="BG2", volts=12.5)
    expect(page.locator("#verdict-BG2")).to_contain_text("12.5 V", timeout=10_000)
    expect(page.locator("#volts-BG4")).to_be_focused()
    page.keyboard.type("9")
    expect(page.locator("#volts-BG4")).to_have_value("11.9")


def test_a_pose_that_somebody_else_sets_does_not_change_what_is_being_typed(
    sheet: BenchSheet, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG1").fill("0.1")
    services.sheet_set_pose(sheet=sheet, by=owner, pose="open", supply_volts=12.6, ignition_on=True)
    expect(page.locator("#now")).to_contain_text(re.compile("How the car stands.*open", re.DOTALL), timeout=10_000)
    expect(page.locator("#gives-BG2")).to_contain_text("made")
    expect(page.locator("#gives-BG1")).to_contain_text("made")
    page.locator("#volts-BG1").press("Enter")
    expect(page.locator("#entries")).to_contain_text("BG1")
    assert Check.objects.get().observation["pose"] == "closed"
    expect(page.locator("#gives-BG1")).to_contain_text("released")  # sent: now the row shows the new pose as well


def test_a_refused_trial_keeps_its_step_and_its_seconds(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#trial-close > summary").click()
    page.locator("#entry-close").get_by_label("stopped at: The parcel shelf swings clear").check()
    page.locator("#seconds-close-raise-lid").fill("quick")
    page.get_by_role("button", name="Save the trial").last.click()
    expect(page.locator("#trial-close")).to_contain_text("“quick” is no number")
    expect(page.locator("#seconds-close-raise-lid")).to_have_value("quick")
    expect(page.locator("#entry-close input[value=clear-shelf]")).to_be_checked()
    assert not Check.objects.exists()


def test_do_it_opens_the_right_field_in_the_right_pose(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    add(sheet, tech, check="pin", position="BG11", volts=0.1)
    page = as_person(tech, sheet.get_absolute_url())
    button = page.locator("#next .btn-main").first
    form = page.locator("#next form[data-focus]").first
    target = button.get_attribute("data-focus") or form.get_attribute("data-focus")
    assert target
    button.click()
    focused = page.locator(f"#{target}")
    expect(focused).to_be_visible()
    expect(focused if not target.startswith("trial-") else focused.locator("summary").first).to_be_focused()


def test_enter_beside_the_ohms_saves_the_ohms(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    page.locator("#volts-BG1").fill("7")  # typed, not sent: another group of the same row must not take it along
    page.locator("#more-BG1 summary").click()
    page.locator("#ohms-BG1").fill("0.4")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict-BG1")).to_contain_text(re.compile("Continuity"))
    expect(page.locator("#volts-BG1")).to_have_value("7")
    assert page.locator("#more-BG1").get_attribute("open") is not None
    assert Check.objects.get().observation["ohms"] == 0.4


def test_from_the_open_sheet_to_the_ninth_reading(
    job: Job, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    """The whole way by keyboard: supply, then nine readings; the cursor stands in the supply when the page opens."""
    publish(owner)
    fresh = opened(job, tech, supply=None)
    page = as_person(tech, fresh.get_absolute_url())
    expect(page.locator("#supply")).to_be_focused()
    page.keyboard.type("12.6")
    page.keyboard.press("Enter")
    for n in range(1, 10):
        expect(page.locator(f"#volts-BG{n}")).to_be_focused()
        page.keyboard.type("0.1")
        page.keyboard.press("Enter")
    expect(page.locator("#verdict-BG9")).to_contain_text("0.1 V")
    # Another pose: on to the first pin that has no reading there.
    page.get_by_role("button", name="open", exact=True).first.click()
    expect(page.locator("#volts-BG1")).to_be_focused()


def test_entries_of_one_person_are_not_sent_in_anothers_name(
    sheet: BenchSheet, tech: User, owner: User, as_person: Callable[[User, str], Page]
) -> None:
    page = as_person(tech, sheet.get_absolute_url())
    # Aborted on its way out, so that nothing of it can have arrived: going offline may come a moment too late for that.
    page.route("**/*", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.locator("#volts-BG1").fill("0.1")
    page.keyboard.press("Enter")
    expect(page.locator("#waiting")).to_be_visible()
    page.close()
    page = as_person(owner, sheet.get_absolute_url())
    page.locator("#volts-BG2").fill("12.5")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict-BG2")).to_contain_text("12.5 V")
    assert list(Check.objects.values_list("position", "by__username")) == [("BG2", "owner")]
    page.close()
    page = as_person(tech, sheet.get_absolute_url())
    expect(page.locator("#verdict-BG1")).to_contain_text("0.1 V")
    assert Check.objects.get(position="BG1").by == tech


def test_a_refusal_is_in_sight_where_the_form_stands_and_goes_with_the_next_that_is_taken(
    sheet: BenchSheet, tech: User, as_person: Callable[[User, str], Page]
) -> None:
    check = add(sheet, tech, check="battery", volts=12.6)
    page = as_person(tech, sheet.get_absolute_url())
    page.locator(f"#strike-{check.pk} > summary").click()
    services.check_strike(check=check, by=tech, why="charger was on")
    page.locator(f"#why-{check.pk}").fill("late")
    page.locator(f"#strike-{check.pk} button").click()
    expect(page.locator("#said")).to_contain_text("struck this entry out already")
    expect(page.locator("#said")).to_be_in_viewport(ratio=1)
    page.locator("#battery-volts").fill("12.5")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_be_empty()
