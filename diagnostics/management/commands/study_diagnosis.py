"""How good suspects and next checks are, on simulated cars: `manage.py study_diagnosis [--seed N] [--json]`."""

import json
import os
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from multiprocessing import get_context
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from diagnostics.engine.study import Summary, draw_cars, study
from diagnostics.engine.system.load import load_system

SIZES: Mapping[int, int] = {1: 200, 2: 100}
"""Cars by number of faults in each."""
CHUNK = 10
"""Cars handed to a process at a time."""


class Command(BaseCommand):
    help = _("Follow simulated cars with known faults until they run: how often the suspects are right, and how soon.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=int, default=1, help=_("Another number draws other cars."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of a table."))

    def handle(self, *args: Any, **options: Any) -> None:
        answer: dict[str, Any] = {"seed": options["seed"], "systems": {}}
        if not options["json"]:
            self.stdout.write(_HEAD)
        # Fresh processes, not copies of this one: it may hold threads and a database connection.
        with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
            mapped = partial(pool.map, chunksize=CHUNK)
            for path in sorted((settings.FIXTURES_DIR / "systems").glob("*.yaml")):
                system = load_system(path.read_text(encoding="utf-8"), path.name)
                for size, n in SIZES.items():
                    result = study(system, draw_cars(system, n, size, options["seed"]), mapped)
                    if not options["json"]:
                        self.stdout.write("\n".join(_rows(system.system, size, result)))
                    plain = {**result, "ways": {way: asdict(summary) for way, summary in result["ways"].items()}}
                    answer["systems"].setdefault(system.system, {})[str(size)] = plain
        if options["json"]:
            self.stdout.write(json.dumps(answer, indent=2))


_HEAD = (
    f"{'system':18}{'faults':>7} {'way':12}{'cars':>5}{'found':>7}{'1st true':>9}{'repair right':>13}{'wasted':>7}"
    f"{'ran':>6}{'sound':>7}{'min':>6}{'search':>8}{'checks':>7}"
)


def _rows(name: str, size: int, result: Mapping[str, Any]) -> Iterator[str]:
    yield from (_row(name, size, way, summary) for way, summary in result["ways"].items())
    for what, words in (("searching_ratio", "search"), ("minutes_ratio", "whole car")):
        ratios = ", ".join(f"{ratio:.2f} of {way}" for way, ratio in result[what].items())
        yield f"  median minutes, {words}: {ratios}"
    pairs = (f"{r['from']:.0%}-{r['to']:.0%}: {r['true']}/{r['suspects']}" for r in result["calibration"])
    yield "  suspects that were true: " + ", ".join(pairs)


def _row(name: str, size: int, way: str, s: Summary) -> str:
    return (
        f"{name:18}{size:>7} {way:12}{s.cars:>5}{s.found:>7.0%}{s.fault_first:>9.1%}{s.repair_right:>13.1%}"
        f"{s.wasted:>7.2f}{s.ran:>6.0%}{s.sound:>7.0%}{s.minutes:>6.0f}{s.searching:>8.0f}{s.checks:>7.0f}"
    )
