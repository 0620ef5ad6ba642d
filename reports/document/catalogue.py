"""What can stand on a certificate, read out of the source, against the translation files.

`python -m reports.document.catalogue` says for each language what is missing, unused or wrong. With `--add` the missing
sentences are put at the end of its file, to be translated there.
"""

import ast
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from string import Formatter
from typing import Final

from reports.document.languages import ENGLISH, catalogue, languages
from reports.document.po import Entry, entries

ROOT: Final = Path(__file__).parents[2]
OTHER_PAPERS: Final = frozenset(
    {
        "bench_kit.py", "bench_list.py", "estimate.py", "job_sheet.py", "pin_card.py", "ranges.py", "sheet_kit.py",
        "work_report.py",
    }
)  # fmt: skip
"""In `draw`: papers of their own, which are no certificates."""
WHOLE: Final = (
    "diagnostics/engine/faults.py",
    "diagnostics/engine/hold.py",
    "diagnostics/engine/inspection/asked.py",
    "diagnostics/engine/inspection/items.py",
    "diagnostics/engine/inspection/plan.py",
    "diagnostics/engine/levels.py",
    "diagnostics/engine/poses.py",
    "diagnostics/engine/signals.py",
    "diagnostics/paper/frame.py",
    "diagnostics/paper/kit.py",
    "reports/document/archive.py",
    "reports/evidence.py",
    "reports/gather.py",
    "reports/sealing.py",
)
PARTS: Final[Mapping[str, frozenset[str]]] = {
    "diagnostics/charts/words.py": frozenset(
        {"month_name", "months_phrase", "interval_words", "percent_words", "made_in_words"}
    ),
    "diagnostics/engine/cautions.py": frozenset({"_SENTENCES"}),
    "diagnostics/models/units.py": frozenset({"WorkKind"}),
    "diagnostics/selectors/proof.py": frozenset(
        {"_unread_paths", "_missing", "_missing_hold", "_missing_trigger", "_missing_states"}
    ),
    "diagnostics/services/free.py": frozenset({"judge_free"}),
    "shop/models/people.py": frozenset({"Role"}),
}
"""File -> its functions, classes and tables whose sentences a certificate can have; the others serve screens."""
NOT_SAID: Final = frozenset({"refusal", "_refuse_open"})
"""Functions of WHOLE whose sentences are of entries that count for nothing, or only raised at people."""
_MARKS: Final = frozenset({"_", "_n", "marked", "said"})


@dataclass(frozen=True, slots=True)
class Sentence:
    """`plural` '' where it has none; `where`: file and line."""

    text: str
    plural: str
    where: str


def sentences() -> dict[str, Sentence]:
    """Every sentence that a certificate can have, by itself; those that are only raised at people are left out."""
    found: dict[str, Sentence] = {}
    for path, only in _sources():
        for top in ast.parse((ROOT / path).read_text(encoding="utf-8")).body:
            names = _names(top)
            if names & NOT_SAID or (only is not None and not names & only):
                continue
            for text, plural, line in _marked_in(top):
                found.setdefault(text, Sentence(text, plural, f"{path}:{line}"))
    return found


def _sources() -> Iterator[tuple[str, frozenset[str] | None]]:
    for folder in ("compose", "draw"):
        for path in sorted((ROOT / "reports/document" / folder).rglob("*.py")):
            if path.name not in OTHER_PAPERS:
                yield path.relative_to(ROOT).as_posix(), None
    yield from ((path, None) for path in WHOLE)
    yield from PARTS.items()


def _names(top: ast.stmt) -> set[str]:
    if isinstance(top, ast.FunctionDef | ast.ClassDef):
        return {top.name}
    targets = top.targets if isinstance(top, ast.Assign) else [top.target] if isinstance(top, ast.AnnAssign) else []
    return {one.id for one in targets if isinstance(one, ast.Name)}


def _marked_in(node: ast.AST) -> Iterator[tuple[str, str, int]]:
    if isinstance(node, ast.Raise):
        return
    if isinstance(node, ast.Call) and getattr(node.func, "id", "") in _MARKS:
        words = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
        if words:
            yield words[0], words[1] if len(words) > 1 else "", node.lineno
    for child in ast.iter_child_nodes(node):
        yield from _marked_in(child)


def problems(code: str, said: Mapping[str, Sentence]) -> list[str]:
    """What is wrong with the file of a language, a line each: sentences that it lacks or that nobody says any more, and
    translations whose gaps are not those of the English sentence."""
    own = list(entries(catalogue(code).read_text(encoding="utf-8")))
    known = {entry.text for entry in own if entry.translated}
    missing = [f"missing ({one.where}): {one.text}" for one in said.values() if one.text not in known]
    unused = [f"unused (line {entry.line}): {entry.text}" for entry in own if entry.text not in said]
    twice = [f"twice (line {b.line}): {b.text}" for a, b in _pairs(own) if a.text == b.text]
    differ = (entry for entry in own if entry.translated and _gaps_differ(entry))
    return [*missing, *unused, *twice, *(f"gaps differ (line {entry.line}): {entry.text}" for entry in differ)]


def _pairs(own: Sequence[Entry]) -> Iterator[tuple[Entry, Entry]]:
    first: dict[str, Entry] = {}
    for entry in own:
        if entry.text in first:
            yield first[entry.text], entry
        first.setdefault(entry.text, entry)


def _gaps_differ(entry: Entry) -> bool:
    """A count may be left out where there is only one ("one step")."""
    wanted = _gaps(entry.text) | _gaps(entry.plural)
    return any(_gaps(form) != wanted for form in entry.forms[1:] or entry.forms) or not (
        _gaps(entry.forms[0]) <= wanted
    )


def _gaps(text: str) -> frozenset[tuple[str, str]]:
    """Names in braces with their formats."""
    return frozenset((name, spec or "") for _words, name, spec, _how in Formatter().parse(text) if name is not None)


def added(code: str, said: Mapping[str, Sentence]) -> int:
    """Put what the file of a language lacks at its end; how many sentences that were."""
    path = catalogue(code)
    known = {entry.text for entry in entries(path.read_text(encoding="utf-8"))}
    new = [one for one in said.values() if one.text not in known]
    with path.open("a", encoding="utf-8") as file:
        file.writelines(_as_entry(one) for one in new)
    return len(new)


def _as_entry(one: Sentence) -> str:
    plural = f'msgid_plural "{_escaped(one.plural)}"\nmsgstr[0] ""\nmsgstr[1] ""\n' if one.plural else 'msgstr ""\n'
    return f'\nmsgid "{_escaped(one.text)}"\n{plural}'


def _escaped(words: str) -> str:
    return words.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t")


def main(arguments: Sequence[str]) -> int:
    said, wrong = sentences(), 0
    for code in languages():
        if code == ENGLISH:
            continue
        if "--add" in arguments:
            print(f"{code}: {added(code, said)} sentences added")
        found = problems(code, said)
        print(f"{code}: {len(said)} sentences, {len(found)} problems", *found, sep="\n  ")
        wrong += len(found)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
