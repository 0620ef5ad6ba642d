"""Files of observations: every row is taken or comes back with its number and why."""

import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.learning.columns import ALL_GOOD, COLUMNS
from diagnostics.learning.observations import NoObservationsError, read_observations
from tests.diagnostics.sightings_file import HEADING, TODAY, read, rows_of, text_of

GOOD = "u1,s1,BG1,A-1,2004-03,,hot,2012-05-06,good,"


def why(row, *before):
    _taken, skipped = read([*before, row])
    assert [one.row for one in skipped] == [2 + len(before)]
    return skipped[0].why


def test_a_row_becomes_an_entry():
    taken, skipped = read(["u1,s1,BG1,A-1,2004-03,2011-02-03,hot,2012-05-06,failed,stays-made"])
    assert not skipped
    assert len(taken) == 1
    assert (taken.systems, taken.positions, taken.parts, taken.modes) == (("s1",), ("BG1",), ("A-1",), ("stays-made",))
    assert (taken.month[0], taken.climate[0], taken.failed[0], taken.good[0]) == (2004 * 12 + 2, 1, 0, 0)
    assert not taken.original[0]
    assert not taken.year_only[0]


def test_an_original_part_seen_good_in_a_car_of_a_known_year():
    taken, _skipped = read([GOOD.replace("2004-03", "2004")])
    assert taken.year_only[0]
    assert taken.month[0] == 2004 * 12
    assert taken.original[0]
    assert (taken.good[0], taken.failed[0]) == (ALL_GOOD, -1)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (GOOD.replace("2012-05-06", "2004-02-28"), "before made_on"),
        (GOOD.replace(",,hot", ",2003-01-01,hot"), "fitted_on lies before made_on"),
        (GOOD.replace(",,hot", ",2013-01-01,hot"), "before fitted_on"),
        (GOOD.replace("good", "fine"), "outcome “fine”: expected good, failed"),
        (GOOD.replace("hot", "damp"), "climate “damp”: expected temperate, hot, cold"),
        (GOOD.replace("2012-05-06", "6.5.2012"), "checked_on “6.5.2012”: expected a day as YYYY-MM-DD"),
        (GOOD.replace("2012-05-06", "2012-02-30"), "checked_on “2012-02-30”"),
        (GOOD.replace("2004-03", "2004-13"), "made_on “2004-13”: expected a month"),
        (GOOD.replace("2012-05-06", "2025-06-03"), "lies in the future"),
        (GOOD.replace("2004-03", "2031-03").replace("2012", "2032"), "lies in the future"),
        (GOOD + "stays-made", "A good unit with a mode"),
        (GOOD.replace("good", "failed"), "A failed unit without its mode"),
        (GOOD.replace("u1", ""), "unit is empty"),
        (GOOD + ",more", "11 fields; expected 10"),
        ("u1,s1", "2 fields; expected 10"),
        (GOOD.replace("A-1", "A" * 300), "longer than 200"),
        ('"u1"x,s1' + GOOD[5:], "cannot be read as CSV"),
    ],
)
def test_a_bad_row_comes_back_with_its_number_and_why_and_stops_nothing_else(row, words):
    assert words in why(row)
    taken, skipped = read([GOOD.replace("u1", "u0"), row, GOOD.replace("u1", "u2")])
    assert [one.row for one in skipped] == [3]
    assert len(taken) == 2


def test_one_unit_has_one_position_and_one_car():
    assert "one position" in why(GOOD.replace("BG1", "BG2").replace("2012", "2013"), GOOD)
    assert "another part" in why(GOOD.replace("hot", "cold").replace("2012", "2013"), GOOD)


def test_the_same_row_twice_counts_once():
    assert "earlier row" in why(GOOD, GOOD)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("unit,system\n", "lacks position, part"),
        (HEADING + ",unit\n", "names unit more than once"),
        ('"unit', "heading cannot be read"),
        (HEADING.replace(",", ";") + "\n", "not divided by commas"),
    ],
)
def test_what_is_no_file_of_observations_is_refused_as_a_whole(text, words):
    with pytest.raises(NoObservationsError, match=words):
        read_observations(io.StringIO(text))


def test_columns_come_in_any_order_with_further_ones_and_a_byte_order_mark():
    rows = rows_of(20)
    backwards = [",".join(reversed([*row.split(","), "x"])) for row in rows]
    mine, _none = read(rows)
    other, skipped = read(backwards, heading="\ufeff" + ",".join(reversed([*HEADING.split(","), "remark"])))
    assert not skipped
    assert all((getattr(mine, name) == getattr(other, name)).all() for name in COLUMNS)


def test_only_bad_rows_leave_nothing_but_their_reasons():
    taken, skipped = read([GOOD.replace("good", "fine")] * 3)
    assert len(taken) == 0
    assert [one.row for one in skipped] == [2, 3, 4]


def test_a_quotation_mark_that_nobody_closes_costs_its_own_row_alone():
    """Without care it would swallow all that follows, or what stands up to the next mark."""
    rows = [GOOD.replace("u1", f"u{number}") for number in range(60)]
    for opened in ([20], [20, 40], [20, 21, 22], [59]):
        broken = ['"' + row if number in opened else row for number, row in enumerate(rows)]
        taken, skipped = read(broken)
        assert [one.row for one in skipped] == [number + 2 for number in opened]
        assert all("mind its quotation marks" in one.why for one in skipped)
        assert len(taken) == 60 - len(opened)


def test_two_stray_marks_that_close_each_other_swallow_no_rows():
    rows = [GOOD.replace("u1", f"u{number}") for number in range(6)]
    taken, skipped = read([*rows[:2], GOOD.replace("u1", "u8") + '"', *rows[2:4], '",x' + GOOD, *rows[4:]])
    assert [one.row for one in skipped] == [4, 7]
    assert len(taken) == 6


def test_a_remark_may_go_over_several_lines():
    taken, skipped = read([f'{GOOD},"seen\ntwice"', GOOD.replace("u1", "u2") + ",x"], heading=HEADING + ",remark")
    assert not skipped
    assert len(taken) == 2


@given(st.lists(st.text(max_size=40), max_size=8))
def test_whatever_stands_in_a_row_is_taken_or_comes_back(lines):
    text = text_of([GOOD, *lines])
    try:
        taken, skipped = read_observations(io.StringIO(text, newline=""), today=TODAY)
    except NoObservationsError:
        raise AssertionError(text) from None
    assert len(taken) >= 1
    assert all(one.why and one.row >= 2 for one in skipped)


def test_a_day_may_be_the_first_and_is_tomorrow_at_most():
    """It is tomorrow already elsewhere; a car may be looked at in its first month, a unit on the day of its fitting."""
    for day in ("2004-03-01", "2025-06-01", "2025-06-02"):
        taken, skipped = read([GOOD.replace("2012-05-06", day)])
        assert not skipped
        assert len(taken) == 1
    assert len(read([GOOD.replace(",,hot", ",2012-05-06,hot")])[0]) == 1
    assert "lies in the future" in why(GOOD.replace("2012-05-06", "2025-06-03"))


def test_days_are_written_in_one_way_and_of_a_century_that_has_cars():
    assert "expected a day as YYYY-MM-DD" in why(GOOD.replace("2012-05-06", "20120506"))
    assert "expected a day as YYYY-MM-DD" in why(GOOD.replace(",,hot", ",2012-W01-3,hot"))
    assert "expected a day as YYYY-MM-DD" in why(GOOD.replace("2012-05-06", "2999-05-06"))


def test_one_unit_seen_failed_in_two_modes_on_one_day_is_two_observations():
    taken, skipped = read([GOOD.replace("good,", "failed,open"), GOOD.replace("good,", "failed,dead")])
    assert not skipped
    assert [taken.modes[code] for code in taken.failed] == ["open", "dead"]


def test_modes_keep_their_names_in_whatever_order_they_appear():
    modes = ["stuck", "dead", "open"]
    rows = [GOOD.replace("u1", f"u{number}").replace("good,", f"failed,{mode}") for number, mode in enumerate(modes)]
    taken, _skipped = read(rows)
    assert [taken.modes[code] for code in taken.failed] == modes


def test_the_history_of_a_car_begins_where_the_file_says():
    taken, _skipped = read([GOOD + ",2010-02-03", GOOD.replace("u1", "u2") + ","], heading=HEADING + ",known_from")
    assert list(taken.known_day) == [date(2010, 2, 3).toordinal(), 0]


def test_units_of_one_car_share_it_and_one_without_is_in_no_car_that_has_a_name():
    cars = {"u1": "u2", "u2": "", "u3": "u2"}
    rows = [f"{GOOD.replace('u1', unit)},{car}" for unit, car in cars.items()]
    taken, _skipped = read(rows, heading=HEADING + ",car")
    first, alone, third = taken.car
    assert first == third != alone


def test_a_field_with_a_nul_comes_back():
    assert "NUL" in why(GOOD.replace("u1", "u\0"))
