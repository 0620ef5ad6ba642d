"""What may fail next, as a certificate says it: chances with their intervals, and nothing where too few were seen."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from diagnostics.charts.words import percent_words
from diagnostics.engine.words import _
from diagnostics.learning.predict import Outlook, PositionOutlook
from reports.document.content import Ahead, AheadRow, Expected, Finding

FEWEST_CARS = 20
"""With such a unit, of which something is said; common practice, no source."""
NAMED = 2
"""Positions that the first page names."""
TOLD = (12, 24)
"""Months of which a chance is said."""
CURVE = (3, 6, 9, 12, 15, 18, 21, 24)
"""Months at which a curve is reckoned: what an outlook is asked for."""
DRAWN = 3
"""Positions of which a curve is drawn."""


def ahead_of(
    found: Outlook,
    findings: Sequence[Finding],
    *,
    names: Mapping[str, str],
    made: Mapping[str, str],
    as_of: date,
    learned_on: date,
) -> Ahead:
    """`found`: asked for the months of CURVE, or of TOLD alone. `made`: position -> the sentence of a production range
    that the car falls in. What was found faulty and was not put right has failed already and is left out."""
    faulty = {one.position for one in findings if one.weight != "put-right"}
    rows = [_row(one, found.months, names, made) for one in found.positions if one.position not in faulty]
    drawn = [row.position for row in rows if row.expected][:DRAWN]
    kept = (row if row.position in drawn else replace(row, curve=()) for row in rows)
    return Ahead(as_of, learned_on, tuple(kept))


def ahead_words(ahead: Ahead | None) -> str:
    """What the first page says."""
    if ahead is None:
        return _(
            "None is given: nothing has been learned here of tops like this one, so nothing is said of what will fail "
            "next."
        )
    told = [row for row in ahead.rows if row.expected]
    if not told:
        return _("None is given: too few cars like this one were seen here to say what will fail next.")
    named = "; ".join(_named(row) for row in told[:NAMED])
    words = _("Likeliest to fail next, if all is good today: {named}. The list stands under “What may fail next”.")
    return words.format(named=named)


def expected_words(one: Expected) -> str:
    """'12 % (8 % to 17 %)'."""
    low, high = percent_words(one.low), percent_words(one.high)
    chance = percent_words(one.chance)
    return chance if low == high else _("{chance} ({low} to {high})").format(chance=chance, low=low, high=high)


def _named(row: AheadRow) -> str:
    last = row.expected[-1]
    words = _("{position} {name}, {chance} within {months} months")
    return words.format(position=row.position, name=row.name, chance=expected_words(last), months=last.months)


def _row(one: PositionOutlook, months: tuple[int, ...], names: Mapping[str, str], made: Mapping[str, str]) -> AheadRow:
    curve = tuple(
        Expected(span, round(chance.estimate, 4), round(chance.low, 4), round(chance.high, 4))
        for span, chance in zip(months, one.chances, strict=True)
    )
    if one.cars < FEWEST_CARS:
        curve = ()
    expected = tuple(point for point in curve if point.months in TOLD)
    return AheadRow(one.position, names[one.position], expected, one.cars, made.get(one.position, ""), curve)
