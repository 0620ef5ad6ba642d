"""The base app in a browser: what htmx and our own small script do, and what remains without JavaScript."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from shop.models import Car, Job, User
from shop.runs import run_claim, run_finish, run_queue, run_step
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)
SignIn = Callable[[str], Page]


@pytest.fixture(autouse=True)
def _console(page: Page) -> Any:
    """A blocked script or style (content policy) shows on the console; none may."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    yield
    assert [line for line in said if "Content Security Policy" in line] == []


def test_a_car_is_found_as_one_types_from_any_page(sign_in: SignIn, car: Car) -> None:
    page = sign_in("counter")
    page.get_by_role("searchbox").press_sequentially("tw14")
    expect(page.locator("#found").get_by_role("link", name="Halden Brise")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#found")).to_be_empty()
    page.get_by_role("searchbox").fill("quill")
    page.locator("#found").get_by_role("link", name="Halden Brise").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Halden Brise")


def test_the_tour_goes_by_keyboard_and_stays_away(sign_in: SignIn, tech: User) -> None:
    page = sign_in("tech")
    tour = page.get_by_role("region", name="Tour of Topwright")
    expect(tour.get_by_role("heading")).to_have_text("The floor")
    expect(tour.get_by_role("button", name="Back")).to_be_hidden()
    tour.get_by_role("button", name="Next").focus()
    page.keyboard.press("Enter")
    expect(tour.get_by_role("heading", name="Find a car")).to_be_focused()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(tour.get_by_role("heading")).to_have_text("Prove it")
    page.keyboard.press("Escape")
    expect(tour).to_have_count(0)
    page.reload()
    expect(tour).to_have_count(0)
    page.locator("details.who > summary").press("Enter")
    page.get_by_role("link", name="Show the tour").click()
    expect(tour).to_be_visible()


def test_the_first_tab_stop_skips_to_the_content(sign_in: SignIn, tech: User) -> None:
    page = sign_in("tech")
    page.reload()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#main")).to_be_focused()


def test_a_lost_connection_is_said_and_what_was_typed_stays(sign_in: SignIn, car: Car) -> None:
    page = sign_in("counter")
    page.context.set_offline(True)
    page.get_by_role("searchbox").press_sequentially("tw14")
    expect(page.locator("#messages")).to_contain_text("The connection was lost. What you typed is still here")
    expect(page.get_by_role("searchbox")).to_have_value("tw14")
    page.context.set_offline(False)
    page.locator("#messages").get_by_role("button", name="Close").click()
    expect(page.locator("#messages")).to_be_empty()


def test_a_run_is_followed_to_its_end(sign_in: SignIn, live_server: Any, job: Job, tech: User) -> None:
    run = run_queue(kind="certificate", title="Certificate", by=tech, job=job, total=2)
    page = sign_in("tech")
    page.goto(live_server.url + run.get_absolute_url())
    expect(page.locator("#run")).to_contain_text("Waiting for the worker")
    run_claim(run)
    run_step(run, "Drawing the proof matrix")
    expect(page.locator("#run")).to_contain_text("Drawing the proof matrix")
    run_finish(run, result_url=job.get_absolute_url())
    page.get_by_role("link", name="Look at the result").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(job.title)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_targets_are_large_enough_on_a_phone_and_nothing_runs_off_it(
    sign_in: SignIn, page: Page, live_server: Any, job: Job, tech: User, scheme: Any
) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": 390, "height": 844})
    sign_in("tech")
    for address in ("/", "/cars/", job.car.get_absolute_url(), job.get_absolute_url(), "/cars/new/"):
        page.goto(live_server.url + address)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), address
        small = page.evaluate(
            """[...document.querySelectorAll('.btn, .nav a, input:not([type=hidden], [type=checkbox]), select')]
            .filter(e => e.checkVisibility({visibilityProperty: true}) && !e.matches('.skip'))
            .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height])
            .filter(([, height]) => height < 44)"""
        )
        assert small == [], address


def test_the_same_job_without_javascript(browser: Browser, live_server: Any, car: Car, tech: User) -> None:
    page = browser.new_context(java_script_enabled=False, base_url=live_server.url).new_page()
    page.goto("/")
    page.get_by_label("Username").fill("tech")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Close the tour").click()
    page.get_by_role("searchbox").fill("tw14")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Halden Brise").click()
    page.get_by_role("link", name="Open a job").click()
    page.get_by_label("The job in a few words").fill("Lid stays open")
    page.get_by_role("button", name="Open the job").click()
    page.get_by_label("Note", exact=True).fill("Props are in the boot.")
    page.get_by_role("button", name="Keep the note").click()
    expect(page.locator("#notes")).to_contain_text("Props are in the boot.")
    page.context.close()
