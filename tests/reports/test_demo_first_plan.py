"""The demo's shelf plan: asked for once, when the demo is new, and left to the worker. Its certificates lead to it."""

import os
from typing import Any

import pytest
from django.core.management import call_command

from parts.models import ShelfPlan
from parts.selectors.plan import RUN_KIND
from reports.demo import serve
from reports.management.commands import demo
from reports.sealing import check_url
from shop.models import RunState, TaskRun

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("new", "asked"), [(True, 1), (False, 0)])
def test_the_first_plan_waits_for_the_worker(
    monkeypatch: pytest.MonkeyPatch, settings: Any, new: bool, asked: int
) -> None:
    monkeypatch.setenv("PUBLIC_URL", settings.PUBLIC_URL)  # else the command sets it for this whole process
    started: list[str] = []
    monkeypatch.setattr(demo, "load", lambda **_more: new)
    monkeypatch.setattr(demo.os, "execv", lambda path, _arguments: started.append(path))
    call_command("demo", "--port", str(serve.free_port()))
    assert len(started) == 1
    assert TaskRun.objects.filter(kind=RUN_KIND, state=RunState.QUEUED).count() == asked
    assert not ShelfPlan.objects.exists(), "no page waits for it"


@pytest.mark.parametrize("given", ["", "https://tops.example"])
def test_what_is_drawn_while_loading_leads_to_the_port_that_was_asked_for(
    monkeypatch: pytest.MonkeyPatch, settings: Any, given: str
) -> None:
    settings.PUBLIC_URL = settings.PUBLIC_URL  # put back afterwards
    monkeypatch.setattr(os, "environ", {**os.environ, "PUBLIC_URL": given} if given else _without_address())
    drawn: list[str] = []
    monkeypatch.setattr(demo, "load", lambda **_more: drawn.append(check_url("TW-2026-7K3M9QXZ-4")))
    monkeypatch.setattr(demo.os, "execv", lambda *_started: None)
    port = serve.free_port()
    call_command("demo", "--port", str(port))
    assert drawn == [f"{given or f'http://localhost:{port}'}/check/TW-2026-7K3M9QXZ-4/"]


def _without_address() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name != "PUBLIC_URL"}
