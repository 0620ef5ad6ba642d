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
from diagnostics.learning.records import Learned, PartModel, Range, month_words
from diagnostics.selectors.computed import learned_of_shop
from diagnostics.services.learning import sheets_read

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
    sheets_read()
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
    yield _("{checks} observations of {units} units in {cars} cars").format(
        checks=learned.checks, units=learned.units, cars=learned.cars
    )
    yield _("Production ranges:")
    yield from [_range_line(model, one) for model in learned.models for one in model.ranges] or ["  " + _("none")]
    yield _("Models:")
    yield from [_model_line(model) for model in learned.models] or ["  " + _("none")]
    if learned.skipped:
        yield _("Rows that were not taken: {count}").format(count=len(learned.skipped))
        for skipped in learned.skipped[:SHOWN_ROWS]:
            yield "  " + _("row {row}: {why}").format(row=skipped.row, why=skipped.why)


def _range_line(model: PartModel, one: Range) -> str:
    told = _(
        "  {probability} {places} {part} {mode}: {first} to {last} fails {ratio:.1f} times as often"
        " ({low:.1f} to {high:.1f}); {mark}"
    )
    marks = {"confirmed": _("confirmed"), "dismissed": _("dismissed")}
    return told.format(
        probability=f"{one.probability:6.1%}",
        places=" ".join(model.population.positions),
        part=model.population.part,
        mode=model.population.mode,
        first=month_words(one.first),
        last=month_words(one.last),
        ratio=one.ratio.estimate,
        low=one.ratio.low,
        high=one.ratio.high,
        mark=marks.get(one.state) or (_("found") if one.found else _("not sure")),
    )


def _model_line(model: PartModel) -> str:
    population = model.population
    told = _(
        "  {places} {part} {mode}, {which}: {failed} of {units} failed, shape {shape:.2f}, scale {scale:.1f} years"
    )
    return told.format(
        places=" ".join(population.positions),
        part=population.part,
        mode=population.mode or _("no failure"),
        which=_("original") if population.original else _("fitted or mended later"),
        failed=model.tally.failed,
        units=model.tally.units,
        shape=model.fit.shape,
        scale=model.fit.scale_years,
    )
