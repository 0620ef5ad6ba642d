"""What fails when, and in which production range: `manage.py learn [OBSERVATIONS.csv] [--json]`."""

import json
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError
from django.utils.translation import gettext as _

from diagnostics.learning.answer import as_json
from diagnostics.learning.learn import learn
from diagnostics.learning.observations import NoObservationsError, read_observations
from diagnostics.learning.records import Learned, month_words
from diagnostics.selectors.computed import learned_of_shop
from diagnostics.services.sightings import sightings_refresh

SHOWN_ROWS = 20
"""Skipped rows that are told one by one without --json."""


class Command(BaseCommand):
    help = _("Learn failure patterns from a file of observations (CSV; - reads standard input), or from this database.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "observations", metavar="OBSERVATIONS.csv", nargs="?", help=_("Without it: this shop’s own checks.")
        )
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of lines."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            learned = _from_file(options["observations"]) if options["observations"] else _from_shop()
        except NoObservationsError as error:
            self._refuse(str(error))
        except DatabaseError as error:
            self._refuse(_("The database cannot be read: {why}.").format(why=str(error).splitlines()[0]))
        if options["json"]:
            self.stdout.write(json.dumps(as_json(learned), ensure_ascii=False, indent=2))
        else:
            self.stdout.write("\n".join(_lines(learned)))

    def _refuse(self, words: str) -> None:
        self.stderr.write(" ".join(words.split()))
        sys.exit(2)


def _from_shop() -> Learned:
    """Nothing of it is kept: the models that the pages use are kept by the learning in the background."""
    sightings_refresh()
    return learned_of_shop(lambda _done, _total, _words: None)


def _from_file(name: str) -> Learned:
    if name == "-":
        text = TextIOWrapper(sys.stdin.buffer, encoding="utf-8-sig", newline="")
        observations, skipped = read_observations(text)
    else:
        try:
            with Path(name).open(encoding="utf-8-sig", newline="") as file:
                observations, skipped = read_observations(file)
        except (OSError, ValueError) as error:
            if isinstance(error, NoObservationsError):
                raise
            why = getattr(error, "strerror", None) or str(error)
            raise NoObservationsError(_("{name} cannot be read: {why}.").format(name=name[:200], why=why)) from None
    return learn(observations, skipped=skipped)


def _lines(learned: Learned) -> Iterator[str]:
    yield _("{checks} observations of {units} units").format(checks=learned.checks, units=learned.units)
    yield _("Production ranges")
    for model in learned.models:
        for one in model.ranges:
            told = _(
                "{part} at {positions}, {mode}: {first} to {last}, hazard ratio {ratio:.1f} ({low:.1f} to {high:.1f})"
            )
            words = told.format(
                part=model.population.part,
                positions=" ".join(model.population.positions),
                mode=model.population.mode,
                first=month_words(one.first),
                last=month_words(one.last),
                ratio=one.ratio.estimate,
                low=one.ratio.low,
                high=one.ratio.high,
            )
            mark = _("found") if one.found else _("not sure")
            yield f"  {one.probability:6.1%}  {words}; {mark}, {one.state}"
    if not any(model.ranges for model in learned.models):
        yield "  " + _("none")
    yield _("Models")
    for model in learned.models:
        population = model.population
        which = _("original") if population.original else _("later")
        told = _("{failed} of {units} failed, shape {shape:.2f}, scale {scale:.1f} years")
        numbers = told.format(
            failed=model.tally.failed, units=model.tally.units, shape=model.fit.shape, scale=model.fit.scale_years
        )
        places = " ".join(population.positions)
        yield f"  {population.system} {places} {population.part} {which} {population.mode}: {numbers}"
    if learned.skipped:
        yield _("Rows that were not taken: {count}").format(count=len(learned.skipped))
        for skipped in learned.skipped[:SHOWN_ROWS]:
            yield _("  row {row}: {why}").format(row=skipped.row, why=skipped.why)
