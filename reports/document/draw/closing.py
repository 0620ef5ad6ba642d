"""What holds for the whole: what was not tested, cautions, how it was done, what it rests on, and who approves it."""

from collections import defaultdict

from reportlab.platypus import Spacer

from diagnostics.engine.words import _
from diagnostics.paper.fonts import MISSING
from diagnostics.paper.kit import (
    BODY,
    CELL,
    SMALL,
    STRONG,
    Flow,
    facts,
    heading,
    moment,
    subheading,
    table,
    text,
)
from diagnostics.paper.marks import Seam, Tag
from reports.document.content import Area, Certificate
from reports.document.draw.instruments import instrument_words
from reports.document.draw.states import area_words


def not_tested(content: Certificate) -> list[Flow]:
    """One row for each area and reason, with everything that it holds for."""
    grouped: dict[tuple[Area, str], list[str]] = defaultdict(list)
    for row in content.results.not_tested:
        grouped[row.area, row.why].append(row.what)
    cells = [
        [text(area_words(area), CELL), text("; ".join(what), CELL), text(why, CELL)]
        for (area, why), what in grouped.items()
    ]
    story: list[Flow] = heading(_("What was not tested"))
    if not cells:
        return [*story, text(_("Nothing is left out of the list of the inspection."))]
    return [*story, table([_("Area"), _("What"), _("Why")], cells, [0.15, 0.5, 0.35])]


def cautions(content: Certificate) -> list[Flow]:
    if not content.cautions:
        return []
    story: list[Flow] = heading(_("Cautions"))
    rows = [[Tag("octagon", ""), text(words, BODY)] for words in content.cautions]
    return [*story, table(["", _("For whoever operates the top or works on it")], rows, [0.04, 0.96])]


def how(content: Certificate) -> list[Flow]:
    return [
        *heading(_("How it was done")),
        facts(
            [
                (_("Purpose and scope"), content.purpose),
                (_("Omitted"), _("Everything listed under “What was not tested”.")),
                (_("Place"), content.place),
                (_("Surroundings"), content.ambient or _("Temperature and humidity were not recorded.")),
                (_("Method"), content.method),
                (_("Instruments"), "\n".join(instrument_words(one) for one in content.instruments)),
                (_("Sampling"), _("None: each sensor is taken by itself.")),
                (_("Rule of the statement"), content.overall.rule),
                (_("Decision rule"), content.decision_rule),
                (_("Relied upon from the client"), "\n".join(content.client_information) or _("Nothing.")),
            ],
            label=0.22,
        ),
    ]


def approval(content: Certificate, missing_letters: bool) -> list[Flow]:
    """What this paper is and is not, and who approves it."""
    story: list[Flow] = [*heading(_("What this certificate is")), *map(text, content.statements)]
    if missing_letters:
        words = _("{square} stands for a letter that the typeface of this document does not have; the record keeps it.")
        story.append(text(words.format(square=MISSING), SMALL))
    person = content.approved_by
    story += [
        Spacer(0, 6),
        Seam(),
        *subheading(_("Approval")),
        text(f"{person.name}, {person.role}" if person.role else person.name, STRONG),
        text(
            _("approved this certificate {number} for {issuer} on {at}.").format(
                number=content.number, issuer=content.issuer.name, at=moment(content.issued_at)
            )
        ),
    ]
    return story


def end(content: Certificate) -> list[Flow]:
    return [Spacer(0, 6), text(_("End of certificate {number}.").format(number=content.number), SMALL)]
