"""Server and worker as the demo runs them: real processes over the file-system queue, in a data folder of their own."""

import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings

from reports.demo import serve

SECONDS = 60.0
"""Patience, not a bar: a busy machine only makes the test slow."""


def _until(condition: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + SECONDS
    while not condition():
        assert time.monotonic() < deadline, what
        time.sleep(0.1)


def _is_alive(pid: int) -> bool:
    """Whether the process runs; one that has ended and only waits to be fetched does not."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return False
    return stat.rsplit(")", 1)[1].split()[0] != "Z"


def _children(pid: int) -> list[int]:
    """All processes below `pid`, children of children too."""
    found = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True, check=False).stdout.split()
    return [one for child in map(int, found) for one in (child, *_children(child))]


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    clean = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    return clean | {"TOPWRIGHT_DATA": str(tmp_path / "data"), "DJANGO_SETTINGS_MODULE": "shop.settings"}


def _manage(environment: dict[str, str], *arguments: str) -> None:
    command = [sys.executable, "manage.py", *arguments]
    done = subprocess.run(
        command, cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=False, timeout=SECONDS
    )
    assert done.returncode == 0, done.stderr


@pytest.fixture
def served(environment: dict[str, str]) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """The demo's processes on an empty database, with one message in the queue from before they started."""
    _manage(environment, "migrate", "--verbosity", "0")
    _manage(environment, "shell", "-c", _QUEUE)
    port = serve.free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "reports.demo.serve", str(port)],
        cwd=settings.BASE_DIR,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process, port
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=SECONDS)


_QUEUE = """
from django.utils import timezone
from reports.tasks import certificate_issue_task
from shop.models import TaskRun
run = TaskRun.objects.create(kind="certificate", title="left over", queued_at=timezone.now())
certificate_issue_task.delay(str(run.pk), 0)
"""


def test_it_serves_works_off_the_queue_and_leaves_no_orphan(
    served: tuple[subprocess.Popen[str], int], environment: dict[str, str]
) -> None:
    process, port = served
    messages = Path(environment["TOPWRIGHT_DATA"]) / "queue" / "messages"
    assert list(messages.iterdir()), "the message from before waits in the folder"
    assert process.stdout is not None
    assert re.fullmatch(rf"Topwright is at http://127\.0\.0\.1:{port}/ .*\n", process.stdout.readline())
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=SECONDS) as answer:
        assert answer.status == 200
        assert "Sign in" in answer.read().decode()
    _until(lambda: not list(messages.iterdir()), "the worker took the message")
    family = _children(process.pid)
    assert len(family) >= 4, "gunicorn, its worker, the Celery worker and its clock"
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=SECONDS) == 0
    _until(lambda: not any(map(_is_alive, family)), "no process outlives the demo")
    assert serve.port_is_free(port)


def test_when_one_ends_by_itself_the_other_ends_too(served: tuple[subprocess.Popen[str], int]) -> None:
    process, _port = served
    assert process.stdout is not None
    process.stdout.readline()
    family = _children(process.pid)
    worker = next(pid for pid in family if b"celery" in Path(f"/proc/{pid}/cmdline").read_bytes())
    _until(lambda: bool(_children(worker)), "the worker has forked its clock")
    family = _children(process.pid)
    os.kill(worker, signal.SIGKILL)
    assert process.wait(timeout=SECONDS) == 1
    assert process.stderr is not None
    assert "the worker ended by itself" in process.stderr.read()
    _until(lambda: not any(map(_is_alive, family)), "no process outlives the demo")
