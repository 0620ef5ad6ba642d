"""What the papers of a job share: lines to write on, and the word about letters that the typeface lacks."""

from typing import Any

from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from diagnostics.engine.words import _
from diagnostics.paper.fonts import MISSING, lacks_letters
from diagnostics.paper.kit import BARE, LABEL, LINE, SMALL, WIDTH, Flow, text


class Rules(Flowable):  # type: ignore[misc]
    """`count` lines across the column to write on by hand, `pitch` points apart; 0: as many as the page has room
    for."""

    def __init__(self, count: int, pitch: float = 22) -> None:
        super().__init__()
        self.count, self.pitch = count, pitch

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        if not self.count:
            self.count = max(1, int(height // self.pitch))
        self.width, self.height = width, self.count * self.pitch
        return self.width, self.height

    def draw(self) -> None:
        canvas: Any = self.canv
        canvas.saveState()
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.6)
        for row in range(self.count):
            canvas.line(0, row * self.pitch + 0.5, self.width, row * self.pitch + 0.5)
        canvas.restoreState()


def beside(mark: Flow, words: Flow) -> Flow:
    """A shape or a box, and words at its right."""
    row = Table([[mark, words]], colWidths=[0.04 * WIDTH, 0.96 * WIDTH], hAlign="LEFT")
    row.setStyle(TableStyle([*BARE, ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]))
    return row


FOOT_AT_MOST = 80
"""Letters of the foot: more would run into the number of the page."""


def shortened(words: str, most: int = FOOT_AT_MOST) -> str:
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"


def sign_here(words: str) -> list[Flow]:
    return [Rules(1, pitch=26), text(words, LABEL)]


def missing_letters(content: object) -> list[Flow]:
    """`content`: frozen values; said once where a letter of theirs is printed as a square."""
    if not lacks_letters(repr(content)):
        return []
    words = _("{square} stands for a letter that the typeface of this paper does not have; the record keeps it.")
    return [Spacer(0, 4), text(words.format(square=MISSING), SMALL)]
