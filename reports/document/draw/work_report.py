"""The work report on paper: what was said to be wrong, what was found and done, what was seen after, what is open."""

from reportlab.platypus import CondPageBreak, Spacer

from diagnostics.engine.words import _
from diagnostics.paper.fonts import fonts_ready
from diagnostics.paper.frame import Paper
from diagnostics.paper.kit import (
    CELL,
    CELL_BOLD,
    SMALL,
    SOFT_SMALL,
    STRONG,
    Flow,
    day,
    facts,
    heading,
    moment,
    table,
    text,
)
from diagnostics.paper.marks import Seam, Tag
from reports.document.content import Finding, Weight, WorkDone
from reports.document.draw.bench_kit import masthead
from reports.document.draw.sheet_kit import beside, missing_letters, shortened
from reports.document.draw.states import weight_tag
from reports.document.plain import plain_words, where_words
from reports.document.sheets import WorkReport


def draw_work_report(content: WorkReport) -> bytes:
    """A PDF of as many A4 pages as it takes. The same content gives the same bytes."""
    fonts_ready()
    title = _("Work report {number}").format(number=content.number)
    paper = Paper(
        title=f"{title} · {content.title}",
        author=content.shop,
        subject=f"{content.title}, {content.vin}",
        running=_("{title} · {vin}").format(title=title, vin=content.vin),
        head=shortened(" · ".join(filter(None, [content.shop, title]))),
        issued_at=content.printed_at,
    )
    return paper.made_of(_story(content))[0]


def _story(content: WorkReport) -> list[Flow]:
    right = [(_("Job"), content.number), (_("Made out"), moment(content.printed_at))]
    said = content.complaint or _("No complaint was taken down.")
    return [
        *masthead(content.shop, _("Work report"), right),
        facts(content.facts, label=0.16),
        *heading(_("What was said to be wrong")),
        text(said),
        *heading(_("How it stands")),
        *(text(words, STRONG) for words in content.summary),
        *(text(words) for words in content.seen),
        *_put_right(content.put_right),
        *_done(content.done),
        *_open(content),
        *_closing(content),
        *missing_letters(content),
    ]


def _put_right(rows: tuple[Finding, ...]) -> list[Flow]:
    if not rows:
        return []
    return [*heading(_("What was found and put right")), _findings(rows, weighed=False)]


def _findings(rows: tuple[Finding, ...], *, weighed: bool) -> Flow:
    """One row a place and weight: what it means, then what exactly was seen. `weighed`: with the weight."""
    grouped: dict[tuple[str, Weight, str], list[Finding]] = {}
    for one in rows:
        grouped.setdefault((where_words(one), one.weight, plain_words(one)), []).append(one)
    cells = []
    for (where, weight, plain), found in grouped.items():
        told = [text(plain, CELL), *(text(one.words, SOFT_SMALL) for one in found)]
        cells.append([text(where, CELL_BOLD), told, *([weight_tag(weight)] if weighed else ())])
    head = [_("Where"), _("What was found")]
    if not weighed:
        return table(head, cells, [0.3, 0.7])
    return table([*head, _("Weight")], cells, [0.3, 0.56, 0.14])


def _done(rows: tuple[WorkDone, ...]) -> list[Flow]:
    story: list[Flow] = heading(_("What was done"))
    if not rows:
        return [*story, text(_("Nothing."))]
    cells = [[text(day(row.at), CELL), _work(row), _after(row)] for row in rows]
    return [*story, table([_("When"), _("Work"), _("Seen afterwards")], cells, [0.14, 0.46, 0.4])]


def _work(row: WorkDone) -> list[Flow]:
    words = [text(f"{row.position} {row.name}".strip(), CELL_BOLD), text(row.kind, CELL)]
    words += [text(row.words, CELL)] if row.words else []
    for name, part in ((_("Part taken off"), row.old_part), (_("Part fitted"), row.new_part)):
        if part:
            words.append(text(_("{name}: {part}").format(name=name, part=part), CELL))
    return [*words, text(_("by {by}").format(by=row.by), SMALL)]


def _after(row: WorkDone) -> list[Flow]:
    if not row.evidence:
        return [Tag("ring", _("not seen")), text(_("Nothing was seen at this place after the work."), CELL)]
    return [text(words, CELL) for words in row.evidence]


def _open(content: WorkReport) -> list[Flow]:
    story: list[Flow] = heading(_("What is still open"))
    if not content.found_open and not content.still_open:
        return [*story, text(_("Nothing that we know of."))]
    if content.found_open:
        story += [_findings(content.found_open, weighed=True), Spacer(0, 4)]
    return [*story, *(beside(Tag("ring", ""), text(words, CELL)) for words in content.still_open)]


def _closing(content: WorkReport) -> list[Flow]:
    people = _("Worked on or checked by: {people}.").format(people=", ".join(content.people)) if content.people else ""
    made = _("Made out by {by} for {shop} on {at}.") if content.shop else _("Made out by {by} on {at}.")
    note = _(
        "This report tells of this car in this job only. It is no invoice, no certificate and no roadworthiness "
        "inspection, and it promises nothing about the future. Local rules and licensed inspection prevail."
    )
    lines = [people, made.format(by=content.by, shop=content.shop, at=moment(content.printed_at)), content.contact]
    return [
        CondPageBreak(90),
        Spacer(0, 8),
        Seam(),
        *(text(words, CELL) for words in lines if words),
        Spacer(0, 4),
        text(note, SMALL),
    ]
