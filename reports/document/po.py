"""Translation files as they are written by hand: the part of gettext's PO format that has sentences, plurals and notes.

Read as it is at start, so that nobody needs a compiler of such files. What it cannot read it refuses with the line.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

_LINE: Final = re.compile(r'(?:(msgid_plural|msgid|msgstr)(?:\[(\d)\])?\s+)?"((?:[^"\\]|\\.)*)"\s*', re.ASCII)
_ESCAPES: Final = {"n": "\n", "t": "\t", '"': '"', "\\": "\\"}


class PoError(ValueError):
    """A translation file that cannot be read: line, and what was expected."""


@dataclass(slots=True)
class Entry:
    """A sentence (`plural`: of more than one, or '') with its translations, one for each grammatical number; `line`:
    where it begins. `unsure`: marked fuzzy, which counts as not translated."""

    line: int
    text: str = ""
    plural: str = ""
    forms: list[str] = field(default_factory=list)
    unsure: bool = False

    @property
    def translated(self) -> bool:
        return bool(self.forms) and all(self.forms) and not self.unsure


def entries(source: str) -> Iterator[Entry]:
    """All entries but the header, in order. Raises PoError."""
    return (entry for entry in _entries(source) if entry.text)


def header(source: str) -> dict[str, str]:
    """Name -> value of the lines of the header, the entry of the empty sentence."""
    found = next((entry for entry in _entries(source) if not entry.text and entry.forms), None)
    lines = found.forms[0].splitlines() if found else []
    return {name.strip(): value.strip() for name, _colon, value in (line.partition(":") for line in lines)}


def _entries(source: str) -> Iterator[Entry]:
    entry, at, unsure = None, "", False
    for number, line in enumerate(source.split("\n"), 1):
        if line.startswith("#") or not line.strip():
            unsure = unsure or (line.startswith("#,") and "fuzzy" in line)
            continue
        match = _LINE.fullmatch(line)
        if match is None:
            raise PoError(f"line {number}: {line[:60]!r}; expected msgid, msgid_plural or msgstr and words in quotes")
        key, form, words = match[1], match[2], _unescaped(match[3], number)
        if key == "msgid":
            if entry is not None:
                yield entry
            entry, unsure = Entry(number, unsure=unsure), False
        if entry is None or (not key and not at):
            raise PoError(f"line {number}: expected a msgid first")
        at = key or at
        _take(entry, at, new=bool(key), form=form, words=words, number=number)
    if entry is not None:
        yield entry


def _take(entry: Entry, at: str, *, new: bool, form: str | None, words: str, number: int) -> None:
    if at == "msgid":
        entry.text += words
    elif at == "msgid_plural":
        entry.plural += words
    elif not new:
        entry.forms[-1] += words
    elif int(form or 0) == len(entry.forms):
        entry.forms.append(words)
    else:
        raise PoError(f"line {number}: expected msgstr[{len(entry.forms)}]")


def _unescaped(words: str, number: int) -> str:
    def letter(match: re.Match[str]) -> str:
        if match[1] not in _ESCAPES:
            raise PoError(f'line {number}: \\{match[1]} is not known; expected one of \\n, \\t, \\" and \\\\')
        return _ESCAPES[match[1]]

    return re.sub(r"\\(.)", letter, words)
