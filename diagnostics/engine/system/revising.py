"""The few things that the next revision of a file needs: which system its text is about, and its number set."""

import re

from diagnostics.engine.system.marked import Marked, read_marked
from diagnostics.engine.system.problems import Problem, shown
from diagnostics.engine.words import _

_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_NUMBER = re.compile(r"\brevision\s*:\s*[^\s,}#]*")


def is_name(slug: str) -> bool:
    """Whether a system file may be called so."""
    return len(slug) <= 60 and _SLUG.fullmatch(slug) is not None


def name_in(text: str) -> str:
    """The system that `text` says it declares, as far as it can be read; '' where it says none that could be one."""
    marked = read_marked(text)
    found = marked.value.get("system") if isinstance(marked.value, dict) else None
    return found if isinstance(found, str) and is_name(found) else ""


def wrong_name(text: str, slug: str, source: str) -> Problem | None:
    """The mistake of a text that declares another system than `slug`, with its line."""
    marked = read_marked(text)
    found = marked.value.get("system") if isinstance(marked.value, dict) else None
    if found is None or found == slug:
        return None
    words = _("{found} was found; this is the draft of {slug}.").format(found=shown(found), slug=slug)
    return Problem(source, marked.line_of(("system",)), "system", words)


def with_revision(text: str, number: int) -> str:
    """`text` with this number as its revision; unchanged where there is no place for one."""
    marked = read_marked(text)
    if not isinstance(marked.value, dict):
        return text
    lines = text.split("\n")
    said = f"revision: {number}"
    if "revision" in marked.value:
        at = _line_of(marked, "revision")
        lines[at] = _NUMBER.sub(said, lines[at], count=1)
    elif "system" in marked.value and not lines[_line_of(marked, "system")].lstrip().startswith("{"):
        lines.insert(_line_of(marked, "system") + 1, said)
    return "\n".join(lines)


def _line_of(marked: Marked, entry: str) -> int:
    return marked.line_of((entry,)) - 1
