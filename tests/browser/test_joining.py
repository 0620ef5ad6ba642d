"""From an invitation's address to a sign-in with a code, in a browser: it sends what no test client does."""

from typing import Any

import pyotp
import pytest
from playwright.sync_api import Page

from shop import services
from shop.models import User

pytestmark = pytest.mark.django_db(transaction=True)

PASSWORD = "a-long-way-round"


def test_an_invited_owner_joins_sets_up_the_second_factor_and_signs_in_with_it(
    page: Page, live_server: Any, owner: User, settings: Any
) -> None:
    settings.SECOND_FACTOR = True
    _made, token = services.invitation_make(by=owner, name="Ida Holt", email="ida@post.example", role="owner")
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.goto(f"{live_server.url}/join/{token}/")
    page.get_by_label("Username").fill("ida")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("Password confirmation").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()
    page.wait_for_url("**/account/second-factor/")  # nothing else opens
    picture = page.locator("svg.qr").bounding_box()
    assert picture
    assert picture["width"] > 150
    secret = page.locator("figcaption .mono").inner_text().replace(" ", "")
    page.get_by_label("Code that the app shows now").fill(pyotp.TOTP(secret).now())
    page.get_by_role("button", name="Set it up").click()
    recovery = page.locator("li.mono").all_inner_texts()
    assert len(recovery) == 10
    page.get_by_role("link", name="I have them").click()
    page.wait_for_url("**/account/")
    page.locator("details.who > summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Username").fill("ida")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_label("Password").press("Enter")
    page.wait_for_url("**/sign-in/code/")
    page.get_by_label("Code").fill(recovery[0])
    page.get_by_label("Code").press("Enter")
    page.wait_for_url(f"{live_server.url}/")
    assert said == []
