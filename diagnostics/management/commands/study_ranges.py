"""How well production ranges are found, on simulated fleets: `manage.py study_ranges [--seed N] [--cars N…]`."""

import json
import os
from argparse import ArgumentParser
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from multiprocessing import get_context
from typing import Any

from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from diagnostics.learning.study import cells, markdown, outcomes, summary
from diagnostics.learning.study.cells import SIZES

REPEATS, CHUNK = 100, 5
"""Fleets of each kind; fleets handed to a process at a time."""


class Command(BaseCommand):
    help = _("Search simulated fleets with known production ranges: how often they are found, and how truly told.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=int, default=1, help=_("Another number draws other fleets."))
        parser.add_argument("--cars", type=int, nargs="+", default=list(SIZES), help=_("Sizes of the fleets."))
        parser.add_argument("--repeats", type=int, default=REPEATS, help=_("Fleets of each kind."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of a table."))

    def handle(self, *args: Any, **options: Any) -> None:
        # Fresh processes, not copies of this one: it may hold threads and a database connection.
        with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
            mapped = partial(pool.map, chunksize=CHUNK)
            rows = summary(outcomes(cells(options["cars"]), options["repeats"], options["seed"], mapped))
        if options["json"]:
            plain = {"seed": options["seed"], "repeats": options["repeats"], "rows": [asdict(row) for row in rows]}
            self.stdout.write(json.dumps(plain, indent=2))
        else:
            self.stdout.write(markdown(rows))
