"""Run the web server and the Celery worker together, and stop them together.

Run as `python -m reports.demo.serve PORT`. This process imports neither Django nor Celery, so that the two children are
all that takes memory. Each child has its own session: Ctrl-C in a terminal reaches this process alone, which then
asks both to finish what they are doing.
"""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from threading import Event
from types import FrameType

HOST = "127.0.0.1"
GRACE_SECONDS = 15.0
START_SECONDS = 60.0


def port_is_free(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def free_port() -> int:
    """A port that was free a moment ago."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
    return port


def server_command(port: int) -> list[str]:
    """One gunicorn worker with threads: SQLite has one writer, and memory counts once."""
    gunicorn = ["gunicorn", "shop.wsgi:application", "--bind", f"{HOST}:{port}", "--workers", "1"]
    threads = ["--worker-class", "gthread", "--threads", "4", "--no-control-socket", "--log-level", "warning"]
    return [sys.executable, "-m", *gunicorn, *threads]


def worker_command() -> list[str]:
    """One Celery worker that takes one task at a time in its own process; no talk with other workers, as there are
    none. It forks the clock (beat) for what is done at night, so that both share their memory."""
    alone = ["--pool", "solo", "--concurrency", "1", "--without-gossip", "--without-mingle", "--without-heartbeat"]
    # In a container everybody is root; the worker's advice against it would bury the address that people look for.
    python = [sys.executable, "-W", "ignore:You're running the worker with superuser privileges"]
    celery = [*python, "-m", "celery", "-A", "shop.celery", "--quiet"]
    return [*celery, "worker", "--beat", *alone, "--loglevel", "WARNING"]


@dataclass(frozen=True, slots=True)
class Child:
    name: str
    process: subprocess.Popen[bytes]


def _start(name: str, command: Sequence[str]) -> Child:
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "shop.settings"}
    process = subprocess.Popen(command, env=environment, start_new_session=True, stdin=subprocess.DEVNULL)  # noqa: S603
    return Child(name, process)


def _stop(children: Sequence[Child]) -> None:
    """Ask every child to finish, then insist."""
    processes = [child.process for child in children]
    for process in processes:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
    deadline = time.monotonic() + GRACE_SECONDS
    for process in processes:
        try:
            process.wait(max(0.1, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        # What a killed child had forked (a worker its clock) is left in the child's session.
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)


def _answers(port: int) -> bool:
    try:
        with socket.create_connection((HOST, port), timeout=1):
            return True
    except OSError:
        return False


def _watch(children: Sequence[Child], port: int, stop: Event) -> int:
    """Say the address once the server answers, then wait for `stop`. A child that ends by itself: exit code 1."""
    deadline = time.monotonic() + START_SECONDS
    said = False
    while not stop.wait(0.5 if said else 0.1):
        for child in children:
            if child.process.poll() is not None:
                code = child.process.returncode
                print(f"topwright: the {child.name} ended by itself (exit code {code})", file=sys.stderr)
                return 1
        if not said and _answers(port):
            print(f"Topwright is at http://{HOST}:{port}/ (Ctrl-C stops it)", flush=True)
            said = True
        if not said and time.monotonic() > deadline:
            print(f"topwright: the server did not answer within {START_SECONDS:.0f} s", file=sys.stderr)
            return 1
    return 0


def serve(port: int) -> int:
    """Server and worker until SIGINT, SIGTERM or SIGHUP; returns the exit code. No child outlives this call."""
    stop = Event()

    def ended(_number: int, _frame: FrameType | None) -> None:
        # A flag and no exception: a signal between the start of a child and its noting would leave an orphan.
        stop.set()

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, ended)
    children: list[Child] = []
    try:
        children.append(_start("server", server_command(port)))
        children.append(_start("worker", worker_command()))
        return _watch(children, port, stop)
    finally:
        _stop(children)


if __name__ == "__main__":
    sys.exit(serve(int(sys.argv[1])))
