"""A worried owner with a phone: from the first page to thanks, and what the counter finds a moment later."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from diagnostics.models import Enquiry
from shop.models import Car, ShopProfile, User
from tests.diagnostics.bench import publish

pytestmark = pytest.mark.django_db(transaction=True)


def test_an_owner_tells_by_phone_and_the_counter_makes_it_a_job(
    page: Page, live_server: Any, owner: User, counter: User, car: Car, sign_in: Callable[[str], Page]
) -> None:
    ShopProfile.objects.create(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14\n40999 Halden")
    publish(owner)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}/tell/")
    expect(page.get_by_text("Do not force the top, neither by hand")).to_be_visible()
    page.get_by_role("link", name="Retractable hardtop").click()
    _answer(page, "What does the top not do?", "It does not close")
    _answer(page, "How far does it get?", "2. The lid opens to the rear")
    expect(page.get_by_role("heading", level=1)).to_have_text("Is everything in its place that you move by hand?")
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("How far does it get?")
    _answer(page, "How far does it get?", "2. The lid opens to the rear")
    for _question in range(4):
        if not page.get_by_role("button", name="Go on").is_visible():
            break
        _answer(page, page.get_by_role("heading", level=1).inner_text(), "I do not know")
    expect(page.get_by_role("heading", name="What it probably is")).to_be_visible()
    page.get_by_label("Your name").fill("Oda Marchbank")
    page.get_by_label("Telephone").fill("555 0170")
    page.get_by_label("You may keep this").check()
    page.wait_for_timeout(2500)  # nobody types faster than the form believes
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_role("heading", name="It is with us")).to_be_visible()
    enquiry = Enquiry.objects.get()
    assert enquiry.answers["stops"] == "raise-lid"
    _make_it_a_job(sign_in("counter"), car)
    enquiry.refresh_from_db()
    assert enquiry.job is not None
    assert enquiry.job.car == car


def _answer(page: Page, asked: str, said: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(asked)
    here = page.url
    page.get_by_label(said).check()
    page.get_by_role("button", name="Go on").click()
    page.wait_for_url(lambda url: url != here)
    expect(page.get_by_role("heading", level=1)).not_to_have_text(asked)


def _make_it_a_job(page: Page, car: Car) -> None:
    page.get_by_role("link", name="1 enquiry waits for an answer").click()
    page.get_by_role("link", name="Oda Marchbank").click()
    page.get_by_label("Any part of VIN, plate or owner").last.fill("tw 14")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("button", name=f"Job on {car.vin}").click()
    expect(page.get_by_text("is booked, with what was told as its complaint")).to_be_visible()
    expect(page.get_by_text("What was told beforehand")).to_be_visible()
    expect(page.get_by_role("heading", name="Parts that it may need")).to_be_visible()


def test_the_counter_sees_the_suspects_change_with_each_answer(
    page: Page, live_server: Any, owner: User, counter: User, sign_in: Callable[[str], Page]
) -> None:
    publish(owner)
    sign_in("counter")
    page.goto(f"{live_server.url}/enquiries/ask/?system=rht-trio")
    page.get_by_label("How far does it get?").select_option("close:raise-lid")
    ranked = page.locator("#ranked")
    expect(ranked).to_contain_text("BG4")
    page.get_by_label("What did you hear").select_option("runs")
    expect(ranked).not_to_contain_text("GP1 Pump with tank, turning both ways: is dead")
    page.get_by_label("What did you hear").select_option("silent")
    expect(ranked).to_contain_text("GP1 Pump with tank, turning both ways: is dead")
