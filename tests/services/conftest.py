"""A Celery worker as its own process, on the broker and the database that this test run uses.

The embedded default gives SQLite and the file-system broker; DATABASE_URL and REDIS_URL switch to PostgreSQL and Redis.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from django.conf import settings as django_settings
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]
WAIT_SECONDS = 60.0

# The cast of certificates: a job with checks on a shipped system.
from tests.reports.conftest import checked, enter, sheet, shop_profile  # noqa: E402, F401


def database_url() -> str:
    """The address of the test database for a process of its own."""
    known = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{known['NAME']}"
    who = quote(str(known["USER"])) + (f":{quote(str(known['PASSWORD']))}" if known["PASSWORD"] else "")
    return f"postgres://{who}@{known['HOST']}:{known['PORT'] or 5432}/{known['NAME']}"


@pytest.fixture
def worker(transactional_db: None, settings: Any) -> Iterator[subprocess.Popen[bytes]]:
    settings.MEDIA_ROOT = django_settings.DATA_DIR / "files"  # where the worker keeps its files
    environment = {**os.environ, "DATABASE_URL": database_url(), "TOPWRIGHT_DATA": str(django_settings.DATA_DIR)}
    command = [sys.executable, "-m", "celery", "-A", "shop.celery", "--quiet", "worker", "--pool", "solo"]
    alone = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "ERROR"]
    process = subprocess.Popen([*command, *alone], cwd=ROOT, env=environment, start_new_session=True)
    yield process
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


@pytest.fixture
def wait_for(worker: subprocess.Popen[bytes]) -> Callable[[Callable[[], bool]], None]:
    """Wait until something is so, or say that the worker died or took too long."""

    def until(holds: Callable[[], bool]) -> None:
        deadline = time.monotonic() + WAIT_SECONDS
        while not holds():
            assert worker.poll() is None, f"the worker ended by itself, exit code {worker.returncode}"
            assert time.monotonic() < deadline, "the worker did not do it in time"
            time.sleep(0.1)

    return until
