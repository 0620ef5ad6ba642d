"""The estimate on paper: what was sent, word for word, the sums, and what was answered or room to answer."""

from collections.abc import Sequence

from reportlab.platypus import CondPageBreak, KeepTogether, Spacer, Table, TableStyle

from diagnostics.engine.words import _
from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import (
    BARE,
    CELL,
    CELL_RIGHT,
    INK,
    SMALL,
    STRONG,
    STRONG_RIGHT,
    WIDTH,
    Flow,
    heading,
    moment,
    table,
    text,
)
from diagnostics.paper.marks import Tag
from reports.document.draw.bench_kit import Box, masthead
from reports.document.draw.sheet_kit import missing_letters, shortened, sign_here
from reports.document.sheets import EstimatePaper, EstimateRow


def draw_estimate(content: EstimatePaper) -> bytes:
    """A PDF of as many A4 pages as it takes. The same content gives the same bytes."""
    fonts_ready()
    title = f"{content.title} · {content.job}"
    paper = Paper(
        title=title,
        author=content.shop,
        subject=content.head.splitlines()[-1] if content.head else content.job,
        running=shortened(title),
        head=shortened(title),
        issued_at=content.printed_at,
    )
    return paper.made_of(_story(content))[0]


def _story(content: EstimatePaper) -> list[Flow]:
    right = [(_("Sent"), moment(content.sent_at)), (_("Printed"), moment(content.printed_at))]
    return [
        *masthead("", content.title, right),
        *_notice(content),
        *(text(block) for block in content.head.split("\n\n") if block.strip()),
        *_lines(content),
        *_answers(content),
        *missing_letters(content),
    ]


def _notice(content: EstimatePaper) -> list[Flow]:
    tags = {
        "replaced": ("ring", _("Replaced")),
        "withdrawn": ("ring", _("Withdrawn")),
        "expired": ("ring", _("Expired")),
        "answered": ("disc", _("Answered")),
    }
    tag = tags.get(content.standing)
    return [*([Tag(*tag, bold=True)] if tag else ()), text(content.notice, STRONG), Spacer(0, 4)]


_WIDTHS = (0.05, 0.41, 0.12, 0.16, 0.1, 0.16)
_NUMBERS = (2, 3, 4, 5)


def _lines(content: EstimatePaper) -> list[Flow]:
    head = ["", _("What"), _("Quantity"), _("Price"), _("Tax"), _("Sum")]
    whole = table(head, [_line(row) for row in content.rows], _WIDTHS, right=_NUMBERS)
    # A line that cannot be told apart has the whole width for itself.
    whole.setStyle(TableStyle([("SPAN", (1, at), (-1, at)) for at, row in enumerate(content.rows, 1) if not row.cells]))
    return [*heading(_("The estimate")), whole, Spacer(0, 6), KeepTogether([_sums(content.foot, last_bold=True)])]


def _line(row: EstimateRow) -> list[Flow]:
    if not row.cells:
        words = row.text.removeprefix(f"{row.number}. ")
        return [text(f"{row.number}.", CELL), text(words, CELL), "", "", "", ""]
    what, *numbers = row.cells
    return [text(f"{row.number}.", CELL), text(what, CELL), *(text(one, CELL_RIGHT) for one in numbers)]


def _sums(rows: Sequence[tuple[str, str]], *, last_bold: bool = False) -> Flow:
    """Names and amounts at the right edge."""
    cells = []
    for at, (name, amount) in enumerate(rows, 1):
        style = STRONG_RIGHT if last_bold and at == len(rows) else CELL_RIGHT
        cells.append([text(name, style), text(amount, style)])
    whole = Table(cells, colWidths=[0.34 * WIDTH, 0.22 * WIDTH], hAlign="RIGHT")
    rule = [("LINEABOVE", (0, -1), (-1, -1), 0.8, INK)] if last_bold else []
    whole.setStyle(
        TableStyle(
            [
                *BARE,
                ("RIGHTPADDING", (0, 0), (-1, -1), 12),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                *rule,
            ]
        )
    )
    return whole


def _answers(content: EstimatePaper) -> list[Flow]:
    """What was answered, and boxes for what can still be."""
    rows = [row for row in content.rows if row.answer or content.standing == "open"]
    if not rows:
        return []
    story: list[Flow] = [
        *heading(_("Answers")),
        table(["", _("What"), _("Answer"), _("Who and when")], [_answer(row) for row in rows], [0.05, 0.45, 0.2, 0.3]),
    ]
    if content.sums:
        story += [Spacer(0, 6), KeepTogether([_sums(content.sums)])]
    if content.standing == "open":
        words = _(
            "To answer on paper, tick one box a line, write your name and the day, sign, and give it back to us: we "
            "note it. An answer counts once."
        )
        story += [CondPageBreak(70), Spacer(0, 6), text(words, SMALL), *sign_here(_("Name, day and signature"))]
    return story


def _answer(row: EstimateRow) -> list[Flow]:
    what = text(row.cells[0] if row.cells else row.text.removeprefix(f"{row.number}. "), CELL)
    number = text(f"{row.number}.", CELL)
    if row.answer == "approved":
        return [number, what, Tag("disc", _("Approved")), text(row.answered, CELL)]
    if row.answer == "declined":
        return [number, what, Tag("diamond-open", _("Declined")), text(row.answered, CELL)]
    return [number, what, _boxes(), text("", CELL)]


def _boxes() -> Flow:
    cells = [[Box(), text(_("approve"), CELL), Box(), text(_("decline"), CELL)]]
    boxes = Table(cells, colWidths=[13, 38, 13, 36], hAlign="LEFT")
    boxes.setStyle(TableStyle([*BARE, ("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]))
    return boxes
