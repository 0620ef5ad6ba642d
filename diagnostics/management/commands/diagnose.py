"""Suspects and next checks of one case: `manage.py diagnose CASE.json [--json]`."""

import json
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import DatabaseError
from django.utils.translation import gettext as _

from diagnostics.engine.answer import as_json
from diagnostics.engine.case import parse_case
from diagnostics.engine.errors import CaseError
from diagnostics.engine.inference import diagnose
from diagnostics.engine.results import Diagnosis, NextCheck
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.problems import SystemFileError
from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from diagnostics.selectors.failure_model import LearnedPriors, priors_of_case

MOST_BYTES = 20 * 1024 * 1024
MOST_WORDS = 400
SHOWN = 8


class Command(BaseCommand):
    help = _("Say what is wrong with a top, and what to check next, from a case file (- reads standard input).")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("case", metavar="CASE.json", help=_("A case file (JSON); - reads standard input."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of lines."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            diagnosis, start = _diagnosed(options["case"])
        except CaseError as error:
            words = " ".join(str(error).split())
            self.stderr.write(words if len(words) <= MOST_WORDS else words[:MOST_WORDS] + "…")
            sys.exit(2)
        if options["json"]:
            answer = {**as_json(diagnosis), "priors": _start(start)}
            self.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2))
        else:
            self.stdout.write("\n".join(_lines(diagnosis)))


def _diagnosed(name: str) -> tuple[Diagnosis, LearnedPriors]:
    """Of a case, from what this shop has learned of such a top, else from trade defaults."""
    case = parse_case(_decoded(name))
    system = _system(case.system)
    try:
        start = priors_of_case(system, case)
    except DatabaseError:  # a clone whose database nobody has made yet can diagnose all the same
        start = LearnedPriors()
    return diagnose(system, case, priors=start.chances), start


def _start(start: LearnedPriors) -> dict[str, Any]:
    if start.learning is None:
        return {"from": "trade defaults"}
    return {"from": "learned", "learned_at": start.learning.learned_at.isoformat(), "cars": start.cars}


def _decoded(name: str) -> Any:
    try:
        if name == "-":
            data = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            with Path(name).open("rb") as file:
                data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise CaseError(_("{name} cannot be read: {why}.").format(name=name, why=error.strerror)) from None
    if len(data) > MOST_BYTES:
        raise CaseError(_("The case is larger than {most} bytes.").format(most=MOST_BYTES))
    try:
        return json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise CaseError(_("The case is no UTF-8 text.")) from None
    except json.JSONDecodeError as error:
        words = _("The case is no JSON: {what}, line {line}, column {column}.")
        raise CaseError(words.format(what=error.msg, line=error.lineno, column=error.colno)) from None
    except (RecursionError, ValueError):  # nested beyond reason, or a number of thousands of digits
        raise CaseError(
            _("The case is no JSON that can be read: it is nested too deep or a number is too long.")
        ) from None


def _system(name: str) -> TopSystem:
    """The system that a case names: a file, else a published revision (the newest), else one of those that come with
    it."""
    path = Path(name)
    if "\0" not in name and len(name) < 1000 and path.is_file():
        return _loaded(path)
    published = _published(name)
    if published is not None:
        return published
    shipped = {file.stem: file for file in (settings.FIXTURES_DIR / "systems").glob("*.yaml")}
    if name in shipped:
        return _loaded(shipped[name])
    words = _("system: there is no file and no published system “{name}”; {known} come with the program.")
    raise CaseError(words.format(name=name[:80], known=", ".join(sorted(shipped))))


def _loaded(path: Path) -> TopSystem:
    try:
        return load_system(path.read_text(encoding="utf-8"), str(path))
    except SystemFileError as error:
        raise CaseError(_("system: {problem}").format(problem=error.problems[0])) from None
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(_("system: {path} cannot be read: {why}.").format(path=path, why=error)) from None


def _published(slug: str) -> TopSystem | None:
    try:
        revision = SystemRevision.objects.filter(slug=slug[:60]).order_by("-revision").first()
    except DatabaseError:  # a clone whose database nobody has made yet can diagnose all the same
        return None
    return system_of(revision) if revision is not None else None


def _lines(diagnosis: Diagnosis) -> Iterator[str]:
    yield from (_("Mind: {words}").format(words=words) for words in diagnosis.all_warnings)
    yield _("Suspects")
    for suspect in diagnosis.suspects[:SHOWN]:
        yield f"  {suspect.probability:6.1%}  {suspect.words}"
        for reason in suspect.reasons_for[:2]:
            yield "           + " + reason.words
        for reason in suspect.reasons_against[:1]:
            yield "           - " + reason.words
    yield f"  {diagnosis.nothing_wrong:6.1%}  " + _("nothing wrong")
    yield _("Next checks")
    for check in diagnosis.next_checks[:SHOWN]:
        what = f"{check.check} {check.position or check.motion}" + _where(check)
        numbers = _("{minutes:.1f} min, {bits:.2f} bits").format(minutes=check.minutes, bits=check.bits)
        yield f"  {what}: {numbers}. {check.why}"
        if check.caution:
            yield "           ! " + check.caution


def _where(check: NextCheck) -> str:
    if check.pose is None:
        return ""
    pose = check.pose if isinstance(check.pose, str) else ", ".join(f"{a} {p}" for a, p in check.pose.items())
    return f" ({pose})"
