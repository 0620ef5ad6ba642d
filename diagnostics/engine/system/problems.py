"""What is wrong with a system file: where, and what was expected, one sentence a mistake."""

from dataclasses import dataclass

At = tuple[str, ...]
"""A path inside the file, from the top: ('positions', 'BG3', 'pin', 'number')."""

Finding = tuple[At, str]
"""A mistake before its line is known."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake. `line` counts from 1; `path` is empty where the file as a whole is meant."""

    source: str
    line: int
    path: str
    words: str

    def __str__(self) -> str:
        where = f"{self.source}:{self.line}"
        return f"{where}: {self.path}: {self.words}" if self.path else f"{where}: {self.words}"


MOST_PROBLEMS = 200
"""More mistakes than this are no longer read by anybody; a hostile file could make a hundred thousand."""


class SystemFileError(ValueError):
    """A top system file that cannot be used; carries its (first MOST_PROBLEMS) mistakes in the order of the file."""

    def __init__(self, problems: list[Problem]) -> None:
        ordered = sorted(problems, key=lambda one: (one.line, one.path, one.words))
        self.problems = tuple(ordered[:MOST_PROBLEMS])
        super().__init__("\n".join(str(one) for one in self.problems))


def shown(value: object) -> str:
    """`value` as it stands in a sentence: quoted and cut, so that a hostile file cannot flood the page."""
    text = " ".join(str(value).split())
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"
