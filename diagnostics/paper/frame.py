"""The page around the words: foot with number, VIN end and page x of y, bookmarks, metadata, bytes that repeat."""

import time
from datetime import datetime
from functools import partial
from io import BytesIO
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

from diagnostics.engine.words import _, spoken
from diagnostics.paper.fonts import REGULAR, plain
from diagnostics.paper.kit import BOTTOM, MARGIN, PAGE, SOFT, TOP, WIDTH, Flow
from diagnostics.paper.marks import stitch

_FOOT_WIDTH = 120


def _form(page: int) -> str:
    return f"page-{page}"


class PaperCanvas(Canvas):  # type: ignore[misc]
    """A canvas whose file carries the time of issue, not of drawing, and whose page count is set once, at the end."""

    def __init__(self, *args: Any, issued_at: datetime, foot_size: float, **more: Any) -> None:
        super().__init__(*args, **more)
        # reportlab takes its time from the process environment; a worker with many threads must not set that.
        stamp = self._doc._timeStamp
        stamp.t = int(issued_at.timestamp())
        stamp.lt = time.gmtime(stamp.t)
        stamp.YMDhms = tuple(stamp.lt)[:6]
        self._foot_size = foot_size

    def save(self) -> None:
        # Every page has drawn a form of its own; only now is it known what stands in them.
        pages = self.getPageNumber() - 1
        for page in range(1, pages + 1):
            self.beginForm(_form(page), lowerx=0, lowery=-4, upperx=_FOOT_WIDTH, uppery=12)
            self.setFont(REGULAR, self._foot_size)
            self.setFillColor(SOFT)
            words = plain(_("Page {page} of {pages}").format(page=page, pages=pages))
            self.drawRightString(_FOOT_WIDTH, 0, words)
            self.endForm()
        super().save()


class Paper(BaseDocTemplate):  # type: ignore[misc]
    """An A4 paper of ours. `running`: words of the foot (number, VIN end); `head`: words at the top from page 2 on."""

    FOOT = 8

    def __init__(self, *, title: str, author: str, subject: str, running: str, head: str, issued_at: datetime) -> None:
        self._bytes = BytesIO()
        super().__init__(
            self._bytes,
            pagesize=PAGE,
            title=title,
            author=author,
            subject=subject,
            creator="Topwright",
            lang=spoken() or "en",
            displayDocTitle=1,
            invariant=1,
            initialFontName=REGULAR,
        )
        self._running, self._head, self._issued_at = plain(running), plain(head), issued_at
        frame = Frame(MARGIN, BOTTOM, WIDTH, PAGE[1] - TOP - BOTTOM, 0, 0, 0, 0, id="text")
        self.addPageTemplates([PageTemplate("page", [frame], onPage=self._furniture)])
        self._marks = 0

    def made_of(self, story: list[Flow]) -> tuple[bytes, int]:
        """Lay `story` out; the file's bytes and its number of pages."""
        self.build(story, canvasmaker=partial(PaperCanvas, issued_at=self._issued_at, foot_size=self.FOOT))
        return self._bytes.getvalue(), self.page

    def afterFlowable(self, flowable: Flow) -> None:  # noqa: N802 - reportlab's name
        words = getattr(flowable, "outline", None)
        if words:
            self._marks += 1
            key = f"part-{self._marks}"
            self.canv.bookmarkPage(key)
            self.canv.addOutlineEntry(plain(words), key, level=0, closed=False)

    def _furniture(self, canvas: Any, _paper: Any) -> None:
        canvas.saveState()
        canvas.setFont(REGULAR, self.FOOT)
        canvas.setFillColor(SOFT)
        left, right, y = MARGIN, PAGE[0] - MARGIN, BOTTOM - 24
        if canvas.getPageNumber() > 1:
            canvas.drawString(left, PAGE[1] - TOP + 12, self._head)
        stitch(canvas, left, right, y + 12)
        canvas.drawString(left, y, self._running)
        canvas.translate(right - _FOOT_WIDTH, y)
        canvas.doForm(_form(canvas.getPageNumber()))
        canvas.restoreState()
