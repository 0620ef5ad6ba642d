"""The step player by keyboard, and the editor in a browser: what is typed is what is published."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from diagnostics.models import SystemDraft, SystemRevision
from shop.models import User
from tests.diagnostics.bench import publish

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_arrow_keys_go_from_step_to_step(owner: User, sign_in: Callable[[str], Page], live_server: object) -> None:
    publish(owner)
    page = sign_in("owner")
    page.goto(f"{live_server.url}/systems/rht-trio/play/?motion=close")  # type: ignore[attr-defined]
    title = page.locator("#frame-title")
    expect(title).to_contain_text("1 of ")
    page.keyboard.press("ArrowRight")
    expect(title).to_contain_text("2 of ")
    expect(page.locator("#player-said")).to_contain_text("Under way.")
    page.keyboard.press("ArrowRight")
    expect(title).to_contain_text("3 of ")
    page.keyboard.press("ArrowLeft")
    expect(title).to_contain_text("2 of ")
    assert "step=1" in page.url
    page.go_back()
    expect(title).to_contain_text("3 of ")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    # In a list to choose from, the arrows choose: the motion stays where it is.
    page.get_by_label("Fault 1").focus()
    page.keyboard.press("ArrowRight")
    expect(title).to_contain_text("3 of ")
    page.get_by_label("Fault 1").select_option("BG4:never-makes")
    page.get_by_role("button", name="Play to where it stops").press("Enter")
    expect(page.get_by_text("Does not end: BG4 is reported released")).to_be_visible()
    expect(page.get_by_role("heading", name="What the customer would tell")).to_be_visible()
    # A link that has the focus keeps it from step to step.
    page.locator("#step-back").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#step-on")).to_be_visible()
    assert page.evaluate("document.activeElement.id") == "step-back"


def test_a_revision_from_the_text_to_the_note(owner: User, sign_in: Callable[[str], Page], live_server: object) -> None:
    first = publish(owner)
    page = sign_in("owner")
    page.goto(f"{live_server.url}/systems/rht-trio/")  # type: ignore[attr-defined]
    page.get_by_role("link", name="New revision").click()
    field = page.get_by_label("Text of the system file")
    text = field.input_value().replace("pull_up_ohm: 1000", "pull_up_ohm: 2200")
    field.fill(text)
    page.get_by_role("button", name="Keep as a draft").click()
    expect(page.get_by_text("Module: pull-up in Ω 1000, now 2200.")).to_be_visible()
    page.get_by_label("What changed and why").fill("The newer module pulls up with 2.2 kΩ.")
    page.get_by_role("button", name="Publish revision 3").click()
    expect(page.get_by_text("Revision 3 is published.")).to_be_visible()
    newest = SystemRevision.objects.get(revision=3)
    assert newest.text == text
    assert newest.text == first.text.replace("revision: 2", "revision: 3").replace("_ohm: 1000", "_ohm: 2200")
    assert not SystemDraft.objects.exists()
