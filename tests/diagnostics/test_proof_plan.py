"""The proof plan: everything open gets seen, with as few stands and hand actuations as can be."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.case import observation_of
from diagnostics.engine.errors import CaseError
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.proof import proof_of, shown_by_hand, shown_in, trigger_brings
from diagnostics.engine.proof_plan import _route, goals_of, proof_plan, read_in, stands_of
from diagnostics.engine.system.series import partner_of, pin_of
from tests.diagnostics.systems import SLUGS, shipped

SYSTEMS = {slug: shipped(slug) for slug in SLUGS}


def sensors_and_seen(slug):
    """A system, and for each of its sensors which states count as seen already."""
    system = SYSTEMS[slug]
    goals = {code: sorted(states) for code, _missing, states in goals_of(system, {})}
    seen = st.fixed_dictionaries({code: st.sets(st.sampled_from(states)) for code, states in goals.items()})
    hands = st.sets(st.sampled_from(sorted(goals)))
    return st.tuples(st.just(slug), seen, hands)


cars = st.sampled_from(SLUGS).flatmap(sensors_and_seen)


def barred(system, not_by_hand):
    """What of an adjusted trigger a hand does not show."""
    return {(code, state) for code in not_by_hand for state in trigger_brings(system, code)}


def known_by_hand(system, plan, seen, not_by_hand):
    """What counts as seen once the hands of the plan have done their part."""
    known = {code: set(states) for code, states in seen.items()}
    for code, state in (item for hand in plan.hands for item in shown_by_hand(system, hand)):
        if (code, state) not in barred(system, not_by_hand):
            known.setdefault(code, set()).add(state)
    return known


def open_after(system, plan, seen, not_by_hand):
    """What is still open once the plan has been carried out, every reading good."""
    known = known_by_hand(system, plan, seen, not_by_hand)
    shown = [shown_in(system, code, stop.stand.pose) for stop in plan.stops for code, _state in stop.reads]
    for code, state in (item for items in shown for item in items):
        known.setdefault(code, set()).add(state)
    return {code: missing for code, missing, _states in goals_of(system, known)}


@settings(max_examples=60, deadline=None)
@given(cars)
def test_carried_out_it_leaves_nothing_open_but_what_it_says_is_out_of_reach(car):
    slug, seen, hands = car
    system = SYSTEMS[slug]
    plan = proof_plan(system, seen, not_by_hand=hands)
    assert open_after(system, plan, seen, hands).keys() == {code for code, _state in plan.out_of_reach}


@settings(max_examples=60, deadline=None)
@given(cars)
def test_each_stop_reads_only_what_the_pose_shows_and_no_reading_is_for_nothing(car):
    slug, seen, hands = car
    system = SYSTEMS[slug]
    plan = proof_plan(system, seen, not_by_hand=hands)
    known = known_by_hand(system, plan, seen, hands)
    for stop in plan.stops:
        assert stop.reads
        still = {(code, state) for code, _missing, states in goals_of(system, known) for state in states}
        for code, state in stop.reads:
            assert state == pin_state(system, code, stop.stand.pose)
            assert set(shown_in(system, code, stop.stand.pose)) & still
        for one, state in (item for code, _s in stop.reads for item in shown_in(system, code, stop.stand.pose)):
            known.setdefault(one, set()).add(state)
    assert not {code for code in set(plan.hands) & hands if partner_of(system, code) is None}


def brute_force(system, seen, not_by_hand):
    """The smallest number of stands and hands that shows all that can be shown, by trying all."""
    shows = [frozenset().union(*read_in(system, stand.pose).values()) for stand in stands_of(system)]
    shows += [
        frozenset(shown_by_hand(system, code)) - barred(system, not_by_hand)
        for code, position in system.wired().items()
        if position.watches is None
    ]
    wanted = goals_of(system, seen)

    def met(chosen):
        shown = frozenset().union(*chosen)
        return {code: min(missing, sum((code, s) in shown for s in states)) for code, missing, states in wanted}

    most = met(shows)
    return next(n for n in range(len(shows) + 1) for chosen in combinations(shows, n) if met(chosen) == most)


@settings(max_examples=25, deadline=None)
@given(sensors_and_seen("softline-electro"))
def test_no_smaller_plan_exists(car):
    slug, seen, hands = car
    plan = proof_plan(SYSTEMS[slug], seen, not_by_hand=hands)
    assert plan.count == brute_force(SYSTEMS[slug], seen, hands)


@pytest.mark.parametrize("slug", SLUGS)
def test_good_readings_as_planned_are_what_the_proof_asks_for(slug):
    """The plan and the proof are worked out by different code: what one calls done, the other must."""
    system = SYSTEMS[slug]
    plan = proof_plan(system, {})
    entries = []
    for stop in plan.stops:
        for code, state in stop.reads:
            position = system.positions[code]
            assert state == pin_state(system, code, pose_of(system, dict(stop.stand.pose)))
            low = (state == "made") == (position.pin.made_reads == "low")
            share = sum(position.pin.bands[state]) / 2 if position.watches else 0.01 if low else 0.99
            pin = {"check": "pin", "position": code, "pose": dict(stop.stand.pose)}
            entries.append(pin | {"volts": round(12.4 * share, 2), "supply_volts": 12.4})
    for code in plan.hands:
        low = pin_of(system, code).made_reads == "low"
        volts = {"pressed_volts": 0.1 if low else 12.3, "released_volts": 12.3 if low else 0.1}
        entries.append({"check": "pin-by-hand", "position": code, "supply_volts": 12.4} | volts)
    proof = proof_of(system, [observation_of(entry) for entry in entries])
    assert all(state.proven for state in proof.values())


def test_a_proven_car_needs_no_plan():
    system = SYSTEMS["softline-electro"]
    seen = {code: states for code, _missing, states in goals_of(system, {})}
    plan = proof_plan(system, seen)
    assert plan.is_empty
    assert (plan.minutes, plan.motions) == (0.0, ())


def test_one_state_of_one_switch_is_one_stand_in_the_pose_at_hand():
    """The top is closed; only 'header latch locked, made' is open: read it where it stands."""
    system = SYSTEMS["softline-electro"]
    seen = {code: states for code, _missing, states in goals_of(system, {})}
    plan = proof_plan(system, seen | {"BG1": {"released"}}, here="closed")
    assert [(stop.stand.anchor, stop.reads) for stop in plan.stops] == [("closed", (("BG1", "made"),))]
    assert (plan.motions, plan.hands) == ((), ())


def test_control_switches_are_pressed_because_no_pose_holds_them():
    plan = proof_plan(SYSTEMS["rht-trio"], {})
    assert set(plan.hands) == {"SF1", "SF2"}
    without = proof_plan(SYSTEMS["rht-trio"], {}, not_by_hand={"SF1"})
    assert without.out_of_reach == (("SF1", "made"),)


def test_from_the_open_top_the_motion_back_is_run():
    system = SYSTEMS["softline-electro"]
    seen = {code: states for code, _missing, states in goals_of(system, {})}
    plan = proof_plan(system, seen | {"BG3": {"released"}}, here="open")
    assert plan.motions == ("close",)
    assert plan.count == 1


def test_an_unknown_pose_is_refused():
    with pytest.raises(CaseError, match="half-way"):
        proof_plan(SYSTEMS["softline-electro"], {}, here="half-way")


def test_a_top_comes_to_the_stops_of_one_motion_in_the_order_of_its_steps():
    """No shipped top needs two stops in one motion, so the way there is asked by itself."""
    system = SYSTEMS["rht-trio"]
    within = [stand for stand in stands_of(system) if stand.motion == "open"]
    assert len(within) > 2
    _runs, order = _route(system, within[::-1], "closed")
    assert [stand for _run, stand in order] == within
