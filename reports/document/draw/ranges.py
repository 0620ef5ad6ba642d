"""The failure patterns of a top system on paper: the ranges in words and curves, the strip of months, the table."""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer

from diagnostics.charts import curves_figure, svg_for_paper
from diagnostics.charts.curves import age_ticks, at_risk_at
from diagnostics.charts.strip import Strip, StripCell, StripMark, StripRow
from diagnostics.charts.words import curve_words, months_phrase, percent_words
from diagnostics.engine.words import _
from diagnostics.learning.records import Curve
from diagnostics.paper.fonts import BOLD, REGULAR, chart_font, fonts_ready, plain
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import (
    BODY,
    CELL,
    CELL_RIGHT,
    INK,
    LINE,
    SMALL,
    SOFT,
    SOFT_SMALL,
    STRONG,
    WIDTH,
    Flow,
    facts,
    heading,
    moment,
    subheading,
    table,
    text,
)
from diagnostics.paper.marks import Tag
from reports.document.draw.bench_kit import grid, masthead
from reports.document.ranges import RangeOnPaper, RangesPaper

SIDE, ROW, HEAD = 128.0, 17.0, 12.0
"""Points of the strip: names at its left, a row, the years above."""
CURVES_WIDTH = 0.72 * WIDTH


def draw_ranges(content: RangesPaper) -> bytes:
    """A4 pages (PDF). The same content gives the same bytes."""
    fonts_ready()
    title = _("Failure patterns")
    paper = Paper(
        title=f"{title} · {content.system}",
        author=content.shop,
        subject=content.system,
        running=_("{system} · {learned}").format(system=content.system, learned=content.learned_short or content.slug),
        head=title,
        issued_at=content.printed_at,
    )
    return paper.made_of(_story(content))[0]


def _story(content: RangesPaper) -> list[Flow]:
    story = masthead(
        content.shop,
        _("Failure patterns"),
        [(_("Top system"), content.system), (_("Printed"), moment(content.printed_at))],
    )
    if not content.learned:
        return [*story, Spacer(0, 6), text(_("Nothing was learned of this top system yet."), STRONG)]
    story += [text(content.learned, SOFT_SMALL), Spacer(0, 4), _cautions(content.cautions)]
    story += heading(_("Production ranges"))
    if not content.ranges:
        told = _(
            "No production range stands out: what was seen agrees with parts that fail alike whenever the car was made."
        )
        story.append(text(told))
    for one in content.ranges:
        story += _range(one)
    if content.strip.rows:
        story += [
            *heading(_("Production months by position")),
            StripPicture(content.strip),
            *_legend(),
            *_table(content.strip),
        ]
    return story


def _cautions(cautions: Sequence[str]) -> Flow:
    return grid([Tag("octagon", "", size=8), text(" ".join(cautions), SMALL)], [], [0.03, 0.97])


def _range(one: RangeOnPaper) -> list[Flow]:
    words: list[Flow] = [*subheading(one.title), text(one.state, SOFT_SMALL)]
    words += [text(sentence, BODY) for sentence in one.sentences]
    words.append(facts(one.facts))
    story: list[Flow] = [KeepTogether(words), *_year_table(one.years)]
    if one.curves:
        story.append(KeepTogether([_picture(one.curves), *_curve_table(one.curves)]))
    return story


def _year_table(years: Sequence[Sequence[str]]) -> list[Flow]:
    heads = [_("Made in"), _("Seen"), _("Failed"), _("Expected"), _("Share failed")]
    rows = [[text(year, CELL), *(text(cell, CELL_RIGHT) for cell in cells)] for year, *cells in years]
    return [table(heads, rows, [0.24, 0.15, 0.15, 0.18, 0.28], right=range(1, len(heads)))] if rows else []


def _picture(curves: Sequence[Curve]) -> Flow:
    """The chart of the page as vectors."""
    from svglib.svglib import svg2rlg  # only a paper with curves needs it

    drawing: Any = svg2rlg(BytesIO(svg_for_paper(curves_figure(curves), family=chart_font()).encode()))
    share = CURVES_WIDTH / drawing.width
    drawing.scale(share, share)
    drawing.width, drawing.height = drawing.width * share, drawing.height * share
    drawing.hAlign = "LEFT"
    drawing.initialFontName = REGULAR  # else reportlab begins with its own, which is not embedded
    _in_our_font(drawing)
    return drawing


def _in_our_font(shape: Any) -> None:
    """The chart's words in the typeface that the paper embeds anyway."""
    if hasattr(shape, "fontName"):
        shape.fontName = REGULAR
    for part in getattr(shape, "contents", ()):
        _in_our_font(part)


def _curve_table(curves: Sequence[Curve]) -> list[Flow]:
    last = max(max(curve.age) for curve in curves)
    heads = [_("Age, years")]
    for curve in curves:
        name = curve_words(curve.label)
        heads += [_("{curve}: failed (nine tenths)").format(curve=name), _("without a model"), _("at risk")]
    rows = []
    for age in age_ticks(last):
        if age <= 0:
            continue
        row = [text(f"{age:g}", CELL)]
        for curve in curves:
            at = min(range(len(curve.age)), key=lambda i, c=curve, a=age: abs(c.age[i] - a))  # type: ignore[misc]
            free = curve.nonparametric[at]
            band = _("{share} ({low} to {high})").format(
                share=percent_words(curve.share[at]),
                low=percent_words(curve.low[at]),
                high=percent_words(curve.high[at]),
            )
            row += [
                text(band, CELL_RIGHT),
                text("–" if free is None else percent_words(free), CELL_RIGHT),
                text(str(at_risk_at(curve, age)), CELL_RIGHT),
            ]
        rows.append(row)
    each = 0.9 / len(curves)
    widths = [0.1] + [part * each for _curve in curves for part in (0.5, 0.28, 0.22)]
    return [table(heads, rows, widths, right=range(1, len(heads)))]


class StripPicture(Flowable):  # type: ignore[misc]
    """The strip as on the page: a short line for seen and none failed, else the number of failures in an outline, with
    half a ground for more and a full ground for far more than expected. Splits between rows."""

    def __init__(self, strip: Strip, rows: Sequence[StripRow] | None = None) -> None:
        super().__init__()
        self.strip, self.rows = strip, tuple(strip.rows if rows is None else rows)
        self.cell = (WIDTH - SIDE) / max(len(strip.columns), 1)
        self.cell = min(self.cell, 16.0)
        self.width, self.height = WIDTH, HEAD + ROW * len(self.rows) + 4

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def split(self, _width: float, height: float) -> list[Flow]:
        fit = int((height - HEAD - 4) // ROW)
        if fit < 2:
            return []
        if fit >= len(self.rows):
            return [self]
        return [StripPicture(self.strip, self.rows[:fit]), StripPicture(self.strip, self.rows[fit:])]

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        self._years()
        for number, row in enumerate(self.rows):
            self._row(row, self.height - HEAD - ROW * (number + 1))
        canvas.restoreState()

    def _years(self) -> None:
        canvas = self.canv
        canvas.setFont(REGULAR, 6.5)
        for at, column in enumerate(self.strip.columns):
            year, month = divmod(column.first, 12)
            if month == 0 and (self.cell * 12 / self.strip.grain >= 20 or year % 2 == 0):
                x = SIDE + self.cell * at
                canvas.setStrokeColor(LINE)
                canvas.setLineWidth(0.3)
                canvas.line(x, 0, x, self.height)
                canvas.setFillColor(SOFT)
                canvas.drawString(x + 1.5, self.height - 8, str(year))

    def _row(self, row: StripRow, y: float) -> None:
        canvas = self.canv
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 7)
        canvas.drawString(0, y + 7, plain(row.position))
        canvas.setFont(REGULAR, 7)
        canvas.drawString(26, y + 7, plain(_short(row.name)))
        canvas.drawRightString(SIDE - 5, y + 1, f"{row.failed}/{row.units}")
        for cell in row.cells:
            self._cell(cell, y)
        for mark in row.marks:
            self._mark(mark, y + ROW - 3.5)

    def _cell(self, cell: StripCell, y: float) -> None:
        canvas, x, size = self.canv, SIDE + self.cell * cell.column, min(self.cell - 1, 9.0)
        canvas.setStrokeColor(INK)
        canvas.setFillColor(INK)
        canvas.setLineWidth(0.5)
        if not cell.failed:
            canvas.line(x + 1, y + 3, x + self.cell - 1, y + 3)
            return
        left, low = x + (self.cell - size) / 2, y + 1
        if cell.level:
            canvas.setFillGray(0.15 if cell.level == 2 else 0.7)
            canvas.rect(left, low, size, size if cell.level == 2 else size / 2, stroke=0, fill=1)
        canvas.rect(left, low, size, size, stroke=1, fill=0)
        canvas.setFillGray(1.0 if cell.level == 2 else 0.0)
        canvas.setFont(BOLD, 6)
        canvas.drawCentredString(left + size / 2, low + size / 2 - 2, str(cell.failed))

    def _mark(self, mark: StripMark, y: float) -> None:
        canvas, wide = self.canv, self.cell * len(self.strip.columns)

        def at(share: float) -> float:
            return SIDE + float(wide) * share

        canvas.setStrokeColor(INK)
        canvas.setLineWidth(2.2)
        canvas.setDash([] if mark.state == "confirmed" else [3, 1.5])
        canvas.line(at(mark.left), y, at(mark.right), y)
        canvas.setDash([])
        canvas.setLineWidth(0.6)
        for is_open, low, high in (
            (mark.open_first, mark.first_low, mark.first_high),
            (mark.open_last, mark.last_low, mark.last_high),
        ):
            if not is_open:
                canvas.line(at(low), y, at(high), y)
                canvas.line(at(low), y - 2.5, at(low), y + 2.5)
                canvas.line(at(high), y - 2.5, at(high), y + 2.5)


def _short(name: str, letters: int = 26) -> str:
    return name if len(name) <= letters else name[: letters - 1] + "…"


def _legend() -> list[Flow]:
    words = _(
        "A short line: seen, none failed. A number: that many failed; on half a ground more than chance makes likely "
        "(1 in 20), on a dark ground far more (1 in 200). A broken bar: range proposed; a full bar: confirmed; its "
        "whiskers: where an end may lie, with nine tenths of the probability."
    )
    return [text(words, SOFT_SMALL)]


def _table(strip: Strip) -> list[Flow]:
    heads = [_("Position"), _("Seen"), _("Failed"), _("Expected")]
    rows = [
        [
            text(f"{row.position} {row.name}", CELL),
            text(str(row.units), CELL_RIGHT),
            text(str(row.failed), CELL_RIGHT),
            text(f"{row.expected:.1f}", CELL_RIGHT),
        ]
        for row in strip.rows
    ]
    made = months_phrase(strip.columns[0].first, strip.columns[-1].last)
    words = _("Cars made {months}; expected by the model without any range, for units of that age.")
    note = words.format(months=made)
    return [
        *subheading(_("The same as numbers")),
        text(note, SOFT_SMALL),
        table(heads, rows, [0.55, 0.15, 0.15, 0.15], right=(1, 2, 3)),
    ]
