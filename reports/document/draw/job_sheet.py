"""The job sheet on paper: what to check and do at the car, what must not happen, boxes to tick, room to write."""

from typing import Any

from reportlab.platypus import CondPageBreak, Spacer, Table, TableStyle

from diagnostics.engine.words import _
from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import (
    BARE,
    BODY,
    CELL,
    CELL_BOLD,
    CELL_RIGHT,
    LABEL,
    SMALL,
    SOFT_SMALL,
    STRONG,
    TITLE,
    WIDTH,
    Flow,
    facts,
    heading,
    moment,
    subheading,
    table,
    text,
)
from diagnostics.paper.marks import Mark, Seam, Tag
from reports.document.draw.bench_kit import Box, grid
from reports.document.draw.code import Code
from reports.document.draw.sheet_kit import Rules, beside, missing_letters, shortened
from reports.document.sheets import CheckRow, JobSheet, PickRow, TaskRow

CODE = 74
"""Points: a telephone reads the code from a hand's breadth."""


def draw_job_sheet(content: JobSheet) -> bytes:
    """A PDF of as many A4 pages as it takes. The same content gives the same bytes."""
    fonts_ready()
    title = _("Job sheet {number}").format(number=content.number)
    paper = Paper(
        title=f"{title} · {content.title}",
        author=content.shop,
        subject=f"{content.title}, {content.vin}",
        running=_("{title} · {vin}").format(title=title, vin=content.vin),
        head=shortened(f"{title} · {content.title}"),
        issued_at=content.printed_at,
    )
    return paper.made_of(_story(content))[0]


def _story(content: JobSheet) -> list[Flow]:
    return [
        _masthead(content),
        Seam(),
        *_complaint(content),
        *_first(content),
        *_cautions(content),
        *_tasks(content.tasks),
        *_parts(content.parts),
        *missing_letters(content),
        *_notes(),
    ]


def _masthead(content: JobSheet) -> Flow:
    """What job and car it is, beside the code that leads to its page."""
    width = WIDTH - 40 - CODE
    printed = _("printed {at}").format(at=moment(content.printed_at))
    words: list[Any] = [
        text(content.number, TITLE),
        text(content.title, STRONG),
        text(" · ".join(filter(None, [_("Job sheet"), content.shop, printed])), SOFT_SMALL),
        Spacer(0, 5),
        facts(content.facts, width=width - 6, label=0.2),
    ]
    top = Table([[Mark(0.8), words, Code(content.url, CODE)]], colWidths=[40, width, CODE], hAlign="LEFT")
    top.setStyle(
        TableStyle(
            [
                *BARE,
                ("RIGHTPADDING", (2, 0), (2, 0), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    return top


def _complaint(content: JobSheet) -> list[Flow]:
    words = content.complaint or _("None was taken down.")
    return [*subheading(_("In the customer’s words")), text(words, BODY)]


def _first(content: JobSheet) -> list[Flow]:
    """What is open: suspects, what to check, what still has to be seen."""
    story: list[Flow] = heading(_("Check first"))
    if content.no_bench:
        story.append(text(content.no_bench))
    elif not (content.suspects or content.checks or content.owed):
        story.append(text(_("Nothing is open on the bench sheet.")))
    for one in content.suspects:
        words = _("{suspect} ({share} by the checks made)").format(suspect=one.words, share=one.share)
        story.append(beside(Tag("diamond-open", ""), text(words, CELL)))
    if content.checks:
        rows = [_check(row) for row in content.checks]
        story += [Spacer(0, 4), table(["", _("Next"), _("Result")], rows, [0.04, 0.66, 0.3])]
    if content.owed:
        story += subheading(_("Still to be seen after the work"))
        story += [beside(Box(), text(words, CELL)) for words in content.owed]
    return story


def _check(row: CheckRow) -> list[Flow]:
    words: list[Any] = [text(_("{what}, {minutes}").format(what=row.what, minutes=row.minutes), CELL_BOLD)]
    if row.pose:
        words.append(text(_("First bring the top to: {pose}").format(pose=row.pose), CELL))
    return [Box(), [*words, text(row.why, SMALL)], ""]


def _cautions(content: JobSheet) -> list[Flow]:
    return [
        *heading(_("Cautions")),
        *(beside(Tag("octagon", "", size=8), text(words, CELL)) for words in content.cautions),
    ]


def _tasks(tasks: tuple[TaskRow, ...]) -> list[Flow]:
    story: list[Flow] = [CondPageBreak(105), *heading(_("Work plan"))]  # a first task that fits is not cut in two
    if not tasks:
        return [*story, text(_("Nothing is planned yet."))]
    head = ["", "", _("Task"), _("Planned"), _("Who"), _("Minutes taken")]
    return [*story, table(head, [_task(row) for row in tasks], [0.04, 0.04, 0.44, 0.17, 0.17, 0.14])]


def _task(row: TaskRow) -> list[Flow]:
    words: list[Any] = [text(row.title, CELL_BOLD), *(text(one, SMALL) for one in row.notes)]
    if row.caution:
        words.append(_octagon(row.caution))
    mark = Tag("disc", "") if row.state == "done" else Box()
    who = _("done") if row.state == "done" else row.who or "–"
    return [mark, text(f"{row.number}", CELL), words, text(row.time, CELL), text(who, CELL), ""]


def _octagon(words: str) -> Flow:
    row = Table([[Tag("octagon", "", size=8), text(words, SMALL)]], colWidths=[12, 0.44 * WIDTH - 20], hAlign="LEFT")
    row.setStyle(TableStyle([*BARE, ("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0)]))
    return row


def _parts(parts: tuple[PickRow, ...]) -> list[Flow]:
    story: list[Flow] = heading(_("Parts to pick"))
    if not parts:
        return [*story, text(_("None are asked for."))]
    rows = [
        [
            Tag("disc", "") if row.here else Box(),
            text(f"{row.quantity} ×", CELL_RIGHT),
            [text(row.number, CELL_BOLD), text(row.name, CELL)] if row.number else text(row.name, CELL_BOLD),
            text(row.place or "–", CELL),
            text(row.position or "–", CELL),
            text(row.state, CELL),
        ]
        for row in parts
    ]
    head = ["", "", _("Part"), _("Lies at"), _("Goes to"), _("State")]
    return [*story, table(head, rows, [0.04, 0.08, 0.4, 0.15, 0.1, 0.23], right=(1,))]


def _notes() -> list[Flow]:
    """Room to write down to the end of the page, on the next one where little is left."""
    boxes = [
        text(_("Odometer, km"), LABEL),
        Box(" ", width=66),
        text(_("Battery at rest, V"), LABEL),
        Box(" ", width=44),
        text(_("Begun"), LABEL),
        Box(" ", width=60),
        text(_("Ended"), LABEL),
        Box(" ", width=60),
    ]
    widths = [0.13, 0.15, 0.17, 0.11, 0.08, 0.14, 0.08, 0.14]
    return [CondPageBreak(150), *heading(_("Written at the car")), grid(boxes, [], widths), Rules(0)]
