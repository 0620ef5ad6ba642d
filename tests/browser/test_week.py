"""The week under pointer and keyboard: what is dragged is placed by the server, or stays."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from shop.models import Bay, Job, User
from tests.shop.bays import a_booking, at

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("how", ["pointer", "keyboard"])
def test_a_booking_goes_to_another_bay_and_time(
    live_server: Any, sign_in: Callable[[str], Page], job: Job, tech: User, how: str
) -> None:
    booking, pit = a_booking(job, today=False), Bay.objects.create(name="Pit")
    page = sign_in("tech")
    page.set_viewport_size({"width": 1440, "height": 1600})
    page.goto(f"{live_server.url}/floor/week/?day=2030-07-01")
    block = page.locator(f"#b{booking.pk}")
    if how == "keyboard":
        block.focus()
        for key in ("ArrowDown", "ArrowDown", "ArrowRight", "Shift+ArrowDown"):
            page.keyboard.press(key)
        assert page.locator("#wk-said").text_content() == "Pit, 2030-07-02, 09:30"
        page.keyboard.press("Enter")
    else:
        there = page.locator(f'.wk-day[data-row="{pit.pk}"][data-day="2030-07-02"]').bounding_box()
        here = block.bounding_box()
        assert there
        assert here
        page.mouse.move(here["x"] + 20, here["y"] + 5)
        page.mouse.down()
        page.mouse.move(here["x"] + 40, here["y"] + 40)
        page.mouse.move(there["x"] + 20, there["y"] + 5 + 1.5 * 48)
        page.mouse.up()
    page.wait_for_url("**#b*")
    booking.refresh_from_db()
    assert (booking.bay, _hour(booking)) == (pit, 9.5)
    assert booking.starts_at.date() == at(9.5).date().replace(day=2)
    page.get_by_role("button", name="Take back").click()
    page.get_by_text("Booked:").wait_for()
    booking.refresh_from_db()
    assert (booking.bay.name, booking.starts_at) == ("Lift 1", at(9))


def _hour(booking: Any) -> float:
    return float(booking.starts_at.hour + booking.starts_at.minute / 60)
