"""The states of a certificate as shape and word: one table each."""

from collections.abc import Mapping
from typing import Final

from diagnostics.engine.words import _, marked
from diagnostics.paper.marks import Tag
from reports.document.content import Area, ProofRow, Statement, Weight
from reports.document.decide import Outcome

WEIGHTS: Final[Mapping[Weight, tuple[str, str]]] = {
    "critical": ("octagon", marked("Critical")),
    "major": ("diamond", marked("Major")),
    "minor": ("triangle", marked("Minor")),
    "put-right": ("disc", marked("Put right")),
}
STATEMENTS: Final[Mapping[Statement, tuple[str, str]]] = {
    "pass": ("disc", marked("Pass")),
    "conditional pass": ("half", marked("Conditional pass")),
    "conditional fail": ("diamond-open", marked("Conditional fail")),
    "fail": ("diamond", marked("Fail")),
    "none": ("ring", marked("No statement")),
}
AREAS: Final[Mapping[Area, str]] = {
    "electrical": marked("Electrical"),
    "motion": marked("Motions"),
    "hydraulics": marked("Hydraulics"),
    "seals": marked("Seals"),
    "mechanism": marked("Mechanism"),
    "whole": marked("Everything else"),
}


def statement_words(statement: Statement) -> str:
    return _(STATEMENTS[statement][1])


def weight_words(weight: Weight) -> str:
    return _(WEIGHTS[weight][1])


def area_words(area: Area) -> str:
    return _(AREAS[area])


def statement_tag(statement: Statement) -> Tag:
    return Tag(STATEMENTS[statement][0], statement_words(statement), size=17, bold=True)


def weight_tag(weight: Weight) -> Tag:
    return Tag(WEIGHTS[weight][0], weight_words(weight))


def outcome_tag(outcome: Outcome) -> Tag:
    return Tag(STATEMENTS[outcome][0], statement_words(outcome))


def seen_tag(seen: bool) -> Tag:
    return Tag("disc", _("seen")) if seen else Tag("ring", _("not seen"))


def proof_tag(row: ProofRow) -> Tag:
    if row.made and row.released:
        return Tag("disc", _("proven"), bold=True)
    return Tag("half", _("half proven")) if row.made or row.released else Tag("ring", _("not proven"))
