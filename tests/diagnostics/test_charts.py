"""The charts of what was learned: what stands in them, on a page whose CSP forbids inline style and on paper."""

from collections.abc import Sequence
from io import StringIO
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.charts import curves_figure, svg_for_page, svg_for_paper
from diagnostics.charts.strip import AT_MOST, at_least, grain_for, make_strip, merged
from diagnostics.charts.words import percent_words, range_sentence, ratio_words
from diagnostics.learning.records import MonthTally
from tests.diagnostics.learned import START, a_curve, some_months
from tests.diagnostics.learner import found_range


def _svg(prefix: str = "c") -> str:
    figure = curves_figure([a_curve("inside", 12), a_curve("outside", 40)])
    return svg_for_page(figure, prefix=prefix, title="Lid switch <&>", description="Two curves")


def test_a_page_gets_no_inline_style_and_no_colour_of_its_own() -> None:
    svg = _svg()
    assert "style" not in svg
    assert "#0" not in svg.replace("url(#", "")
    for name in ("cf-inside", "cs-outside", "inside", "outside", "at risk", "Age in years"):
        assert name in svg


def test_the_chart_says_what_it_is_and_is_the_same_each_time() -> None:
    root = ET.fromstring(_svg())  # noqa: S314
    assert [child.text for child in list(root)[:2]] == ["Lid switch <&>", "Two curves"]
    assert root.get("aria-labelledby") == "c-title c-desc"
    assert _svg() == _svg()


def test_two_charts_on_a_page_share_no_id() -> None:
    ids = [{e.get("id") for e in ET.fromstring(_svg(p)).iter() if e.get("id")} for p in ("a", "b")]  # noqa: S314
    assert ids[0]
    assert not ids[0] & ids[1]


def test_paper_gets_the_same_figure_in_its_own_colours() -> None:
    from svglib.svglib import svg2rlg

    svg = svg_for_paper(curves_figure([a_curve("all", 20)]))
    assert "style=" not in svg
    assert "#010101" not in svg
    drawing = svg2rlg(StringIO(svg))
    assert drawing is not None
    assert drawing.width > 400


def test_without_a_curve_nothing_is_drawn() -> None:
    with pytest.raises(ValueError, match="no curve"):
        curves_figure([])


@given(st.lists(st.tuples(st.integers(0, 119), st.integers(0, 24), st.integers(1, 9), st.integers(0, 9)), min_size=1))
def test_a_strip_loses_nothing_at_any_grain(rows: Sequence[tuple[int, int, int, int]]) -> None:
    tallies = [MonthTally(START + m, f"BG{p}", u, min(f, u), 0.3 * u) for m, p, u, f in rows]
    months = merged([[one] for one in tallies], modes_apart=False)
    grain = grain_for(months)
    strip = make_strip(months, names={"BG3": "Lid shut"}, grain=grain, marks={})
    assert sum(row.units for row in strip.rows) == sum(one.units for one in tallies)
    assert strip.failed == sum(one.failed for one in tallies)
    assert sum(cell.failed > 0 for row in strip.rows for cell in row.cells) <= max(AT_MOST, 25 * 10)


def test_modes_of_the_same_units_add_failures_and_no_units() -> None:
    months = some_months(["BG1"], months=1)
    (one,) = merged([months, months], modes_apart=True).values()
    assert (one.units, one.failed, one.expected) == (3, 2, 0.5)


def test_a_cell_is_shaded_by_what_chance_would_make() -> None:
    # 1 - exp(-0.5) * (1 + 0.5), by hand
    assert at_least(2, 0.5) == pytest.approx(0.0902040)
    assert at_least(0, 0.5) == 1.0

    def level(failed: int) -> int:
        months = {("BG1", START): MonthTally(START, "BG1", 9, failed, 0.5)}
        return make_strip(months, names={}, grain=1, marks={}).rows[0].cells[0].level

    assert [level(failed) for failed in range(6)] == [0, 0, 0, 1, 2, 2]


def test_a_range_in_plain_words() -> None:
    words = range_sentence("the switch BG3 (Lid shut)", "stays-made", found_range(START, START + 38))
    assert "Among 80 cars seen here, the switch BG3 (Lid shut) of cars made from January 2001 to March 2004" in words
    assert "4.1 times as often (2.6 to 6.3)" in words
    assert "9 of 20 failed, against 6 of 60" in words


@pytest.mark.parametrize(
    ("value", "said"), [(0.944, "0.94"), (0.96, "1.0"), (4.13, "4.1"), (9.94, "9.9"), (9.96, "10"), (23.4, "23")]
)
def test_ratios_are_rounded_in_one_place(value: float, said: str) -> None:
    assert ratio_words(value) == said


def test_no_probability_is_rounded_to_certainty() -> None:
    assert [percent_words(p) for p in (1, 0.999, 0.97, 0.001, 0)] == ["100 %", "over 99 %", "97 %", "under 1 %", "0 %"]


def test_columns_begin_with_the_year() -> None:
    months = {("BG1", START + 5): MonthTally(START + 5, "BG1", 3, 1, 0.5)}
    (column,) = make_strip(months, names={}, grain=12, marks={}).columns
    assert (column.first, column.last) == (START, START + 11)
