"""Reading a top system file: text in, a system that is known to work out, or every mistake with its line.

Three rounds, each only when the one before found nothing, since a later round's complaints would only be echoes: how
the file is written, the shape of its entries, and whether it makes sense (references, rules, the run without faults).
"""

from typing import Any

from pydantic import ValidationError

from diagnostics.engine.system.marked import Marked, read_marked
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.problems import Finding, Problem, SystemFileError
from diagnostics.engine.system.sentences import finding_of
from diagnostics.engine.system.validate import findings_of
from diagnostics.engine.words import _

__all__ = ["Problem", "SystemFileError", "load_system"]


def load_system(text: str, source: str) -> TopSystem:
    """The system that `text` (YAML) declares; `source` names the file in messages.

    Raises SystemFileError, and nothing else whatever the text.
    """
    marked = read_marked(text)
    if marked.findings:
        raise SystemFileError([_problem(source, line, finding) for line, finding in marked.findings])
    if not isinstance(marked.value, dict):
        words = _("The file holds no named entries; expected a top system that begins with “system: <its name>”.")
        raise SystemFileError([Problem(source, 1, "", words)])
    try:
        system = TopSystem.model_validate(marked.value)
    except ValidationError as error:
        raise _failed(source, marked, _shape_findings(error)) from None
    findings = findings_of(system)
    if findings:
        raise _failed(source, marked, findings)
    return system


def _shape_findings(error: ValidationError) -> list[Finding]:
    entries: list[Any] = error.errors(include_url=False)
    return [finding_of(entry) for entry in entries]


def _failed(source: str, marked: Marked, findings: list[Finding]) -> SystemFileError:
    return SystemFileError([_problem(source, marked.line_of(path), (path, words)) for path, words in findings])


def _problem(source: str, line: int, finding: Finding) -> Problem:
    path, words = finding
    return Problem(source, line, ".".join(part[:60] for part in path), words)
