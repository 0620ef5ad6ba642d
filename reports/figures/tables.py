"""A figure as a table: its items in rows by month, system or person, and all of them together."""

from collections.abc import Sequence

from diagnostics.charts.words import month_name
from diagnostics.engine.words import _
from diagnostics.learning.records import month_of, month_words
from reports.figures.records import Facts, Row, Table
from reports.figures.specs import SPECS, Item, Spec

ALL = "all"
UNDECLARED = "none"
"""Key of the row of cars whose top system nobody has declared."""


def spec_of(key: str) -> Spec | None:
    return next((spec for spec in SPECS if spec.key == key), None)


def table_of(spec: Spec, facts: Facts, by: str) -> Table:
    """`by` one of spec.by; anything else means the first of them."""
    by = by if by in spec.by else spec.by[0]
    items = list(spec.items(facts))
    rows = [Row(key, title, tuple(spec.cells(facts, own))) for key, title, own in _rows(facts, items, by)]
    return Table(
        key=spec.key,
        title=spec.title(),
        by=by,
        lead=spec.lead(),
        needs=spec.needs(),
        columns=tuple(spec.columns(facts)),
        rows=tuple(rows),
        total=Row(ALL, _("All"), tuple(spec.cells(facts, items))),
        notes=tuple(spec.notes(facts, items)),
        drawn=spec.drawn,
        measure=spec.measure(),
    )


def _rows(facts: Facts, items: Sequence[Item], by: str) -> list[tuple[str, str, list[Item]]]:
    """(key, title, items) of each row: every month of the span, or those systems and people that there are."""
    if by == "month":
        months = {month: [item for item in items if month_of(item.on) == month] for month in facts.span.months()}
        return [(month_words(month), month_name(month), own) for month, own in months.items()]
    if by == "person":
        names = sorted({item.person for item in items})
        return [(name, name, [item for item in items if item.person == name]) for name in names]
    systems = facts.system_of()
    found: dict[str, list[Item]] = {}
    for item in items:
        found.setdefault(systems.get(item.job, ""), []).append(item)
    titled = sorted((facts.systems.get(slug, slug) if slug else _("not declared"), slug) for slug in found)
    return [(slug or UNDECLARED, title, found[slug]) for title, slug in titled]
