"""Production ranges of one population: what is told of them, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.learning.ranges import control, find_ranges, settle
from tests.diagnostics.lives import START, WEAK, chosen, lives, of_rows

INF = np.inf


@pytest.fixture(scope="module")
def early():
    """1,500 cars, the first third of the production failing four times as often."""
    spells = lives(3, 1500, windows=[(0, 39, 4.0)])
    return spells, find_ranges(spells, WEAK)


def test_an_early_range_is_told_as_made_up_to(early):
    _spells, found = early
    (one,) = found.ranges
    assert one.found
    assert found.used == (one,)
    assert found.probability > 0.99
    assert one.open_first
    assert not one.open_last
    assert one.first == START
    assert one.last_set[0] <= START + 39 <= one.last_set[1]
    assert one.last_set[1] - one.last_set[0] < 12
    assert one.ratio.low <= 4.0 <= one.ratio.high
    assert one.first_set[0] <= one.first <= one.first_set[1]


def test_cars_and_failures_inside_and_outside_add_up(early):
    spells, found = early
    (one,) = found.ranges
    inside = spells.month <= one.last
    assert one.inside.cars == inside.sum()
    assert one.outside.cars == (~inside).sum()
    assert one.inside.failed == (inside & spells.has_failed).sum()
    assert one.inside.failed + one.outside.failed == spells.has_failed.sum()


def test_the_fit_that_is_used_holds_the_range_as_an_effect(early):
    _spells, found = early
    (one,) = found.ranges
    assert one.ratio.low < np.exp(found.fit.effect("range:1")) < one.ratio.high
    assert sum(window.weight for window in one.windows) == pytest.approx(1.0)


def test_two_ranges_are_judged_beside_each_other():
    spells = lives(9, 3000, windows=[(0, 29, 4.0), (70, 95, 4.0)])
    found = [one for one in find_ranges(spells, WEAK).ranges if one.found]
    assert len(found) == 2
    first, second = found
    assert first.open_first
    assert abs(first.last - (START + 29)) <= 4
    assert abs(second.first - (START + 70)) <= 4
    assert abs(second.last - (START + 95)) <= 5
    assert {name for name in find_ranges(spells, WEAK).fit.names if name.startswith("range:")} == {
        "range:1",
        "range:2",
    }


def test_a_better_stretch_within_is_told_as_failing_less():
    spells = lives(12, 4000, scale=14.0, windows=[(20, 80, 0.25)])
    one = max(find_ranges(spells, WEAK).ranges, key=lambda one: one.probability)
    assert one.found
    assert one.ratio.high < 1
    assert abs(one.first - (START + 20)) <= 4
    assert abs(one.last - (START + 80)) <= 6


def test_without_a_range_none_is_found():
    """Twelve populations of one fleet; the control is over all of them."""
    every = [find_ranges(lives(100 + number, 300, once=number % 2 == 0), WEAK) for number in range(12)]
    assert not control([one.probability for one in every]).any()
    assert not any(one.used for one in every)


def test_a_confirmed_range_is_an_effect_from_the_start(early):
    spells, _found = early
    found = find_ranges(spells, WEAK, confirmed=[(START, START + 39)])
    (one,) = found.ranges
    assert (one.first, one.last, one.state, one.found) == (START, START + 39, "confirmed", True)
    assert one.probability > 0.99
    assert one.ratio.low < 4.0 < one.ratio.high
    assert found.used == (one,)
    assert "range:1" in found.fit.names
    assert found.probability < 0.5


def test_a_dismissed_range_is_not_found_again_and_not_used(early):
    spells, _found = early
    found = find_ranges(spells, WEAK, dismissed=[(START, START + 39)])
    assert [one.state for one in found.ranges] == ["dismissed"]
    assert found.used == ()
    assert not any(name.startswith("range:") for name in found.fit.names)


def test_the_verdict_of_the_control_decides_what_is_used(early):
    spells, found = early
    none = settle(spells, WEAK, found, [False])
    assert none.used == ()
    assert "range:1" not in none.fit.names
    again = settle(spells, WEAK, none, [True])
    assert again.used
    assert np.allclose(again.fit.estimate, found.fit.estimate)


def test_heat_that_makes_a_range_worse_is_an_interaction():
    alike = lives(21, 5000, windows=[(0, 39, 3.0)], climate_ratio=1.5)
    apart = lives(21, 5000, windows=[(0, 39, 2.0)], ratio_in_hot=9.0)
    (same,), (other,) = find_ranges(alike, WEAK).used, find_ranges(apart, WEAK).used
    assert same.interaction < 0.5 < other.interaction
    assert other.ratio_by_climate["hot"].low > other.ratio_by_climate["temperate"].high


def test_climates_that_matter_are_told_with_their_ratio():
    found = {one.climate: one for one in find_ranges(lives(23, 4000, climate_ratio=2.0), WEAK).climates}
    assert found["hot"].probability > 0.95
    assert found["hot"].ratio.low < 2.0 < found["hot"].ratio.high
    plain = {one.climate: one for one in find_ranges(lives(23, 4000), WEAK).climates}
    assert plain["hot"].probability < 0.5


def test_control_keeps_the_mean_chance_of_none_within_its_level():
    assert control([0.99, 0.5, 0.97, 0.90]).tolist() == [True, False, True, True]
    assert control([0.94]).tolist() == [False]
    assert control([]).tolist() == []


@given(st.lists(st.floats(0, 1), max_size=30))
def test_what_the_control_keeps_is_likelier_than_what_it_does_not(probabilities):
    kept = control(probabilities)
    p = np.array(probabilities)
    if kept.any():
        assert (1 - p[kept]).mean() <= 0.05 + 1e-9
        assert p[kept].min() >= p[~kept].max(initial=0.0)


@pytest.mark.parametrize(
    "rows",
    [
        [(START, 3, INF)],
        [(START, 3, 4)],
        [(START, 3, 4)] * 40,
        [(START + n % 60, 1 + n % 7, INF) for n in range(200)],
        [(START + n % 60, 0, 1 + n % 7) for n in range(200)],
        [(START, 3, INF), (START + 100, 2, 3)],
        [(START + n % 60, 2.0, 2.0) for n in range(60)],
    ],
    ids=["one car", "one car, failed", "one month", "none failed", "all failed", "two cars", "all at one age"],
)
def test_few_or_odd_data_give_a_sane_answer(rows):
    found = find_ranges(of_rows(rows), WEAK)
    assert found.used == ()
    assert 0 <= found.probability < 0.5
    assert np.isfinite(found.fit.estimate).all()
    assert np.isfinite(found.log_bayes)


def test_cars_of_a_known_year_still_show_the_range():
    spells = lives(31, 1500, windows=[(0, 35, 5.0)], year_only=0.5)
    one = max(find_ranges(spells, WEAK).ranges, key=lambda one: one.probability)
    assert one.found
    assert abs(one.last - (START + 35)) <= 4
    assert one.inside.cars + one.outside.cars == len(np.unique(spells.car))


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000), st.integers(-300, 300))
def test_order_of_rows_and_counting_of_months_change_nothing(seed, shift):
    spells = lives(seed, 150, windows=[(0, 39, 5.0)])
    order = np.random.default_rng(seed).permutation(len(spells.good))
    moved = chosen(spells, order)
    moved = type(moved)(**{name: getattr(moved, name) for name in moved.__slots__} | {"month": moved.month + shift})
    one, other = find_ranges(spells, WEAK), find_ranges(moved, WEAK)
    assert other.probability == pytest.approx(one.probability, abs=1e-4)
    assert [(r.first + shift, r.last + shift) for r in one.ranges] == [(r.first, r.last) for r in other.ranges]
    for before, after in zip(one.ranges, other.ranges, strict=True):
        assert after.ratio.estimate == pytest.approx(before.ratio.estimate, rel=1e-3)
        assert before.ratio.low <= before.ratio.estimate <= before.ratio.high
