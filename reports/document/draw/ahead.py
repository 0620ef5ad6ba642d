"""What may fail next, position by position."""

from reportlab.platypus import CondPageBreak, Spacer

from diagnostics.engine.words import _
from diagnostics.paper.kit import CELL, CELL_BOLD, SMALL, Flow, day, heading, table, text
from reports.document.compose.ahead import FEWEST_CARS, expected_words
from reports.document.content import AheadRow, Certificate
from reports.document.draw.curves import ChanceCurves


def what_may_fail(content: Certificate) -> list[Flow]:
    ahead = content.ahead
    if ahead is None:
        return []
    told = [row for row in ahead.rows if row.expected]
    words = _(
        "The chance that the unit at a position fails within so many months from {day}, taken that it is good on "
        "that day, with the interval in which it lies in nine of ten cases; what was found faulty is not among them. "
        "Learned on {learned} from cars of this kind seen here; this car may do better or worse, and it is no promise."
    ).format(day=day(ahead.as_of), learned=day(ahead.learned_on))
    story: list[Flow] = [*heading(_("What may fail next")), text(words, SMALL)]
    if told:
        spans = [one.months for one in told[0].expected]
        head = [_("Position"), _("What"), *(_("{months} months").format(months=span) for span in spans), _("Cars")]
        cells = [
            [
                text(row.position, CELL_BOLD),
                text(f"{row.name}. {row.made}" if row.made else row.name, CELL),
                *(text(expected_words(one), CELL) for one in row.expected),
                text(f"{row.cars}", CELL),
            ]
            for row in told
        ]
        story.append(table(head, cells, [0.1, 0.44, *(0.38 / len(spans) for _span in spans), 0.08]))
        if any(row.curve for row in told):
            story += _curves(tuple(told))
    few = [
        f"{row.position} {row.name}. {row.made}" if row.made else f"{row.position} {row.name}"
        for row in ahead.rows
        if not row.expected
    ]
    if few:
        words = _("Too few cars with such a unit were seen here (under {least}) to say anything of: {names}.")
        story.append(text(words.format(least=FEWEST_CARS, names="; ".join(few)), SMALL))
    return story


def _curves(told: tuple[AheadRow, ...]) -> list[Flow]:
    chart = ChanceCurves(told)
    names = ", ".join(row.position for row in chart.rows)
    words = _("The same over the months, for {positions}: the line is the chance, the band the interval.")
    return [CondPageBreak(chart.height + 30), text(words.format(positions=names), SMALL), Spacer(0, 4), chart]
