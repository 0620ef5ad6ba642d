"""The chance of failing over the coming months as small curves side by side, with the interval as a band."""

from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable

from diagnostics.charts.words import percent_words
from diagnostics.engine.words import _
from diagnostics.paper.fonts import BOLD, REGULAR, plain
from diagnostics.paper.kit import INK, LINE, SOFT, THREAD, WIDTH
from reports.document.content import AheadRow, Expected
from reports.document.draw.motion import cut

BAND = HexColor("#ecdcc4")
PANELS = 3
GUTTER, LEFT, FOOT, HEAD, TALL = 14.0, 30.0, 18.0, 24.0, 62.0
TOPS = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.75, 1.0)
"""Where the scale of chances may end; all curves side by side have one scale."""


class ChanceCurves(Flowable):  # type: ignore[misc]
    """Up to PANELS positions that have a curve; as wide as the column."""

    def __init__(self, rows: tuple[AheadRow, ...]) -> None:
        super().__init__()
        self.rows = tuple(row for row in rows if row.curve)[:PANELS]
        highest = max((one.high for row in self.rows for one in row.curve), default=1.0)
        self.top = next((top for top in TOPS if top >= highest), 1.0)
        self.last = max((one.months for row in self.rows for one in row.curve), default=24)
        self.width, self.height = WIDTH, HEAD + TALL + FOOT
        self.room: float = (WIDTH - GUTTER * (PANELS - 1)) / PANELS
        self.spaceAfter = 6

    def draw(self) -> None:
        for number, row in enumerate(self.rows):
            self.canv.saveState()
            self.canv.translate(number * (self.room + GUTTER), FOOT)
            self._title(row)
            self._band(row.curve)
            self._scales()
            self._line(row.curve)
            self.canv.restoreState()

    def x(self, months: float) -> float:
        return float(LEFT + (self.room - LEFT) * months / self.last)

    def y(self, chance: float) -> float:
        return TALL * min(chance, self.top) / self.top

    def _title(self, row: AheadRow) -> None:
        canvas: Any = self.canv
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 8)
        canvas.drawString(0, TALL + 14, plain(row.position))
        canvas.setFillColor(SOFT)
        canvas.setFont(REGULAR, 7)
        canvas.drawString(LEFT, TALL + 14, cut(row.name, self.room - LEFT, 7))

    def _scales(self) -> None:
        canvas: Any = self.canv
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.5)
        canvas.setFillColor(SOFT)
        canvas.setFont(REGULAR, 6.5)
        for chance in (0.0, self.top / 2, self.top):
            canvas.line(LEFT, self.y(chance), self.room, self.y(chance))
            canvas.drawRightString(LEFT - 3, self.y(chance) - 2.2, percent_words(chance))
        for months in (0, self.last // 2, self.last):
            canvas.line(self.x(months), 0, self.x(months), -2.5)
            draw = canvas.drawRightString if months == self.last else canvas.drawCentredString
            words = _("{months} months").format(months=months) if months == self.last else str(months)
            draw(self.x(months), -9.5, words)

    def _band(self, curve: tuple[Expected, ...]) -> None:
        path = self.canv.beginPath()
        path.moveTo(self.x(0), self.y(0))
        for one in curve:
            path.lineTo(self.x(one.months), self.y(one.high))
        for one in reversed(curve):
            path.lineTo(self.x(one.months), self.y(one.low))
        path.close()
        self.canv.setFillColor(BAND)
        self.canv.drawPath(path, stroke=0, fill=1)

    def _line(self, curve: tuple[Expected, ...]) -> None:
        canvas: Any = self.canv
        path = canvas.beginPath()
        path.moveTo(self.x(0), self.y(0))
        for one in curve:
            path.lineTo(self.x(one.months), self.y(one.chance))
        canvas.setStrokeColor(THREAD)
        canvas.setLineWidth(1.4)
        canvas.drawPath(path)
        canvas.setFillColor(THREAD)
        canvas.circle(self.x(curve[-1].months), self.y(curve[-1].chance), 2, stroke=0, fill=1)
