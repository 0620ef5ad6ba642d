"""The displacement-step diagram of a motion on paper, in the manner of VDI 3260 (withdrawn, still usual; from
memory)."""

from typing import Any

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import CondPageBreak, Flowable

from diagnostics.engine.words import _, _n
from diagnostics.paper.fonts import BOLD, REGULAR, plain
from diagnostics.paper.kit import INK, LINE, SMALL, SOFT, THREAD, WIDTH, Flow, subheading, text
from diagnostics.paper.marks import Tag
from reports.document.content import MotionBar, MotionLane, MotionPicture

SIDE, PLACES = 142.0, 56.0
REST, MOVE = 2.0, 7.0
"""Shares of a step's width: where the top rests before it, and where it moves."""
LEVEL, BETWEEN_LANES, ROW, HEAD = 9.5, 10.0, 10.5, 48.0
SIZE, LEAD, LINES = 6.5, 7.3, 4


def pictured(pictures: tuple[MotionPicture, ...]) -> list[Flow]:
    """Each motion as a picture with a sentence that says it in words."""
    story: list[Flow] = []
    for one in pictures:
        chart = MotionChart(one)
        words = text(_words(one), SMALL)
        story += [CondPageBreak(chart.height + 50), *subheading(_("{motion}, as declared").format(motion=one.title))]
        story += [words, chart]
    return story


def room_of(pictures: tuple[MotionPicture, ...]) -> float:
    """Points that the first picture takes with its heading: less at the foot of a page would leave a heading alone."""
    return MotionChart(pictures[0]).height + 90 if pictures else 0.0


def _words(picture: MotionPicture) -> str:
    count = len(picture.steps)
    steps = _n("{count} step from left to right.", "{count} steps from left to right.", count).format(count=count)
    lines = _(
        "A line that rises or falls is a part of the top that moves; below, a bar stands where the control module is "
        "due to see the sensor made, a square where it reports the end of a step."
    )
    words = f"{steps} {lines}"
    if picture.stopped_at:
        stopped = _("The last trial stopped at step {number}.").format(number=picture.stopped_at)
        words = f"{words} {stopped}"
    return words


class MotionChart(Flowable):  # type: ignore[misc]
    """Lanes of the moving parts over the rows of the sensors; as wide as the column."""

    def __init__(self, picture: MotionPicture) -> None:
        super().__init__()
        self.picture = picture
        self.share: float = (WIDTH - SIDE) / ((REST + MOVE) * len(picture.steps) + REST)
        lanes = sum(LEVEL * (len(lane.places) - 1) + BETWEEN_LANES for lane in picture.lanes)
        self.lanes_end = HEAD + lanes + 4
        self.width, self.height = WIDTH, self.lanes_end + ROW * len(picture.bars) + 6
        self.spaceAfter = 4

    def rest(self, step: int) -> float:
        """Where the rest before `step` (from 0) begins; after the last one with the number of steps."""
        return SIDE + (REST + MOVE) * self.share * step

    def move(self, step: int) -> float:
        return self.rest(step) + REST * self.share

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.setLineJoin(1)
        self._heads(canvas)
        y = HEAD
        for lane in self.picture.lanes:
            self._lane(canvas, lane, y)
            y += LEVEL * (len(lane.places) - 1) + BETWEEN_LANES
        for row, bar in enumerate(self.picture.bars):
            self._bar(canvas, bar, self.lanes_end + ROW * row + 7)
        canvas.restoreState()

    def _heads(self, canvas: Any) -> None:
        room = (REST + MOVE) * self.share - 3
        for step, title in enumerate(self.picture.steps):
            middle = self.move(step) + MOVE * self.share / 2
            canvas.setStrokeColor(LINE)
            canvas.setLineWidth(0.4)
            x = self.rest(step) + REST * self.share / 2
            canvas.line(x, -HEAD + 6, x, -self.height + 4)
            canvas.setFillColor(THREAD if step + 1 == self.picture.stopped_at else INK)
            canvas.setFont(BOLD, 8)
            canvas.drawCentredString(middle, -12, str(step + 1))
            canvas.setFont(REGULAR, SIZE)
            for line, words in enumerate(_lines(title, room)):
                canvas.drawCentredString(middle, -19.5 - LEAD * line, words)
            if step + 1 == self.picture.stopped_at:
                Tag("octagon", "", size=7).drawOn(canvas, middle - 13, -13.5)

    def _lane(self, canvas: Any, lane: MotionLane, top: float) -> None:
        def level(place: int) -> float:
            return -(top + LEVEL * (len(lane.places) - 1 - place))

        end = self.rest(len(self.picture.steps)) + REST * self.share
        canvas.setFillColor(SOFT)
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.4)
        canvas.setFont(REGULAR, SIZE)
        for place, name in enumerate(lane.places):
            canvas.line(SIDE, level(place), end, level(place))
            canvas.drawRightString(SIDE - 4, level(place) - 2.2, cut(name, PLACES, SIZE))
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 7.5)
        middle = (level(0) + level(len(lane.places) - 1)) / 2 - 2.5
        canvas.drawString(0, middle, cut(lane.name, SIDE - PLACES - 8, 7.5, BOLD))
        path = canvas.beginPath()
        path.moveTo(self.rest(0), level(lane.stands[0]))
        for step, (start, to) in enumerate(zip(lane.stands, lane.stands[1:], strict=False)):
            path.lineTo(self.move(step), level(start))
            path.lineTo(self.rest(step + 1), level(to))
        path.lineTo(end, level(lane.stands[-1]))
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.5)
        canvas.drawPath(path)

    def _bar(self, canvas: Any, bar: MotionBar, y: float) -> None:
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 7.5)
        canvas.drawString(0, -y, bar.position)
        room = stringWidth(bar.position, BOLD, 7.5) + 4
        canvas.setFillColor(SOFT)
        canvas.setFont(REGULAR, SIZE)
        canvas.drawString(room, -y, cut(bar.name, SIDE - room - 6, SIZE))
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.4)
        canvas.line(SIDE, -y, self.rest(len(self.picture.steps)) + REST * self.share, -y)
        canvas.setFillColor(INK)
        for moment, made in enumerate(bar.made):
            if made:
                step, moving = divmod(moment, 2)
                start = self.move(step) if moving else self.rest(step)
                canvas.rect(start, -y, (MOVE if moving else REST) * self.share + 0.1, 5, stroke=0, fill=1)
        canvas.setFillColor(THREAD)
        for number in bar.ends:
            canvas.rect(self.rest(number) - 2, -y - 0.8, 4, 6.6, stroke=0, fill=1)


def _lines(title: str, room: float) -> list[str]:
    lines = [cut(line, room, SIZE) for line in simpleSplit(plain(title), REGULAR, SIZE, room)]
    return lines if len(lines) <= LINES else [*lines[: LINES - 1], cut(f"{lines[LINES - 1]}…", room, SIZE)]


def cut(words: str, room: float, size: float, font: str = REGULAR) -> str:
    """`words` as far as they fit into `room` points, with an ellipsis where they do not."""
    words = plain(words).replace("\n", " ")
    if stringWidth(words, font, size) <= room:
        return words
    while words and stringWidth(f"{words}…", font, size) > room:
        words = words[:-1]
    return f"{words.rstrip(' ,')}…"
