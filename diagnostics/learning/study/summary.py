"""What the fleets of a cell say together, as rows and as a table for people."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.learning.study.cells import Cell, Outcome

HEAD = (
    "| cars | ranges | ratio | fails | parts × modes searched | fleets | found | fleets with a false one"
    " | ends in their sets | ratio in its interval | ratio: median error |"
)


@dataclass(frozen=True, slots=True)
class Row:
    """Shares of what is named; None where there is nothing to count. `bias`: median of estimated over true, less 1."""

    cell: Cell
    fleets: int
    searched: int
    found: float | None
    false: float
    ends: float | None
    ratio: float | None
    bias: float | None


def summary(outcomes: Iterable[Outcome]) -> list[Row]:
    """One row a cell, in the order in which they come."""
    groups: dict[Cell, list[Outcome]] = {}
    for one in outcomes:
        groups.setdefault(one.cell, []).append(one)
    return [_row(cell, group) for cell, group in groups.items()]


def _row(cell: Cell, group: Sequence[Outcome]) -> Row:
    matches = [match for one in group for match in one.matches]
    found = [match for match in matches if match.found]
    errors = [match.ratio_error for match in found]
    return Row(
        cell=cell,
        fleets=len(group),
        searched=max(one.searched for one in group),
        found=_share([match.found for match in matches]),
        false=float(np.mean([one.false > 0 for one in group])),
        ends=_share([end for match in found for end in match.ends]),
        ratio=_share([match.ratio_in for match in found]),
        bias=float(np.exp(np.median(errors)) - 1) if errors else None,
    )


def _share(values: Sequence[bool]) -> float | None:
    return float(np.mean(values)) if values else None


def markdown(rows: Iterable[Row]) -> str:
    lines = [HEAD, "|" + "---|" * (HEAD.count("|") - 1)]
    for row in rows:
        cell = row.cell
        shares = (_percent(one) for one in (row.found, row.false, row.ends, row.ratio))
        bias = "" if row.bias is None else f"{row.bias:+.0%}"
        ratio, fails = ("", "") if cell.kind == "none" else (f"{cell.ratio:g}", cell.fails)
        cells = [f"{cell.cars:,}", cell.kind, ratio, fails, str(row.searched), str(row.fleets), *shares, bias]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"
