"""The pin card of a module: every pin in its place in the connector, its wire, and what it shows in each resting
pose."""

from collections.abc import Mapping, Sequence
from itertools import groupby

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable, Spacer

from diagnostics.engine.bench_list import due_volts
from diagnostics.engine.cautions import caution_words
from diagnostics.engine.motion import pin_state
from diagnostics.engine.poses import place_words, plain
from diagnostics.engine.system.model import Pin, Position, TopSystem
from diagnostics.engine.system.series import twin_of
from diagnostics.engine.words import _
from diagnostics.paper.fonts import BOLD, REGULAR, fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import CELL, CELL_BOLD, HEAD, INK, SMALL, SOFT, SUB, WIDTH, Flow, day, facts, text
from diagnostics.paper.marks import Tag
from reports.document.bench import PinCard
from reports.document.draw.bench_kit import INKS, Wire, grid, masthead, one_page

DIGEST_SHOWN = 12


def draw_pin_card(content: PinCard) -> bytes:
    """One A4 page (PDF) to hang at the bench. The same content gives the same bytes."""
    fonts_ready()
    system = content.system
    title = _("Pin card: {title}").format(title=system.title)
    revision = _("{system}, revision {revision}").format(system=system.system, revision=system.revision)
    paper = Paper(
        title=title,
        author=content.shop,
        subject=revision,
        running=_("{revision} · file {digest}").format(revision=revision, digest=content.sha256[:DIGEST_SHOWN]),
        head=title,
        issued_at=content.printed_at,
    )
    story = masthead(
        content.shop, _("Pin card"), [(_("Revision"), str(system.revision)), (_("Printed"), day(content.printed_at))]
    )
    story += [_about(system), _caution()]
    for connector, pins in groupby(system.sensors().items(), key=lambda item: _pin(item[1]).connector):
        story += _connector(system, connector, dict(pins))
    return one_page(paper, story)


def _about(system: TopSystem) -> Flow:
    module = system.positions[system.module.position]
    limits = _("low under {low:.1f} V, high over {high:.1f} V, between them a finding; at {supply:.0f} V of supply")
    volts = limits.format(
        low=system.module.low_share * system.supply_v,
        high=system.module.high_share * system.supply_v,
        supply=system.supply_v,
    )
    where = _("{code} {name}: {place}").format(code=system.module.position, name=module.name, place=module.place)
    return facts([(_("Top"), system.title), (_("Module"), where), (_("Limits"), volts)], label=0.12)


def _caution() -> Flow:
    words = [caution_words("battery"), caution_words("ignition"), caution_words("pinch")]
    words.append(_("Back-probe with a thin insulated probe and never bridge two pins."))
    words.append(_("Local rules and licensed practice come first."))
    return grid([Tag("octagon", "", size=8), text(" ".join(words), SMALL)], [], [0.03, 0.97])


def _connector(system: TopSystem, code: str, pins: Mapping[str, Position]) -> list[Flow]:
    poses = list(system.poses)[:2]
    heads = [_("Pin"), _("Wire"), _("Position"), "", *(_("Top {pose}").format(pose=plain(pose)) for pose in poses)]
    rows = [_row(system, sensor, position, poses) for sensor, position in pins.items()]
    return [
        text(_("Connector {code}, as its pins are numbered").format(code=code), SUB),
        Face([(_pin(position), sensor) for sensor, position in pins.items()]),
        Spacer(0, 3),
        grid([text(head, HEAD) for head in heads], rows, [0.09, 0.14, 0.08, 0.31, 0.19, 0.19]),
    ]


def _row(system: TopSystem, code: str, position: Position, poses: Sequence[str]) -> list[Flow]:
    pin = _pin(position)
    shows = [_shows(system, position, pin_state(system, code, system.poses[pose])) for pose in poses]
    name = f"{position.name} ({position.place})"
    twin = twin_of(system, code)
    if twin is not None:
        other = system.positions[twin]
        name += _("; in series with {code} {name} ({place})").format(code=twin, name=other.name, place=other.place)
    return [
        text(pin.label, CELL_BOLD),
        Wire(pin),
        text(code, CELL_BOLD),
        text(name, CELL),
        *(text(words, CELL) for words in shows),
    ]


def _shows(system: TopSystem, position: Position, state: str) -> str:
    due = due_volts(system, position, state, system.supply_v)
    return f"{place_words(state)}, {due}" if due else place_words(state)


def _pin(position: Position) -> Pin:
    assert position.pin is not None  # noqa: S101 - sensors with a pin only
    return position.pin


class Face(Flowable):  # type: ignore[misc]
    """The connector from its pin side: rows by letter, cavities by number; an unused one is drawn empty."""

    CELL, ROW = 30.0, 25.0

    def __init__(self, pins: Sequence[tuple[Pin, str]]) -> None:
        super().__init__()
        self.pins = {(pin.row, pin.number): (pin, code) for pin, code in pins}
        self.rows = sorted({row for row, _number in self.pins})
        self.most = max(number for _row, number in self.pins)
        self.step = min(self.CELL, (WIDTH - 16) / self.most)
        self.width, self.height = WIDTH, self.ROW * len(self.rows) + 10

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        for at, row in enumerate(self.rows):
            y = self.height - 10 - (at + 0.5) * self.ROW
            canvas.setFont(BOLD, 8)
            canvas.setFillColor(INK)
            canvas.drawString(0, y - 3, row)
            for number in range(1, self.most + 1):
                self._cavity(16 + (number - 0.5) * self.step, y, self.pins.get((row, number)))
        canvas.setFont(REGULAR, 6.5)
        canvas.setFillColor(SOFT)
        for number in range(1, self.most + 1):
            canvas.drawCentredString(16 + (number - 0.5) * self.step, self.height - 7, str(number))
        canvas.restoreState()

    def _cavity(self, x: float, y: float, used: tuple[Pin, str] | None) -> None:
        canvas, radius = self.canv, min(7.0, self.step / 2 - 1)
        canvas.setLineWidth(0.6)
        canvas.setStrokeColor(INK if used else SOFT)
        if used is None:
            canvas.circle(x, y + 3, radius * 0.5, stroke=1, fill=0)
            return
        pin, code = used
        canvas.setFillColor(HexColor(INKS[pin.colours[0]]))
        canvas.circle(x, y + 3, radius, stroke=1, fill=1)
        if len(pin.colours) > 1:
            canvas.setFillColor(HexColor(INKS[pin.colours[1]]))
            canvas.rect(x - radius * 0.9, y + 3 - radius / 3, radius * 1.8, radius / 1.5, stroke=0, fill=1)
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 6.5)
        canvas.drawCentredString(x, y - radius - 4, code)
