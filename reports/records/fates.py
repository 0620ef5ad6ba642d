"""What becomes of each row of a table that is brought."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

FateName = Literal["new", "same", "changed", "refused"]
FATES: tuple[FateName, ...] = ("new", "changed", "same", "refused")


@dataclass(frozen=True, slots=True)
class Fate:
    """`row` as a spreadsheet counts it; `key`: what the row speaks of; `words`: why, or what changes; '' where there
    is nothing to add."""

    row: int
    fate: FateName
    key: str = ""
    words: str = ""


@dataclass(slots=True)
class Tally:
    """How many rows have which fate, and the first that was refused."""

    counts: Counter[str] = field(default_factory=Counter)
    first_refused: Fate | None = None

    def take(self, fate: Fate) -> None:
        self.counts[fate.fate] += 1
        if fate.fate == "refused" and self.first_refused is None:
            self.first_refused = fate

    def as_json(self) -> dict[str, int]:
        return {name: self.counts[name] for name in FATES}
