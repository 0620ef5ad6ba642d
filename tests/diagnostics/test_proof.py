"""Proof: seen made and released, rightly, since work."""

from diagnostics.engine.case import parse_case
from diagnostics.engine.proof import proof_of
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()


def proof(*entries):
    return proof_of(SYSTEM, parse_case(case_data(observations=list(entries))).observations)


def by_hand(position, **more):
    entry = {"check": "pin-by-hand", "position": position, "pressed_volts": 0.05, "released_volts": 12.3}
    return entry | {"supply_volts": 12.4} | more


def test_nothing_is_proven_at_first():
    states = proof()
    assert list(states) == list(SYSTEM.sensors())
    assert not any(s.made or s.released for s in states.values())


def test_both_states_in_two_poses():
    closed = pin("BG4", 0.01, "top-closed")
    assert not proof(pin("BG4", 0.99))["BG4"].proven
    assert proof(pin("BG4", 0.99), closed)["BG4"].proven


def test_by_hand_proves_both():
    assert proof(by_hand("BG3"))["BG3"].proven


def test_a_click_proves_nothing():
    assert not proof({"check": "click", "position": "BG3", "heard": True})["BG3"].made


def test_a_state_that_should_not_be_there_proves_nothing():
    assert not proof(pin("BG3", 0.01))["BG3"].made


def test_refused_readings_prove_nothing():
    assert not proof(pin("BG2", 0.01, ignition=False))["BG2"].made


def test_work_voids_what_was_seen_before():
    before = by_hand("BG3")
    state = proof(before, pin("BG3", 0.99, after_work=True))["BG3"]
    assert (state.made, state.released) == (False, True)
    assert proof(before, by_hand("BG3", after_work=True))["BG3"].proven
    assert proof(before, pin("BG2", 0.01, after_work=True))["BG3"].proven  # work elsewhere


def test_an_angle_sensor_needs_two_places():
    assert not proof(pin("BG6", 0.2))["BG6"].proven
    assert not proof(pin("BG6", 0.2), pin("BG6", 0.21))["BG6"].proven
    assert proof(pin("BG6", 0.2), pin("BG6", 0.75, "top-closed"))["BG6"].proven
