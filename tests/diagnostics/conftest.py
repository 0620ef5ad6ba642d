import pytest

from diagnostics.models import BenchSheet, SystemRevision
from shop.models import Job, User
from tests.diagnostics.bench import opened, publish
from tests.diagnostics.fleet import make_fleet


@pytest.fixture
def revision(owner: User) -> SystemRevision:
    return publish(owner)


@pytest.fixture
def sheet(job: Job, tech: User, revision: SystemRevision) -> BenchSheet:
    return opened(job, tech)


@pytest.fixture
def fleet(job: Job, tech: User, owner: User) -> list[BenchSheet]:
    return make_fleet(job, tech, owner)
