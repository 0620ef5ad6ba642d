"""YAML read into plain values together with the line of every entry.

Own composing instead of `yaml.safe_load`, for four reasons: every value keeps its line; a key written twice is a
mistake and not a silent overwrite; aliases are refused, so that a small file cannot grow into a huge one; and `off`
stays the word that a person wrote (YAML 1.1 makes it a truth value).
"""

import re
from dataclasses import dataclass, field
from typing import Any
from unicodedata import category

import yaml

from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.words import _

MAX_CHARACTERS = 400_000
MAX_DEPTH = 40
_INTEGER = re.compile(r"[-+]?[0-9]{1,15}")
_NUMBER = re.compile(r"[-+]?[0-9]{1,15}(\.[0-9]{0,15})?([eE][-+]?[0-9]{1,3})?")


@dataclass
class Marked:
    """`value`: the file's content; `lines`: path -> line (from 1) of each entry; `findings`: mistakes of writing."""

    value: Any = None
    lines: dict[At, int] = field(default_factory=dict)
    findings: list[tuple[int, Finding]] = field(default_factory=list)

    def line_of(self, path: At) -> int:
        """The line of `path`, or of the nearest entry above it that the file has."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)


class _UnreadableError(Exception):
    def __init__(self, line: int, words: str) -> None:
        super().__init__(words)
        self.line, self.words = line, words


def read_marked(text: str) -> Marked:
    """`text` as values with lines. Never raises for what a file may contain: mistakes are in `findings`."""
    marked = Marked()
    if len(text) > MAX_CHARACTERS:
        words = _("The file has {count} characters; a system file has at most {most}.")
        marked.findings.append((1, ((), words.format(count=len(text), most=MAX_CHARACTERS))))
        return marked
    try:
        _Reader(text, marked).read()
    except _UnreadableError as stop:
        marked.findings.append((stop.line, ((), stop.words)))
    except (ValueError, OverflowError):  # the parser turns an escape such as "\\UFFFFFFFF" into a character unchecked
        marked.findings.append((max(marked.lines.values(), default=1), ((), _words_of_character())))
    except yaml.YAMLError as error:
        marked.findings.append((_line_of_error(error, text), ((), _words_of_error(error))))
    return marked


class _Reader:
    """Recursive descent over the parser's events."""

    def __init__(self, text: str, marked: Marked) -> None:
        self.events = yaml.parse(text, Loader=yaml.SafeLoader)
        self.marked = marked

    def read(self) -> None:
        next(self.events)  # the start of the stream
        event = next(self.events)
        if isinstance(event, yaml.StreamEndEvent):
            raise _UnreadableError(1, _("The file is empty; expected a top system."))
        self.marked.value = self._value((), next(self.events))
        next(self.events)  # the end of the document
        after = next(self.events)
        if not isinstance(after, yaml.StreamEndEvent):
            raise _UnreadableError(_line(after), _("A second document begins here; expected one in a file."))

    def _value(self, path: At, event: Any) -> Any:
        line = _line(event)
        self.marked.lines.setdefault(path, line)
        if len(path) > MAX_DEPTH:
            raise _UnreadableError(line, _("Entries are nested deeper than {most} levels here.").format(most=MAX_DEPTH))
        if isinstance(event, yaml.AliasEvent):
            words = _("An alias (*{name}) stands here; write the value out.")
            raise _UnreadableError(line, words.format(name=str(event.anchor)[:40]))
        if event.tag is not None:
            words = _("A tag ({tag}) stands here; write the plain value.")
            raise _UnreadableError(line, words.format(tag=str(event.tag)[:40]))
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(path)
        if isinstance(event, yaml.MappingStartEvent):
            return self._mapping(path)
        return _scalar(event, line)

    def _list(self, path: At) -> list[Any]:
        items: list[Any] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            items.append(self._value((*path, str(len(items))), event))
        return items

    def _mapping(self, path: At) -> dict[str, Any]:
        entries: dict[str, Any] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            line = _line(event)
            if not isinstance(event, yaml.ScalarEvent):
                raise _UnreadableError(line, _("A list or a group stands where a name was expected."))
            key = _text(event.value, line)
            if key in entries:
                words = _("{name} is written twice here, first in line {line}; keep one.")
                first = self.marked.lines[(*path, key)]
                self.marked.findings.append((line, ((*path, key), words.format(name=shown(key), line=first))))
            self.marked.lines.setdefault((*path, key), line)
            entries[key] = self._value((*path, key), next(self.events))
        return entries


def _line(event: yaml.Event) -> int:
    mark: Any = event.start_mark
    return int(mark.line) + 1


def _text(text: str, line: int) -> str:
    """`text`, refused where an escape put a character into it that cannot be stored or shown."""
    if any(category(character) in ("Cc", "Cs") and character not in "\n\t" for character in text):
        raise _UnreadableError(line, _words_of_character())
    return text


def _scalar(event: Any, line: int) -> Any:
    text = _text(event.value, line)
    if event.style is not None:
        return text
    if text in ("", "~", "null"):
        return None
    if text in ("true", "false"):
        return text == "true"
    if _INTEGER.fullmatch(text):
        return int(text)
    return float(text) if _NUMBER.fullmatch(text) else text


def _line_of_error(error: yaml.YAMLError, text: str) -> int:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    if mark is not None:
        return int(mark.line) + 1
    return text.count("\n", 0, getattr(error, "position", 0)) + 1


def _words_of_character() -> str:
    return _("A character that no text may contain stands here; save the file as plain UTF-8 text without it.")


def _words_of_error(error: yaml.YAMLError) -> str:
    """Our sentence for what the YAML parser stumbled over."""
    if isinstance(error, yaml.reader.ReaderError):
        return _words_of_character()
    problem = str(getattr(error, "problem", "") or "")
    known = {
        "mapping values are not allowed": _("A second “: ” stands in one line; put the text in quotes."),
        "found character '\\t'": _("A tab stands here; indent with spaces."),
        "could not find expected ':'": _("Expected “name: value” here; the colon is missing."),
        "found unexpected end of stream": _("A quote that was opened is never closed."),
        "expected ',' or": _("A bracket that was opened is not closed, or a comma is missing."),
        "expected <block end>": _("The indentation does not fit the lines above."),
        "but found": _("The indentation does not fit the lines above, or a mark such as “-” or “:” is out of place."),
    }
    for part, words in known.items():
        if part in problem:
            return words
    return _("This cannot be read as YAML; expected “name: value” lines, indented with spaces.")
