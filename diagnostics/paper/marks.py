"""What is drawn and not set: our mark, the stitched seam, and the shapes that stand beside a state's word."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from reportlab.lib.colors import white
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from diagnostics.paper.fonts import BOLD, REGULAR, plain
from diagnostics.paper.kit import INK, THREAD

Canvas = Any


class Mark(Flowable):  # type: ignore[misc]
    """Our mark: a top half way, its sill, and the thread. 40 x 28 units, `scale` points each."""

    def __init__(self, scale: float = 1.0) -> None:
        super().__init__()
        self.scale = scale
        self.width, self.height = 40 * scale, 28 * scale

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.scale(self.scale, -self.scale)
        canvas.translate(0, -28)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(2.6)
        path = canvas.beginPath()
        path.moveTo(3, 22)
        path.lineTo(11, 12)
        path.curveTo(15, 7.3, 19.7, 5.3, 25, 6)
        path.lineTo(36, 11)
        path.lineTo(30, 17)
        path.moveTo(2, 25)
        path.lineTo(38, 25)
        canvas.drawPath(path)
        canvas.setStrokeColor(THREAD)
        canvas.setLineWidth(2)
        canvas.setDash(3.2, 2.6)
        thread = canvas.beginPath()
        thread.moveTo(9, 20)
        thread.curveTo(14.3, 13.3, 21, 11, 29, 13)
        canvas.drawPath(thread)
        canvas.restoreState()


class Seam(Flowable):  # type: ignore[misc]
    """A stitched line across the column."""

    def __init__(self, before: float = 4, after: float = 6) -> None:
        super().__init__()
        self.spaceBefore, self.spaceAfter = before, after

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width = width
        return width, 1.5

    def draw(self) -> None:
        stitch(self.canv, 0, self.width, 0.75)


def stitch(canvas: Canvas, left: float, right: float, y: float) -> None:
    canvas.saveState()
    canvas.setStrokeColor(THREAD)
    canvas.setLineWidth(1.1)
    canvas.setDash(6, 3.4)
    canvas.line(left, y, right, y)
    canvas.restoreState()


def _disc(c: Canvas, s: float) -> None:
    c.circle(s / 2, s / 2, s / 2, stroke=1, fill=1)


def _ring(c: Canvas, s: float) -> None:
    c.circle(s / 2, s / 2, s / 2, stroke=1, fill=0)


def _half(c: Canvas, s: float) -> None:
    _ring(c, s)
    c.wedge(0, 0, s, s, 90, 180, stroke=0, fill=1)


def _polygon(c: Canvas, s: float, points: tuple[tuple[float, float], ...], fill: int) -> None:
    path = c.beginPath()
    path.moveTo(points[0][0] * s, points[0][1] * s)
    for x, y in points[1:]:
        path.lineTo(x * s, y * s)
    path.close()
    c.drawPath(path, stroke=1, fill=fill)


_DIAMOND = ((0.5, 0), (1, 0.5), (0.5, 1), (0, 0.5))
_TRIANGLE = ((0, 0.05), (1, 0.05), (0.5, 0.95))
_OCTAGON = ((0.3, 0), (0.7, 0), (1, 0.3), (1, 0.7), (0.7, 1), (0.3, 1), (0, 0.7), (0, 0.3))


def _stop(c: Canvas, s: float) -> None:
    """A filled octagon with a white exclamation mark: not to be mistaken for a disc."""
    _polygon(c, s, _OCTAGON, 1)
    c.setFillColor(white)
    c.rect(0.43 * s, 0.42 * s, 0.14 * s, 0.38 * s, stroke=0, fill=1)
    c.rect(0.43 * s, 0.2 * s, 0.14 * s, 0.13 * s, stroke=0, fill=1)
    c.setFillColor(INK)


SHAPES: Final[Mapping[str, Callable[[Canvas, float], None]]] = {
    "disc": _disc,
    "ring": _ring,
    "half": _half,
    "diamond": lambda c, s: _polygon(c, s, _DIAMOND, 1),
    "diamond-open": lambda c, s: _polygon(c, s, _DIAMOND, 0),
    "triangle": lambda c, s: _polygon(c, s, _TRIANGLE, 0),
    "octagon": _stop,
}


SMALLEST = 0.6
"""Share of its size down to which a state's word is made smaller."""


class Tag(Flowable):  # type: ignore[misc]
    """A state: a shape and its word, never colour alone. One line; `words` are few, and set smaller where their column
    is too narrow."""

    def __init__(self, shape: str, words: str, size: float = 9, bold: bool = False) -> None:
        super().__init__()
        self.shape, self.words, self.size = SHAPES[shape], plain(words), size
        self.shown = size
        self.font = BOLD if bold else REGULAR

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.height = self.size * 1.28
        wanted = self.size * 1.15 + stringWidth(self.words, self.font, self.size)
        self.shown = self.size * max(SMALLEST, min(1.0, width / wanted))
        self.width = min(width, wanted)
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.setStrokeColor(INK)
        canvas.setFillColor(INK)
        size, base = self.shown, self.size * 0.3
        canvas.setLineWidth(size * 0.08)
        canvas.translate(size * 0.05, base - size * 0.02)
        self.shape(canvas, size * 0.7)
        canvas.translate(size * 1.05, 0)
        canvas.setFont(self.font, size)
        canvas.drawString(0, size * 0.03, self.words)
        canvas.restoreState()
