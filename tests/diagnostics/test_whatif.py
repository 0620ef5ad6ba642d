"""What more cars would teach of a production range."""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.whatif import belief_of, more_cars, most_telling
from tests.diagnostics.lives import START, WEAK, chosen, lives, of_rows

SPELLS = lives(24, 150, scale=20.0, windows=[(0, 40, 4.0)])
"""A range that is likely, with an end that nobody can tell to the year."""


@pytest.fixture(scope="module")
def belief():
    return belief_of(SPELLS, WEAK)


def test_after_more_cars_a_real_range_is_surer_and_none_is_less_so(belief):
    told = more_cars(belief, SPELLS)
    assert told.cars == 20
    assert told.now.probability == belief.probability
    assert told.if_none < told.now.probability < told.if_real.probability
    assert told.if_real.last_months < told.now.last_months
    assert told.if_real.ratio_factor < told.now.ratio_factor


def test_many_cars_teach_more_than_few(belief):
    few, many = (more_cars(belief, SPELLS, cars=cars) for cars in (5, 80))
    assert many.if_real.probability > few.if_real.probability
    assert many.if_none < few.if_none
    assert many.if_real.last_months < few.if_real.last_months


def test_cars_chosen_near_the_ends_tell_the_ends_better():
    seen = lives(3, 500, scale=22.0, windows=[(0, 50, 3.0)])
    sure = belief_of(seen, WEAK)
    alike, best = (more_cars(sure, seen, cars=60, chosen=yes) for yes in (False, True))
    assert best.if_real.last_months < alike.if_real.last_months


def test_the_same_question_has_the_same_answer(belief):
    assert more_cars(belief, SPELLS) == more_cars(belief, SPELLS)


def test_of_cars_of_one_month_there_is_nothing_to_ask():
    assert belief_of(of_rows([(START, 3.0, np.inf), (START, 2.0, 4.0)]), WEAK) is None


def test_a_car_looked_at_on_the_day_it_was_seen_good_tells_nothing_and_an_old_one_much(belief):
    one = chosen(SPELLS, slice(0, 3))
    floor = replace(
        one,
        month=np.full(3, START + 20),
        year_only=np.zeros(3, dtype=bool),
        climate=np.zeros(3, dtype=np.int64),
        entry=np.array([6.0, 5.0, 0.0]),
        good=np.array([6.0, 6.0, 6.0]),
    )
    bits = most_telling(belief, floor)
    assert bits[0] == pytest.approx(0.0, abs=1e-9)
    assert bits[0] < bits[1] < bits[2] < 1.0


def test_the_bits_of_a_car_are_those_of_its_two_outcomes(belief):
    """Counted out: entropy of (no range, each window) before, less its mean after either outcome."""
    car = chosen(SPELLS, slice(5, 6))
    car = replace(car, entry=np.zeros(1), good=np.array([7.0]), year_only=np.zeros(1, dtype=bool))
    base = {"entry": car.entry, "good": car.good, "climate": car.climate}
    hazard = {}
    for name, fit in (("none", belief.none), ("outside", belief.outside)):
        effect = sum(fit.effect(climate) * (base["climate"][0] == code) for code, climate in ((1, "hot"), (2, "cold")))
        hazard[name] = (7.0 / fit.scale_years) ** fit.shape * np.exp(effect)
    weights, failing = [1 - belief.probability], [1 - np.exp(-hazard["none"])]
    for first, last, mass in zip(belief.first, belief.last, belief.mass, strict=True):
        inside = first <= car.month[0] <= last
        chances = 1 - np.exp(-hazard["outside"] * np.exp(belief.log_ratio * inside))
        weights.append(belief.probability * mass.sum())
        failing.append(chances @ mass / mass.sum())
    weights, failing = np.array(weights), np.array(failing)

    def entropy(share):
        share = share / share.sum()
        return -sum(one * np.log2(one) for one in share if one > 0)

    after = [(weights @ outcome) * entropy(weights * outcome) for outcome in (failing, 1 - failing)]
    assert most_telling(belief, car)[0] == pytest.approx(entropy(weights) - sum(after), abs=1e-9)


def test_other_ranges_that_are_known_are_counted():
    spells = lives(31, 400, scale=12.0, windows=[(0, 40, 4.0)])
    alone, beside = belief_of(spells, WEAK), belief_of(spells, WEAK, [(START, START + 40)])
    assert beside.probability < alone.probability
    assert np.all(most_telling(beside, spells) >= 0.0)
