"""The demo's shelf plan: asked for once, when the demo is new, and left to the worker."""

import pytest
from django.core.management import call_command

from parts.models import ShelfPlan
from parts.selectors.plan import RUN_KIND
from reports.demo import serve
from reports.management.commands import demo
from shop.models import RunState, TaskRun

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("new", "asked"), [(True, 1), (False, 0)])
def test_the_first_plan_waits_for_the_worker(monkeypatch: pytest.MonkeyPatch, new: bool, asked: int) -> None:
    started: list[str] = []
    monkeypatch.setattr(demo, "load", lambda **_more: new)
    monkeypatch.setattr(demo.os, "execv", lambda path, _arguments: started.append(path))
    call_command("demo", "--port", str(serve.free_port()))
    assert len(started) == 1
    assert TaskRun.objects.filter(kind=RUN_KIND, state=RunState.QUEUED).count() == asked
    assert not ShelfPlan.objects.exists(), "no page waits for it"
