"""'Why this check': one sentence that says which outcome means what."""

import numpy as np
import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.faults import MODES
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.likely import likely_of
from diagnostics.engine.results import Fault
from diagnostics.engine.whys import Whys, noun_of
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}


def whys(**more):
    checks = diagnose(SYSTEM, parse_case(case_data(**more)), max_faults=2).next_checks
    return {(check.check, check.position or check.motion): check.why for check in checks}


def test_every_check_says_which_outcome_speaks_for_whom():
    found = whys(complaint=COMPLAINT)
    assert {check for check, _code in found} >= {"pin", "pin-by-hand", "look", "motion", "battery"}
    for why in found.values():
        assert why.startswith("If ")
        assert why.endswith(".")
        assert "{" not in why


def test_a_reading_names_what_it_clears_and_who_is_next():
    """Only BG4 could be read before: whether it reads made decides between it and the drive of the step."""
    why = whys(complaint=COMPLAINT)["pin", "BG4"]
    assert why.startswith("If BG4 reads made here, ")
    assert "if it does not, " in why
    assert "BG4" in why.split("if it does not")[1]


def test_by_hand_parts_the_trigger_from_switch_and_wire():
    why = whys(complaint=COMPLAINT, observations=[pin("BG4", 0.01), pin("BG4", 0.01)])["pin-by-hand", "BG4"]
    follows, does_not = why.split("; if ")
    assert "follows the hand at the pin" in follows
    assert "the trigger of BG4" in follows
    assert "it does not" in does_not


def test_a_trial_names_two_outcomes_and_two_suspects():
    why = whys(complaint=COMPLAINT)["motion", "close"]
    assert why.startswith("If “Closing” ")
    assert "that speaks for" in why
    assert "; if it " in why


def test_the_two_suspects_need_different_repairs():
    """One that does not make against one stuck made, both of one switch: the same new switch, so that tells nobody
    what to do."""
    case = parse_case(case_data(complaint=COMPLAINT))
    belief = believe(SYSTEM, case, max_faults=2)
    whys_of = Whys(belief.model, likely_of(belief.model, belief.posterior.weights, belief.chances))
    place = {(f.position, f.mode): i for i, f in enumerate(belief.model.faults)}
    difference = np.zeros(len(belief.model.faults))
    difference[place["BG4", "never-makes"]] = 0.4
    difference[place["BG4", "stays-made"]] = -0.3
    difference[place["BG4", "open"]] = -0.1
    parted = whys_of.parted(difference)
    assert parted == (place["BG4", "never-makes"], place["BG4", "open"])
    difference[place["BG4", "open"]] = 0.0
    assert whys_of.parted(difference) == (place["BG4", "never-makes"], None)


@pytest.mark.parametrize(("kind", "mode"), [(kind, mode.name) for kind, modes in MODES.items() for mode in modes])
def test_every_mode_has_a_noun(kind, mode):
    code = next((code for code, position in SYSTEM.positions.items() if position.kind == kind), "GP1")
    fault = Fault(code, mode, "BG4" if mode == "input-dead" else "")
    here, elsewhere = noun_of(SYSTEM, fault, code), noun_of(SYSTEM, fault, "XX1")
    assert code in here
    assert SYSTEM.positions[code].name not in here
    assert f"{code} ({SYSTEM.positions[code].name})" in elsewhere
