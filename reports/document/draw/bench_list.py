"""The bench list on one page: poses with the pins to read in them, switches to press by hand, and lines to write on."""

from reportlab.platypus import Spacer

from diagnostics.engine.bench_list import BenchList, ByHand, PoseToRead, Reading
from diagnostics.engine.words import _
from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import CELL, CELL_BOLD, HEAD, SMALL, STRONG, SUB, Flow, facts, moment, text
from diagnostics.paper.marks import Tag
from reports.document.bench import BenchPaper
from reports.document.draw.bench_kit import Box, Wire, grid, masthead, one_page


def draw_bench_list(content: BenchPaper) -> bytes:
    """One A4 page (PDF) for the car with no network. The same content gives the same bytes."""
    fonts_ready()
    title = _("Bench list")
    paper = Paper(
        title=f"{title} · {content.job}",
        author=content.shop,
        subject=f"{content.car}, {content.vin}",
        running=_("{job} · {vin} · {system}").format(job=content.job, vin=content.vin, system=content.system),
        head=title,
        issued_at=content.printed_at,
    )
    return one_page(paper, _story(content))


def _story(content: BenchPaper) -> list[Flow]:
    work = content.work
    story = masthead(
        content.shop, _("Bench list"), [(_("Job"), content.job), (_("Printed"), moment(content.printed_at))]
    )
    story += [facts([(_("Car"), f"{content.car}, {content.vin}"), (_("Top system"), content.system)], label=0.14)]
    if not work.count:
        return [*story, Spacer(0, 4), text(_("Everything that a pin can show is proven."), STRONG), *_rest(work)]
    words = _(
        "{poses} poses and {hands} switches by hand, about {minutes:.0f} minutes. Meter from the pin to ground, "
        "ignition on, module awake; limits for {supply:.1f} V of supply."
    )
    count = words.format(poses=len(work.poses), hands=len(work.by_hand), minutes=work.minutes, supply=content.supply)
    story += [text(count, CELL), _supply(), *_cautions(work)]
    if work.half_way_start:
        story.append(
            text(_("The top stands half way: bring it to rest by its emergency procedure first, and prop it."), STRONG)
        )
    for number, pose in enumerate(work.poses, start=1):
        story += _pose(number, pose)
    story += [text(move, CELL) for move in work.finish]
    return [*story, *_by_hand(work.by_hand), *_rest(work)]


def _supply() -> Flow:
    return grid(
        [text(_("Battery at rest"), CELL), Box("V"), text(_("Supply at the module"), CELL), Box("V"), text("", CELL)],
        [],
        [0.16, 0.16, 0.2, 0.16, 0.32],
    )


def _cautions(work: BenchList) -> list[Flow]:
    return [grid([Tag("octagon", "", size=8), text(" ".join(work.cautions), SMALL)], [], [0.03, 0.97])]


def _pose(number: int, pose: PoseToRead) -> list[Flow]:
    *before, stand = pose.moves
    head = [text(move, CELL) for move in before]
    head.append(text(f"{number}. {stand}", SUB))
    return [*head, grid(_heads(_("must read")), [_row(reading) for reading in pose.readings], _WIDTHS)]


_WIDTHS = (0.04, 0.09, 0.15, 0.08, 0.30, 0.22, 0.12)


def _heads(third: str) -> list[Flow]:
    names = ("", _("Pin"), _("Wire"), _("Position"), "", third, _("reads"))
    return [text(name, HEAD) for name in names]


def _row(reading: Reading) -> list[Flow]:
    due = f"{reading.state_words}, {reading.due}" if reading.due else reading.state_words
    return [
        Box(),
        text(reading.pin.label, CELL_BOLD),
        Wire(reading.pin),
        text(reading.code, CELL_BOLD),
        text(reading.name, CELL),
        text(due, CELL),
        Box("V"),
    ]


def _by_hand(switches: tuple[ByHand, ...]) -> list[Flow]:
    if not switches:
        return []
    rows: list[list[Flow]] = []
    for one in switches:
        words = _("pressed {pressed}, let go {released}").format(pressed=one.pressed, released=one.released)
        if one.hold:
            words += _("; hold {other} pressed all the time").format(other=one.hold)
        rows.append(
            [
                Box(),
                text(one.pin.label, CELL_BOLD),
                Wire(one.pin),
                text(one.code, CELL_BOLD),
                text(f"{one.name} ({one.place})", CELL),
                text(words, CELL),
                [Box("V"), Spacer(0, 2), Box("V")],
            ]
        )
    heads = _heads(_("must read"))
    return [text(_("By hand, the pin read pressed and let go"), SUB), grid(heads, rows, _WIDTHS)]


def _rest(work: BenchList) -> list[Flow]:
    """What no pin shows, and what the pins alone do not prove."""
    story: list[Flow] = []
    if work.out_of_reach:
        story += [text(_("Cannot be shown"), SUB), *(text(words, CELL) for words in work.out_of_reach)]
    if work.owed:
        rows = [[Box(), text(words, CELL)] for words in work.owed[1:]]
        story += [
            text(_("Still owed after the pins"), SUB),
            grid([Box(), text(work.owed[0], CELL)], rows, [0.04, 0.96]),
        ]
    return story
