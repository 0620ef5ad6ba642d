"""What the papers for the bench share: one page whatever is on it, a wire in its colours, boxes to write in."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable, KeepInFrame, Table, TableStyle

from diagnostics.engine.system.model import Pin
from diagnostics.paper.fonts import REGULAR, plain
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import (
    BARE,
    BOTTOM,
    INK,
    LABEL,
    LINE,
    PAGE,
    PLAIN_FONT,
    SOFT_SMALL,
    STRONG,
    TITLE,
    TOP,
    WIDTH,
    Flow,
    text,
)
from diagnostics.paper.marks import Mark, Seam

INKS: Final[Mapping[str, str]] = {
    "BK": "#111111",
    "BN": "#6b3f1d",
    "RD": "#c4161c",
    "OG": "#ee7a10",
    "YE": "#f5d000",
    "GN": "#1c8a3c",
    "BU": "#1f56b5",
    "VT": "#7a3a9a",
    "GY": "#8b8f94",
    "WH": "#ffffff",
    "PK": "#f29ab8",
    "GD": "#c9a227",
    "TQ": "#2ab5b0",
    "SR": "#c3c7cb",
}
"""Inks of the wires by IEC 60757, the same as on the pages; the letters beside them say the same in print without
colour."""


class Wire(Flowable):  # type: ignore[misc]
    """A piece of wire in its colours (base, stripe, mark) with their letters."""

    def __init__(self, pin: Pin, size: float = 8) -> None:
        super().__init__()
        self.colours, self.size = pin.colours, size
        self.width, self.height = 62, size * 1.25

    def draw(self) -> None:
        canvas, height = self.canv, self.size * 0.75
        canvas.saveState()
        canvas.setLineWidth(0.5)
        canvas.setStrokeColor(INK)
        canvas.setFillColor(HexColor(INKS[self.colours[0]]))
        canvas.rect(0, 1, 22, height, stroke=0, fill=1)
        if len(self.colours) > 1:
            canvas.setFillColor(HexColor(INKS[self.colours[1]]))
            canvas.rect(0, 1 + height / 3, 22, height / 3, stroke=0, fill=1)
        if len(self.colours) > 2:
            canvas.setFillColor(HexColor(INKS[self.colours[2]]))
            canvas.rect(9, 1, 4, height, stroke=0, fill=1)
        canvas.rect(0, 1, 22, height, stroke=1, fill=0)
        canvas.setFillColor(INK)
        canvas.setFont(REGULAR, self.size)
        canvas.drawString(26, 1.5, "/".join(self.colours))
        canvas.restoreState()


class Box(Flowable):  # type: ignore[misc]
    """A box to write a number in, with its unit, or to tick (no unit)."""

    def __init__(self, unit: str = "", width: float = 44) -> None:
        super().__init__()
        self.unit = plain(unit)
        self.width, self.height = (width if unit else 10), 11

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.6)
        if self.unit:
            canvas.line(0, 0.5, self.width - 10, 0.5)
            canvas.setFont(REGULAR, 8)
            canvas.drawRightString(self.width, 1, self.unit)
        else:
            canvas.rect(0.5, 0.5, 9, 9)
        canvas.restoreState()


def masthead(shop: str, title: str, right: Sequence[tuple[str, str]]) -> list[Flow]:
    """Mark, shop and what the paper is; at the right labels with their values."""
    cells = [line for name, value in right for line in (text(name, LABEL), text(value, STRONG))]
    top = Table(
        [[Mark(0.8), [text(title, TITLE), text(shop, SOFT_SMALL)], cells]],
        colWidths=[40, WIDTH - 40 - 130, 130],
        hAlign="LEFT",
    )
    top.setStyle(
        TableStyle(
            [
                *BARE,
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return [top, Seam()]


def grid(head: Sequence[Flow], rows: Sequence[Sequence[Flow]], widths: Sequence[float]) -> Flow:
    """A close table for work with a pen; `widths` in shares of the column."""
    whole = Table([list(head), *rows], colWidths=[share * WIDTH for share in widths], hAlign="LEFT")
    whole.setStyle(
        TableStyle(
            [
                PLAIN_FONT,
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 1.2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LINEBELOW", (0, 0), (-1, 0), 0.7, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, LINE),
            ]
        )
    )
    return whole


def one_page(paper: Paper, story: list[Flow]) -> bytes:
    """The story on one page, made smaller as far as it must be: a list at the car is one sheet of paper."""
    whole: Any = KeepInFrame(WIDTH, PAGE[1] - TOP - BOTTOM - 2, story, mode="shrink", mergeSpace=1)
    return paper.made_of([whole])[0]
