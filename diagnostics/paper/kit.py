"""The kit of our papers: measures, inks, paragraph styles, tables."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Paragraph, Table, TableStyle
from reportlab.platypus.paragraph import cleanBlockQuotedText

from diagnostics.engine.words import _
from diagnostics.paper.fonts import BOLD, REGULAR, markup, plain

PAGE = A4
MARGIN, TOP, BOTTOM = 18 * mm, 20 * mm, 22 * mm
WIDTH = PAGE[0] - 2 * MARGIN
INK, SOFT, THREAD, LINE = HexColor("#16212e"), HexColor("#474f58"), HexColor("#8a3d0c"), HexColor("#b7ab93")

PLAIN_FONT = ("FONT", (0, 0), (-1, -1), REGULAR, 9)
"""In every table style: else a cell brings reportlab's Helvetica into the file, which is not embedded."""

BARE = (PLAIN_FONT, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0))
"""A table that only places things beside each other."""

Flow = Any
"""A reportlab flowable (the library has no types)."""

_MARKED = frozenset("<>&\n")


def _style(name: str, size: float, lead: float, font: str = REGULAR, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        name, fontName=font, fontSize=size, leading=lead, textColor=more.pop("textColor", INK), **more
    )


BODY = _style("body", 9.5, 13)
SMALL = _style("small", 8.5, 11)
SOFT_SMALL = _style("soft-small", 8.5, 11, textColor=SOFT)
STRONG = _style("strong", 9.5, 13, BOLD)
STRONG_RIGHT = _style("strong-right", 9.5, 13, BOLD, alignment=TA_RIGHT)
LABEL = _style("label", 8, 10.5, textColor=SOFT)
CELL = _style("cell", 9, 11.5)
CELL_BOLD = _style("cell-bold", 9, 11.5, BOLD)
CELL_RIGHT = _style("cell-right", 9, 11.5, alignment=TA_RIGHT)
HEAD = _style("head", 8, 10, BOLD, textColor=SOFT)
HEAD_RIGHT = _style("head-right", 8, 10, BOLD, textColor=SOFT, alignment=TA_RIGHT)
TITLE = _style("title", 20, 24, BOLD)
SECTION = _style("section", 13, 17, BOLD, spaceBefore=12, spaceAfter=4)
SUB = _style("sub", 10, 13, BOLD, spaceBefore=8, spaceAfter=2)


class _Words(Paragraph):  # type: ignore[misc]
    """A paragraph that is broken into lines once for each width: a table asks three times for the height of a cell."""

    _broken: tuple[float, tuple[float, float]] | None = None

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        # Splitting at the end of a page takes the lines away.
        if self._broken is None or self._broken[0] != width or getattr(self, "blPara", None) is None:
            self._broken = width, super().wrap(width, height)
        return self._broken[1]


@cache
def _letters_of(style: ParagraphStyle) -> Any:
    """What the library's reader of markup makes of one run of letters in `style`."""
    return Paragraph("x", style).frags[0]


def text(words: str, style: ParagraphStyle = BODY) -> Flow:
    """A paragraph of plain words (escaped here and nowhere else)."""
    if not _MARKED.isdisjoint(words):
        return _Words(markup(words), style)
    # The reader of markup takes longer than setting the line; what has no markup in it does without.
    bare = cleanBlockQuotedText(plain(words))
    return _Words(bare, style, frags=[_letters_of(style).clone(text=bare)] if bare else [])


def heading(words: str) -> list[Flow]:
    """A section heading with room for what follows; the frame puts it into the bookmarks."""
    paragraph = Paragraph(markup(words), SECTION)
    paragraph.outline = words
    # Not keepWithNext: that would carry a whole table to the next page and leave a hole.
    return [CondPageBreak(80), paragraph]


def subheading(words: str) -> list[Flow]:
    return [CondPageBreak(70), Paragraph(markup(words), SUB)]


def table(
    head: Sequence[str], rows: Sequence[Sequence[Flow]], widths: Sequence[float], right: Sequence[int] = ()
) -> Flow:
    """A ruled table whose head repeats on each page; `widths` in shares of the column; columns `right` are numbers."""
    top = [text(words, HEAD_RIGHT if at in right else HEAD) for at, words in enumerate(head)]
    whole = Table(
        [top, *rows],
        colWidths=[share * WIDTH for share in widths],
        repeatRows=1,
        splitByRow=1,
        splitInRow=1,
        hAlign="LEFT",
    )
    whole.setStyle(
        TableStyle(
            [
                PLAIN_FONT,
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                *(("RIGHTPADDING", (at, 0), (at, -1), 12) for at in right),
                ("TOPPADDING", (0, 0), (-1, -1), 2.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3.5),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, LINE),
            ]
        )
    )
    return whole


def facts(rows: Sequence[tuple[str, str]], width: float = WIDTH, label: float = 0.3) -> Flow:
    """Label and value, one a row; rows without a value are left out."""
    cells = [[text(name, LABEL), text(value, CELL)] for name, value in rows if value]
    whole = Table(cells, colWidths=[label * width, (1 - label) * width], splitInRow=1, hAlign="LEFT")
    whole.setStyle(
        TableStyle(
            [
                *BARE,
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ]
        )
    )
    return whole


def day(when: date | datetime) -> str:
    """A day as 25 Nov 2026, as on the pages: the month as a word is unambiguous in every country."""
    return _("{day} {month}").format(day=f"{when.day}", month=month(when))


def moment(when: datetime) -> str:
    return _("{day}, {time}").format(day=day(when), time=f"{when:%H:%M}")


def month(when: date) -> str:
    names = (
        *(_("Jan"), _("Feb"), _("Mar"), _("Apr"), _("May"), _("Jun")),
        *(_("Jul"), _("Aug"), _("Sep"), _("Oct"), _("Nov"), _("Dec")),
    )
    return f"{names[when.month - 1]} {when.year:04d}"
