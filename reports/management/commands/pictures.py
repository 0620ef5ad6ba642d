"""`manage.py pictures`: the pictures of the README, taken from the demo as it really runs."""

import os
import subprocess
import sys
import tempfile
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from reports.demo import pictures, serve

FOLDER = settings.FIXTURES_DIR / "pictures"


class Command(BaseCommand):
    help = "Serve the demo from a temporary folder, and take the pictures of the README with the machine's Chromium."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--out", type=Path, default=FOLDER, metavar="DIR", help="folder (default: fixtures/pictures)"
        )

    def handle(self, *args: Any, out: Path, **options: Any) -> None:
        try:
            pictures.tools()
        except pictures.MissingToolError as error:
            raise CommandError(str(error), returncode=2) from error
        with tempfile.TemporaryDirectory(prefix="topwright-") as folder, _demo(Path(folder)) as address:
            for path in pictures.take(address, out):
                self.stdout.write(f"{path} ({path.stat().st_size // 1000} kB)")


@contextmanager
def _demo(folder: Path) -> Iterator[str]:
    """The demo on a free port with its data in `folder`, whatever database this process is set to; its address."""
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    port = serve.free_port()
    process = subprocess.Popen(  # noqa: S603 - our own command
        [sys.executable, "manage.py", "demo", "--port", str(port)],
        cwd=settings.BASE_DIR,
        env=environment | {"TOPWRIGHT_DATA": str(folder)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None  # noqa: S101 - asked for above
    address = f"http://{serve.HOST}:{port}"
    try:
        if not any(address in line for line in process.stdout):
            raise CommandError(_("The demo ended before it could be served."))
        yield address
    finally:
        process.terminate()
        process.wait()
