"""A code before the telephone's camera, at the shelf and at goods in; and what is said where there is no camera.

The browser's own reader of codes is missing in this Chromium, so the camera and what it reads are played; everything
between them and the shelf is the page's own."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from parts.codes import label_code
from parts.models import Stock
from shop.models import User
from tests.parts.shelving import a_part, put

pytestmark = pytest.mark.django_db(transaction=True)

SEES = """
window.tracks = [];
navigator.mediaDevices.getUserMedia = async (asked) => {
  window.asked = asked;
  const stream = document.createElement('canvas').captureStream(5);
  window.tracks.push(...stream.getTracks());
  return stream;
};
Object.defineProperty(HTMLMediaElement.prototype, 'readyState', { get: () => 4 });
HTMLMediaElement.prototype.play = async () => {};
let looks = 0;
window.BarcodeDetector = class { async detect() { looks += 1; return looks < 3 ? [] : [{ rawValue: CODE }]; } };
"""
FORBIDDEN = """
navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('no', 'NotAllowedError'); };
window.BarcodeDetector = class { async detect() { return []; } };
"""


def seeing(page: Page, code: str) -> None:
    page.add_init_script(SEES.replace("CODE", f"'{code}'"))


def test_a_label_before_the_camera_leads_to_its_part(
    parts_user: User, sign_in: Callable[[str], Page], live_server: Any
) -> None:
    part = a_part(parts_user, "TW-SEA-0042")
    page = sign_in("parts")
    seeing(page, label_code(part.number))
    page.goto(f"{live_server.url}/shelf/")
    page.get_by_role("button", name="Scan with the camera").click()
    page.wait_for_url("**/shelf/TW-SEA-0042/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("TW-SEA-0042")


def test_goods_are_taken_in_by_camera_and_one_number(
    parts_user: User, sign_in: Callable[[str], Page], live_server: Any
) -> None:
    part = a_part(parts_user, "TW-SEA-0042", place="B 3")
    put(part, parts_user, 1)
    page = sign_in("parts")
    seeing(page, label_code(part.number))
    page.goto(f"{live_server.url}/shelf/goods-in/")
    page.get_by_role("button", name="Scan with the camera").click()
    page.wait_for_url("**code=**")
    page.get_by_label("Pieces").fill("4")
    page.get_by_role("button", name="Book it, then the next").click()
    expect(page.get_by_text("It goes to B 3.")).to_be_visible()
    assert Stock.objects.get(part=part).shelf == 5


def test_the_camera_is_let_go_when_it_is_stopped(
    parts_user: User, sign_in: Callable[[str], Page], live_server: Any
) -> None:
    a_part(parts_user)
    page = sign_in("parts")
    page.add_init_script(SEES.replace("looks < 3", "true").replace("CODE", "''"))
    page.goto(f"{live_server.url}/shelf/")
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.get_by_text("Hold the code before the camera.")).to_be_visible()
    page.get_by_role("button", name="Stop the camera").click()
    expect(page.get_by_role("button", name="Scan with the camera")).to_be_visible()
    assert page.evaluate("window.tracks.map((one) => one.readyState)") == ["ended"]
    assert page.evaluate("window.asked.video.facingMode") == "environment"


def test_a_camera_that_may_not_be_used_says_so_and_typing_works(
    parts_user: User, sign_in: Callable[[str], Page], live_server: Any
) -> None:
    a_part(parts_user, "TW-SEA-0042")
    page = sign_in("parts")
    page.add_init_script(FORBIDDEN)
    page.goto(f"{live_server.url}/shelf/")
    page.get_by_role("button", name="Scan with the camera").click()
    expect(page.get_by_text("The camera may not be used")).to_be_visible()
    field = page.get_by_label("Find a part")
    field.fill("tw-sea-0042")
    field.press("Enter")
    page.wait_for_url("**/shelf/TW-SEA-0042/")


def test_a_browser_that_reads_no_codes_offers_typing(
    parts_user: User, sign_in: Callable[[str], Page], live_server: Any
) -> None:
    a_part(parts_user)
    page = sign_in("parts")
    page.add_init_script("delete window.BarcodeDetector")
    page.goto(f"{live_server.url}/shelf/")
    expect(page.get_by_text("This browser reads no codes with the camera")).to_be_visible()
    expect(page.get_by_role("button", name="Scan with the camera")).to_be_hidden()
