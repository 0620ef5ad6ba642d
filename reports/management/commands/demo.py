"""`manage.py demo`: everything a stranger needs to see Topwright at work, on one command."""

import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from parts.tasks import plan_nightly
from reports.demo import people, serve
from reports.demo.load import load
from shop.errors import Conflict

DEFAULT_PORT = 8000


class Command(BaseCommand):
    help = "Migrate, load the demo shop (once), print the address and the sign-ins, and serve it with its worker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="port on 127.0.0.1 (default: %(default)s)")
        parser.add_argument("--no-server", action="store_true", help="load and print the sign-ins only")

    def handle(self, *args: Any, port: int, no_server: bool, **options: Any) -> None:
        if not no_server:
            _refuse_busy(port)
            # Printed on what is issued, while loading and from then on: a code that is scanned leads to this demo.
            os.environ.setdefault("PUBLIC_URL", f"http://localhost:{port}")
            settings.PUBLIC_URL = os.environ["PUBLIC_URL"]
        call_command("migrate", interactive=False, verbosity=0)
        try:
            new = load(say=self._say)
        except Conflict as error:
            raise CommandError(error.words, returncode=2) from error
        self._say(_("The demo shop is loaded.") if new else _("The demo shop is there already; nothing was changed."))
        self._print_sign_ins()
        if not no_server:
            if new:
                plan_nightly()  # the worker makes the first plan while people look at the first pages
            # This process has done its work and hands its place to one that needs little memory.
            sys.stdout.flush()
            os.execv(sys.executable, [sys.executable, "-m", serve.__name__, str(port)])  # noqa: S606 - our own module

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _print_sign_ins(self) -> None:
        self._say(_("Sign in as one of:"))
        for username, password, first, last, role in people.SIGN_INS:
            self._say(f"  {username:<8} {password:<18} {first} {last}, {role}")
        self._say(
            _("These four sign in without a second factor. In a real shop the parts manager and the owner need one.")
        )


def _refuse_busy(port: int) -> None:
    if not 1 <= port <= 65535:
        raise CommandError(_("--port {port}: expected a port from 1 to 65535.").format(port=port), returncode=2)
    if not serve.port_is_free(port):
        raise CommandError(
            _("Port {port} on {host} is taken by another program. Stop it, or choose another with --port.").format(
                port=port, host=serve.HOST
            ),
            returncode=2,
        )
