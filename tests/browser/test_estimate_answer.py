"""A customer answers an estimate on a telephone, behind the link alone."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from shop.models import Job, LineAnswer, User
from tests.shop.estimating import sent

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_customer_answers_with_the_keyboard_and_sees_it_kept(
    page: Page, live_server: Any, job: Job, counter: User
) -> None:
    _version, token = sent(job, counter)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}/e/{token}/")
    for answer, group in (("Approve", "1. Labour"), ("Decline", "2. Part")):
        page.get_by_role("group", name=group).get_by_label(answer).press("Space")
    page.get_by_label("Name").fill("Ada Quill")
    page.get_by_label("Name").press("Enter")
    expect(page.get_by_role("heading", name="Is this right?")).to_be_visible()
    page.get_by_role("button", name="Yes, send my answer").press("Enter")
    expect(page.get_by_role("heading", name="What you answered")).to_be_visible()
    kept = LineAnswer.objects.order_by("line__number").values_list("answer", "name")
    assert list(kept) == [("approved", "Ada Quill"), ("declined", "Ada Quill")]
