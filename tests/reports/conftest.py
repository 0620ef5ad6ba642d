"""A job with a real bench sheet on a shipped system, and what turns asking into issuing within a test."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Check
from shop.models import Job, ShopProfile, User
from tests.reports import sample


@pytest.fixture
def shop_profile(db: None) -> ShopProfile:
    return ShopProfile.objects.create(
        pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14\n40999 Halden", phone="0000 123456"
    )


@pytest.fixture
def sheet(job: Job, tech: User, owner: User, shop_profile: ShopProfile) -> BenchSheet:
    path = sample.SYSTEMS / "rht-trio.yaml"
    bench.system_publish(text=path.read_text(), source=path.name, by=owner)
    return bench.sheet_open(job=job, by=tech)


@pytest.fixture
def enter(sheet: BenchSheet, tech: User) -> Callable[..., Check]:
    def entered(**observation: Any) -> Check:
        return bench.check_add(sheet=sheet, by=tech, observation=observation, entry_id=uuid.uuid4())

    return entered


@pytest.fixture
def checked(job: Job, enter: Callable[..., Check]) -> Job:
    """A job with a look, two readings (one of them wrong) and a motion that stops."""
    enter(check="pin", position="BG3", pose="closed", volts=0.05, supply_volts=12.4)
    enter(check="pin", position="BG8", pose="open", volts=12.2, supply_volts=12.4)
    enter(check="motion", motion="close", stops_at="raise-stack", lamp="flashing", seconds={"release-lid": 0.8})
    enter(check="look", position="MM3", found="nothing")
    return job


@pytest.fixture
def issued_at_once(django_capture_on_commit_callbacks: Any, settings: Any) -> Any:
    """`with issued_at_once:` what is queued on commit runs in this process, as a worker would run it."""
    from shop.celery import app

    app.conf.task_always_eager = True
    yield django_capture_on_commit_callbacks(execute=True)
    app.conf.task_always_eager = False
