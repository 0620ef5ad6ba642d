"""How good suspects and next checks are, on simulated cars: `manage.py study_diagnosis [--seed N] [--json]`."""

import json
from argparse import ArgumentParser
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from diagnostics.engine.study import Summary, draw_cars, study
from diagnostics.engine.system.load import load_system

SIZES: Mapping[int, int] = {1: 200, 2: 100}
"""Cars by number of faults in each."""


class Command(BaseCommand):
    help = _("Simulate cars with known faults and say how often, and how soon, the suggested checks find them.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seed", type=int, default=1, help=_("Another number draws other cars."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of a table."))

    def handle(self, *args: Any, **options: Any) -> None:
        answer: dict[str, Any] = {"seed": options["seed"], "systems": {}}
        if not options["json"]:
            self.stdout.write(_HEAD)
        for path in sorted((settings.FIXTURES_DIR / "systems").glob("*.yaml")):
            system = load_system(path.read_text(encoding="utf-8"), path.name)
            for size, n in SIZES.items():
                result = study(system, draw_cars(system, n, size, options["seed"]))
                if not options["json"]:
                    self.stdout.write(_rows(system.system, size, result))
                plain = {
                    **result,
                    "suggested": asdict(result["suggested"]),
                    "fixed_order": asdict(result["fixed_order"]),
                }
                answer["systems"].setdefault(system.system, {})[str(size)] = plain
        if options["json"]:
            self.stdout.write(json.dumps(answer, indent=2))


_HEAD = (
    f"{'system':18}{'faults':>7} {'way':12}{'cars':>5}{'found':>7}{'fault 1st':>10}{'in 3':>6}{'all in 3':>9}"
    f"{'repair 1st':>11}{'in 3':>6}{'1st if found':>13}{'min':>7}{'checks':>7}"
)


def _rows(name: str, size: int, result: Mapping[str, Any]) -> str:
    lines = [_row(name, size, way, result[way]) for way in ("suggested", "fixed_order")]
    pairs = ", ".join(f"{r['from']:.0%}-{r['to']:.0%}: {r['true']}/{r['suspects']}" for r in result["calibration"])
    return "\n".join(
        [*lines, f"  minutes, suggested/fixed: {result['minutes_ratio']:.2f}; suspects that were true: {pairs}"]
    )


def _row(name: str, size: int, way: str, s: Summary) -> str:
    return (
        f"{name:18}{size:>7} {way:12}{s.cars:>5}{s.found:>7.0%}"
        f"{s.fault_first:>10.0%}{s.fault_in_three:>6.0%}{s.all_in_three:>9.0%}"
        f"{s.repair_first:>11.0%}{s.repair_in_three:>6.0%}{s.repair_first_when_found:>13.0%}"
        f"{s.minutes:>7.0f}{s.checks:>7.0f}"
    )
