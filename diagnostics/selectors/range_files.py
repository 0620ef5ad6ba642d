"""The tables of a system's failure patterns as rows of a file, the first one the heading."""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from diagnostics.charts.words import file_month, p_number, ratio_number
from diagnostics.learning.plain import wilson
from diagnostics.selectors.range_tests import RangeTest, log_ranks_of
from diagnostics.selectors.ranges import SystemPatterns, month_rows

Rows = Iterator[tuple[object, ...]]


def month_lines(found: SystemPatterns) -> Rows:
    """The strip by month."""
    yield ("system", "position", "name", "month_first", "month_last", "units", "failed", "expected")
    for row in found.strip.rows:
        for cell in row.cells:
            column = found.strip.columns[cell.column]
            months = (file_month(column.first), file_month(column.last))
            yield (found.slug, row.position, row.name, *months, cell.units, cell.failed, round(cell.expected, 2))


def range_lines(found: SystemPatterns) -> Rows:
    """Ranges proposed and confirmed, as found. The log-rank test knows nothing of the model, and its months were chosen
    by looking at the same data: `probability` is what counts."""
    yield (
        "system", "part", "positions", "mode", "state", "first_month", "last_month", "first_set_low", "first_set_high",
        "last_set_low", "last_set_high", "probability", "ratio", "ratio_low", "ratio_high", "inside_cars",
        "inside_units", "inside_failed", "outside_cars", "outside_units", "outside_failed",
        "log_rank_chi2", "log_rank_p", "log_rank_p_adjusted", "note",
    )  # fmt: skip
    tests = log_ranks_of(found.ranges)
    for one in found.ranges:
        here, row = one.range, one.row
        months = (here.first, here.last, *here.first_set, *here.last_set)
        ratio = (here.ratio.estimate, here.ratio.low, here.ratio.high)
        yield (
            row.system, row.part, " ".join(row.positions), row.mode, row.state, *map(file_month, months),
            round(here.probability, 3), *map(ratio_number, ratio), here.inside.cars, here.inside.units,
            here.inside.failed, here.outside.cars, here.outside.units, here.outside.failed,
            *_test_cells(tests.get(row.pk)), row.note,
        )  # fmt: skip


def _test_cells(test: RangeTest | None) -> tuple[object, ...]:
    if test is None:
        return "", "", ""
    return round(test.log_rank.chi2, 2), p_number(test.log_rank.p), p_number(test.p_adjusted)


def year_lines(found: SystemPatterns) -> Rows:
    """The years of production of every range, in the order of `range_lines`: the share failed of the units seen, with
    its interval by their number alone (Wilson, nine tenths)."""
    yield (
        "system", "part", "mode", "first_month", "last_month", "year", "inside", "seen", "failed", "share", "share_low",
        "share_high", "expected",
    )  # fmt: skip
    for one in found.ranges:
        row, months = one.row, (file_month(one.range.first), file_month(one.range.last))
        for year, seen, failed, expected, inside in month_rows(one):
            share = wilson(failed, seen)
            ends = (round(part, 3) for part in (share.estimate, share.low, share.high))
            within = "yes" if inside else "no"
            yield (row.system, row.part, row.mode, *months, year, within, seen, failed, *ends, round(expected, 2))


def model_lines(found: SystemPatterns) -> Rows:
    """All models: of original units, and of what was fitted later."""
    yield (
        "system", "positions", "part", "revision", "original", "mode", "scale_years", "shape", "cars", "units",
        "failed", "range_probability",
    )  # fmt: skip
    for model in found.models:
        one = model.population
        yield (
            one.system, " ".join(one.positions), one.part, one.revision, "yes" if one.original else "no", one.mode,
            round(model.fit.scale_years, 1), round(model.fit.shape, 2), model.tally.cars, model.tally.units,
            model.tally.failed, round(model.range_probability, 3),
        )  # fmt: skip


FILES: Final[Mapping[str, Callable[[SystemPatterns], Rows]]] = {
    "months": month_lines,
    "ranges": range_lines,
    "years": year_lines,
    "models": model_lines,
}
