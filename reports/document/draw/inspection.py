"""The inspection plan on paper: every item, what it asked for, and how it ended."""

from collections.abc import Mapping, Sequence

from reportlab.platypus import Spacer

from diagnostics.engine.words import _
from diagnostics.paper.kit import CELL, CELL_BOLD, SMALL, SOFT_SMALL, Flow, heading, moment, table, text
from diagnostics.paper.marks import Tag
from reports.document.content import Certificate, PlanRow
from reports.document.draw.states import area_words, weight_tag


def planned(content: Certificate) -> list[Flow]:
    """Nothing where the job was no inspection by plan."""
    rows = content.results.plan
    if not rows:
        return []
    numbers = {one.digest: at for at, one in enumerate(content.pictures, 1)}
    cells = [_one(group, numbers) for group in _groups(rows)]
    words = _("What the plan of this top asks for before a purchase. * marks an item on which the statement depends.")
    head = [_("Item, and what it asks for"), _("Result"), _("What was seen, or why it was skipped")]
    return [
        *heading(_("The inspection plan")),
        text(f"{plan_words(rows)} {words}", SMALL),
        table(head, cells, [0.4, 0.16, 0.44]),
        Spacer(0, 4),
    ]


def plan_words(rows: Sequence[PlanRow]) -> str:
    """How the plan ended in a sentence, the same on page and paper."""
    count = {state: sum(row.state == state for row in rows) for state in ("done", "finding", "skipped")}
    words = _("Inspection plan of {all} items: {done} in order, {finding} with a finding, {skipped} skipped.")
    return words.format(all=len(rows), **count)


def _groups(rows: Sequence[PlanRow]) -> list[list[PlanRow]]:
    """Items of one kind that follow each other and ended alike share a row."""
    groups: list[list[PlanRow]] = []
    for row in rows:
        if groups and _alike(row) is not None and _alike(row) == _alike(groups[-1][0]):
            groups[-1].append(row)
        else:
            groups.append([row])
    return groups


def _alike(row: PlanRow) -> tuple[str, ...] | None:
    """What rows that share one have in common; None of a row that stands by itself. What was seen of each sensor that
    is in order stands in the proof matrix."""
    kind, colon, _subject = row.key.partition(":")
    if row.state == "skipped":
        return kind if colon else row.key, row.state, row.words, row.by
    return (kind, row.state) if kind == "sensor" and row.state == "done" else None


def _one(rows: Sequence[PlanRow], pictures: Mapping[str, int]) -> list[Flow | list[Flow]]:
    row = rows[-1]
    words = row.words
    if len(rows) > 1 and row.state == "done":
        words = _("{n} sensors: each as asked; see the proof matrix.").format(n=len(rows))
    seen = [text(words, CELL)]
    shown = pictures.get(row.picture)
    if shown:
        seen.append(text(_("Picture {n}.").format(n=shown), CELL))
    if row.at is not None:
        seen.append(text(f"{moment(row.at)}, {row.by}", SOFT_SMALL))
    wants = row.wants if row.area == "whole" else f"{area_words(row.area)}. {row.wants}"
    titles = "; ".join(one.title for one in rows)
    return [[text(f"{titles}{_mark(row)}", CELL_BOLD), text(wants, SOFT_SMALL)], _tag(row), seen]


def _mark(row: PlanRow) -> str:
    return " *" if row.weighty else ""


def _tag(row: PlanRow) -> Tag:
    if row.weight is not None:
        return weight_tag(row.weight)
    shapes = {"done": ("disc", _("in order")), "finding": ("diamond-open", _("finding"))}
    return Tag(*shapes.get(row.state, ("ring", _("skipped"))))
