"""Browser tests drive the machine's own Chromium against a live server with the embedded default."""

import os
import shutil
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.conftest import PASSWORD

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

# Playwright's sync API runs an event loop in this thread; the tests touch the ORM between its calls, never inside one.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in item.nodeid:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None and not os.environ.get("CI"):
                item.add_marker(pytest.mark.skip(reason="no Chromium on this machine"))


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    assert CHROMIUM, "Chromium is missing; in CI that is a failure"
    quiet = [
        "--no-sandbox",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
    ]
    return {"executable_path": CHROMIUM, "args": quiet}


@pytest.fixture
def sign_in(page: Page, live_server: Any) -> Callable[[str], Page]:
    """Sign a person in through the form, as they would; the cast's password is the one of tests/conftest.py."""

    def as_person(username: str) -> Page:
        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_label("Username").fill(username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "sign-in" not in url)
        return page

    return as_person
