"""Two steps ahead: what a check is worth together with the best one after it."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from diagnostics.engine.ahead import best_rate, rated
from diagnostics.engine.case import parse_case
from diagnostics.engine.inference import believe
from diagnostics.engine.likely import Likely, bits, bits_each, likely_of, shares_of, shown
from diagnostics.engine.offers import offers_of
from diagnostics.engine.planning import gains_of
from diagnostics.engine.sitting import sitting_of
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}


def prepared(**more):
    case = parse_case(case_data(**more))
    belief = believe(SYSTEM, case, max_faults=2)
    likely = likely_of(belief.model, belief.posterior.weights, belief.chances)
    sitting = sitting_of(belief.model, case, belief.judgements, likely.places, likely.weights)
    return belief.model, likely, sitting, offers_of(belief.model, sitting, belief.shares)


joints = st.integers(1, 5).flatmap(
    lambda sets: st.integers(1, 5).flatmap(
        lambda outcomes: arrays(float, (sets, outcomes), elements=st.floats(0.0, 1.0)).filter(lambda a: a.sum() > 0.01)
    )
)


@given(joints)
def test_bits_are_never_negative_and_never_more_than_there_is_to_learn(weights):
    joint = weights / weights.sum()
    sets = joint.sum(axis=1)
    entropy = -sum(p * np.log2(p) for p in sets if p > 0)
    assert -1e-12 <= bits(joint) <= entropy + 1e-9


@given(joints, joints)
def test_checks_side_by_side_count_as_each_alone(one, other):
    rows = min(len(one), len(other))
    one, other = one[:rows] + 1e-3, other[:rows] + 1e-3
    other = other / other.sum(axis=1, keepdims=True) * one.sum(axis=1, keepdims=True)  # the same sets in both
    both = bits_each(np.concatenate([one, other], axis=1), np.array([0, one.shape[1]]))
    total = one.sum()
    assert both == pytest.approx([total * bits(one / total), total * bits(other / total)], abs=1e-9)


chances = st.floats(0.0, 2.0)


@given(
    st.floats(0.001, 2.0),
    st.floats(0.5, 60.0),
    arrays(float, (3, 2), elements=chances),
    arrays(float, (3, 2), elements=st.floats(0.1, 30.0)),
)
def test_two_steps_are_never_worth_less_than_one_and_the_best_of_all_choices(gain, minutes, told, cost):
    both, spent = best_rate(gain, minutes, told, cost)
    assert both / spent >= gain / minutes - 1e-12
    every = []
    for choice in product((None, 0, 1), repeat=3):
        taken = [(row, one) for row, one in enumerate(choice) if one is not None]
        every.append((gain + sum(told[at] for at in taken)) / (minutes + sum(cost[at] for at in taken)))
    assert both / spent == pytest.approx(max(every), rel=1e-9)


@pytest.mark.parametrize("more", [{}, {"complaint": COMPLAINT}, {"observations": [pin("BG4", 0.01)]}])
def test_looking_ahead_adds_to_what_a_check_tells_alone(more):
    model, likely, sitting, offers = prepared(**more)
    gains = gains_of(model, likely, offers)
    for one in rated(model, likely, sitting, offers, gains):
        assert one.ahead_bits >= one.bits
        assert one.ahead_minutes >= one.offer.minutes
        assert one.rate >= one.bits / one.offer.minutes - 1e-12


def test_a_second_check_after_a_first_against_the_definition():
    """Bits of both are what is learned of the repairs by the outcomes of both, if the second is made whatever the first
    shows: their joint table says the same."""
    model, likely, _sitting, offers = prepared(complaint=COMPLAINT)
    one = next(o for o in offers if o.check == "pin" and o.position == "BG4")
    other = next(o for o in offers if o.check == "pin" and o.position == "BG5")
    first, second = shown(model, likely, one), shown(model, likely, other)
    joint = (likely.weights[:, None, None] * first[:, :, None] * second[:, None, :]).reshape(len(likely.weights), -1)
    both = bits(np.add.reduceat(joint, likely.starts, axis=0))
    alone = bits(np.add.reduceat(likely.weights[:, None] * first, likely.starts, axis=0))
    after = [likely.weights * column for column in first.T]
    more = [bits_each(np.add.reduceat(w[:, None] * second, likely.starts, axis=0), np.array([0]))[0] for w in after]
    assert alone + sum(more) == pytest.approx(both, abs=1e-9)


def test_paying_for_the_module_is_worth_what_the_next_readings_save():
    """The first pin pays for the module, so it is looked ahead from, and the second one after it is cheap."""
    model, likely, sitting, offers = prepared(observations=[{"check": "motion", **COMPLAINT}])
    assert sitting.uncover > 0
    found = rated(model, likely, sitting, offers, gains_of(model, likely, offers))
    pins = [one for one in found if one.offer.check == "pin" and one.ahead_bits > one.bits]
    assert pins
    best = max(pins, key=lambda one: one.rate)
    assert best.rate > best.bits / best.offer.minutes
    assert best.ahead_minutes - best.offer.minutes < SYSTEM.module.minutes


def test_the_likeliest_sets_cut_keep_their_repairs_and_weights():
    _model, likely, _sitting, _offers = prepared(complaint=COMPLAINT)
    few = likely.cut(40, 0.9)
    assert isinstance(few, Likely)
    assert len(few.places) <= 40
    assert few.weights.sum() == pytest.approx(1.0)
    assert few.mass <= likely.mass
    ends = [*few.starts[1:], len(few.places)]
    assert len({tuple(few.core[start]) for start in few.starts}) == len(few.starts)
    for start, end in zip(few.starts, ends, strict=True):
        assert (few.core[start:end] == few.core[start]).all()  # one repair set stands together
    assert min(likely.weights[np.isin(likely.places, few.places)]) >= max(
        likely.weights[~np.isin(likely.places, few.places)]
    )


def test_shares_count_a_row_once():
    rows, weights = np.array([[0, 1], [1, 2], [2, 2]], dtype=np.int32), np.array([0.5, 0.3, 0.2])
    assert shares_of(rows, weights, 2) == pytest.approx([0.5, 0.8])
