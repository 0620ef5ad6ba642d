"""Says what is wrong with top system files, or what they declare: `manage.py check_system FILE… [--json]`."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diagnostics.engine.faults import faults_of
from diagnostics.engine.system import Position, TopSystem
from diagnostics.engine.system.fluid import remarks_of
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.marked import MAX_CHARACTERS
from diagnostics.engine.system.problems import Problem, SystemFileError
from diagnostics.engine.system.series import twin_of
from diagnostics.engine.wiring import cable_ohm

_MOST_BYTES = 4 * MAX_CHARACTERS
"""A character of UTF-8 has four bytes at most; nothing longer is read at all."""


class Command(BaseCommand):
    help = _("Check top system files: every mistake with its line, or one line of what the system has.")
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE", help=_("A system file (YAML); - reads standard input."))
        parser.add_argument("--json", action="store_true", help=_("Write one JSON object instead of lines."))

    def handle(self, *args: Any, **options: Any) -> None:
        answers = [_checked(name) for name in options["files"]]
        if options["json"]:
            self.stdout.write(json.dumps({"files": answers}, ensure_ascii=False, indent=2))
        else:
            for answer in answers:
                self.stdout.write("\n".join(_lines(answer)))
        if not all(answer["valid"] for answer in answers):
            sys.exit(2)


def _checked(name: str) -> dict[str, Any]:
    """What one file is: `{file, valid, problems: [{line, path, words}], remarks: [{path, words}],
    system: {…} | null}`. A remark is no mistake: something that a person should look at again."""
    source = "<stdin>" if name == "-" else name
    try:
        system = load_system(_text(name, source), source)
    except SystemFileError as error:
        problems = [{"line": one.line, "path": one.path, "words": one.words} for one in error.problems]
        return {"file": source, "valid": False, "problems": problems, "remarks": [], "system": None}
    remarks = [{"path": ".".join(path), "words": words} for path, words in remarks_of(system)]
    return {"file": source, "valid": True, "problems": [], "remarks": remarks, "system": _summary(system)}


def _text(name: str, source: str) -> str:
    try:
        if name == "-":
            data = sys.stdin.buffer.read(_MOST_BYTES + 1)
        else:
            with Path(name).open("rb") as file:
                data = file.read(_MOST_BYTES + 1)
    except OSError as error:
        raise _unreadable(source, 1, _("The file cannot be read: {why}.").format(why=error.strerror)) from None
    except ValueError:  # a null byte in the name
        raise _unreadable(source, 1, _("This is no name of a file.")) from None
    if len(data) > _MOST_BYTES:
        words = _("The file is larger than {most} bytes; a system file is far smaller.").format(most=_MOST_BYTES)
        raise _unreadable(source, 1, words)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _unreadable(source, line, _("This is no UTF-8 text; save the file as UTF-8.")) from None


def _unreadable(source: str, line: int, words: str) -> SystemFileError:
    return SystemFileError([Problem(source, line, "", words)])


def _summary(system: TopSystem) -> dict[str, Any]:
    return {
        "system": system.system,
        "title": system.title,
        "kind": system.kind,
        "revision": system.revision,
        "positions": len(system.positions),
        "sensors": len(system.wired()),
        "faults": len(faults_of(system)),
        "steps": {name: len(motion.steps) for name, motion in system.motions.items()},
        "pins": [_pin(code, position, twin_of(system, code)) for code, position in system.sensors().items()],
    }


def _pin(code: str, position: Position, twin: str | None) -> dict[str, Any]:
    """A sensor's pin with the most that its sound wire reads in ohms, the meter's leads not counted; `twin`: the switch
    in series with it."""
    pin = position.pin
    assert pin is not None  # noqa: S101 - `sensors()` gives only positions with a pin
    ohms = round(cable_ohm(pin.area_mm2, pin.length_m), 3)
    found = {"position": code, "pin": pin.label, "colours": list(pin.colours), "wire_ohm_at_most": ohms}
    return found | ({"in_series": twin} if twin else {})


def _lines(answer: dict[str, Any]) -> list[str]:
    if answer["valid"]:
        words = _(
            "{file}: {system} revision {revision}: {positions} positions, {sensors} sensors, {faults} possible faults, "
            "{opening} steps to open and {closing} to close; both motions run."
        )
        steps = answer["system"]["steps"]
        lines = [words.format(file=answer["file"], **answer["system"], opening=steps["open"], closing=steps["close"])]
        return lines + [_("  Mind: {words}").format(words=one["words"]) for one in answer["remarks"]]
    problems = [str(Problem(answer["file"], one["line"], one["path"], one["words"])) for one in answer["problems"]]
    words = ngettext(
        "{file}: {count} mistake; what builds on this entry is checked when it is mended.",
        "{file}: {count} mistakes; what builds on these entries is checked when they are mended.",
        len(problems),
    )
    return [*problems, words.format(file=answer["file"], count=len(problems))]
