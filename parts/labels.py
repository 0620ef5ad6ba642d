"""Labels for the shelf on sheets of A4: three across, eight down, 70 × 37 mm each, as they are sold for any printer.

Without Django: text in, PDF out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

import segno
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from diagnostics.paper.fonts import BOLD, REGULAR, fonts_ready, plain
from parts.codes import label_code

ACROSS, DOWN = 3, 8
ON_A_SHEET = ACROSS * DOWN
MOST = 480
"""Labels in one file: twenty sheets."""
_WIDTH, _HEIGHT = 70 * mm, 37 * mm
_TOP = (A4[1] - DOWN * _HEIGHT) / 2
_EDGE = 5 * mm
"""Kept free along a label's edge: most printers leave a margin, and sheets lie a little askew."""
_CODE = 25 * mm
_GAP = 3 * mm
_TEXT = _WIDTH - 2 * _EDGE - _CODE - _GAP


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says. `fits`: positions with their top system, '' where unknown."""

    number: str
    name: str
    place: str
    fits: str


def sheets(labels: Sequence[Label], *, title: str, start: int = 1) -> bytes:
    """A PDF with one label after the other, row by row; the first goes to place `start` (1 to ON_A_SHEET) of its sheet,
    so that a sheet that was begun is used up.

    Raises ValueError for no label, too many, or a place that a sheet does not have.
    """
    if not labels or len(labels) > MOST:
        raise ValueError(f"{len(labels)} labels, expected 1 to {MOST}")
    if not 1 <= start <= ON_A_SHEET:
        raise ValueError(f"place {start}, expected 1 to {ON_A_SHEET}")
    fonts_ready()
    out = BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1)
    canvas.setTitle(title)
    for at, label in enumerate(labels, start=start - 1):
        if at % ON_A_SHEET == 0 and at > start - 1:
            canvas.showPage()
        row, column = divmod(at % ON_A_SHEET, ACROSS)
        _draw(canvas, label, column * _WIDTH, A4[1] - _TOP - (row + 1) * _HEIGHT)
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, label: Label, x: float, y: float) -> None:
    """One label; (x, y) is its lower left corner in points."""
    _code(canvas, label_code(label.number), x + _EDGE, y + (_HEIGHT - _CODE) / 2)
    left, line = x + _EDGE + _CODE + _GAP, y + _HEIGHT - _EDGE - 11
    size = _size_for(label.number, BOLD, 13, 7)
    for words in _lines(label.number, BOLD, size, 2):
        canvas.setFont(BOLD, size)
        canvas.drawString(left, line, words)
        line -= size + 1
    for words in _lines(label.name, REGULAR, 8.5, 2):
        canvas.setFont(REGULAR, 8.5)
        canvas.drawString(left, line, words)
        line -= 10
    for words in _lines(label.fits, REGULAR, 7, 2):
        canvas.setFont(REGULAR, 7)
        canvas.drawString(left, line, words)
        line -= 8.5
    size = _size_for(label.place, BOLD, 11, 7)
    for words in _lines(label.place, BOLD, size, 1):
        canvas.setFont(BOLD, size)
        canvas.drawString(left, y + _EDGE, words)


def _code(canvas: Canvas, text: str, x: float, y: float) -> None:
    """A QR code of _CODE points with its quiet zone; runs of dark modules as one bar each, so that none shows seams."""
    matrix = [list(row) for row in segno.make(text, micro=False, error="m").matrix_iter(border=2)]
    side = _CODE / len(matrix)
    for down, row in enumerate(matrix):
        begin = 0
        for at in range(1, len(row) + 1):
            if at < len(row) and row[at] == row[begin]:
                continue
            if row[begin]:
                top = y + _CODE - (down + 1) * side
                canvas.rect(x + begin * side, top, (at - begin) * side, side, stroke=0, fill=1)
            begin = at


def _size_for(text: str, font: str, most: float, least: float) -> float:
    """The largest size at which the text stays on one line, not below `least`."""
    wide = float(stringWidth(plain(text), font, most))
    return float(max(min(most, most * _TEXT / max(wide, 1.0)), least))


def _lines(text: str, font: str, size: float, most: int) -> list[str]:
    """At most `most` lines of _TEXT points, broken at spaces or, where a word is too long, inside it; … where it ends
    too early."""
    lines: list[str] = []
    rest = " ".join(plain(text).split())
    while rest and len(lines) < most:
        end = len(rest)
        last = len(lines) == most - 1
        while stringWidth(rest[:end] + ("…" if last and end < len(rest) else ""), font, size) > _TEXT and end > 1:
            end -= 1
        if end < len(rest) and not last and " " in rest[: end + 1]:
            end = rest.rindex(" ", 0, end + 1)
        cut = last and end < len(rest)
        lines.append(rest[:end].rstrip() + ("…" if cut else ""))
        rest = rest[end:].strip()
    return lines
