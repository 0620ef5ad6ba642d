"""Pictures with their captions, two beside each other. What a picture shows stands in words below it: the file cannot
be tagged, so the caption is all that a listener has."""

from collections.abc import Mapping, Sequence
from io import BytesIO

from reportlab.lib.utils import ImageReader
from reportlab.platypus import Image, Table

from diagnostics.engine.words import _
from diagnostics.paper.kit import BARE, CELL, SOFT_SMALL, WIDTH, Flow, day, heading, text
from reports.document.content import Shown

GAP = 14.0
HALF = (WIDTH - GAP) / 2
HIGHEST = 180.0
"""Points that a picture may be high: three rows of them on a page."""
PLACED = [*BARE, ("RIGHTPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 10)]


def shown(rows: Sequence[Shown], files: Mapping[str, bytes]) -> list[Flow]:
    """A section of its own, or nothing. `files`: digest -> JPEG; where one is missing, that is said in its place."""
    if not rows:
        return []
    cells = [_cell(number, one, files.get(one.digest)) for number, one in enumerate(rows, 1)]
    if len(cells) % 2:
        cells.append([])
    pairs = [[left, "", right] for left, right in zip(cells[::2], cells[1::2], strict=True)]
    return [*heading(_("Pictures")), *(Table([pair], colWidths=[HALF, GAP, HALF], style=PLACED) for pair in pairs)]


def _cell(number: int, one: Shown, file: bytes | None) -> list[Flow]:
    picture = text(_("Not in this copy."), SOFT_SMALL) if file is None else _image(file)
    caption = _("Picture {number}. {caption}").format(number=number, caption=one.caption)
    moment = {"": "", "before": _("before the work"), "after": _("after the work")}[one.moment]
    said = ", ".join(words for words in (one.position, moment, day(one.at), one.by) if words)
    return [picture, text(caption, CELL), text(said, SOFT_SMALL)]


def _image(file: bytes) -> Flow:
    """As wide as its half of the page, or as high as it may be."""
    width, height = ImageReader(BytesIO(file)).getSize()
    scale = min(HALF / width, HIGHEST / height)
    return Image(BytesIO(file), width=width * scale, height=height * scale, hAlign="LEFT")
