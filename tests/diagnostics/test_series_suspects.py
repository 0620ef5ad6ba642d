"""Two switches in series on one pin: who is suspected, what to check next, what proves them."""

from itertools import combinations

import numpy as np
import pytest

from diagnostics.engine import observe
from diagnostics.engine.faults import default_prior, faults_of
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.series import partner_of
from tests.diagnostics.series import BOW, FIRST, LATCHES_OPEN, TWIN, apart, both, by_hand, case_of, click, pin

# --- suspects, held against a small computation of its own


def chance_of(entry, faults):
    """Likelihood of one entry under a set of faults; only those of the pair matter."""
    first, second = ({f.mode for f in faults if f.position == code} for code in (FIRST, TWIN))
    match entry["check"]:
        case "pin":
            state = "made" if entry["pose"] == "closed" else "released"
            return 0.98 * both(first, second, state, state)[entry["token"]] + 0.02 / 4
        case "click":
            modes = first if entry["position"] == FIRST else second
            heard = 0.96 * min((observe.CLICK_HEARD.get(mode, 1.0) for mode in modes), default=1.0)
            return heard if entry["heard"] else 1.0 - heard
        case "pin-by-hand":
            modes = [{m for m in own if m != "out-of-adjustment"} for own in (first, second)]
            let_go = ("released", "made") if entry["position"] == FIRST else ("made", "released")
            pressed, released = both(*modes, "made", "made"), both(*modes, *let_go)
            return 0.98 * pressed[entry["tokens"][0]] * released[entry["tokens"][1]] + 0.02 / 16
    raise ValueError(entry)


def small_bayes(told):
    """P(fault) over no fault, single faults and pairs of faults, one after the other."""
    faults = faults_of(BOW)
    odds = {f: default_prior(BOW, f) / (1 - default_prior(BOW, f)) for f in faults}
    weights = {}
    for chosen in [(), *((f,) for f in faults), *combinations(faults, 2)]:
        weights[chosen] = np.prod([odds[f] for f in chosen]) * np.prod([chance_of(one, chosen) for one in told])
    total = sum(weights.values())
    return {f: sum(w for chosen, w in weights.items() if f in chosen) / total for f in faults}


NEVER_MADE = (pin(0.99), {"check": "pin", "pose": "closed", "token": "released"})
STORIES = {
    "never made": [NEVER_MADE],
    "never made, no click on the right": [
        NEVER_MADE, (click(TWIN, heard=False), click(TWIN, heard=False)), (click(FIRST, heard=True),) * 2,
    ],
    "stays made, by hand on the right": [
        (pin(0.01, LATCHES_OPEN), {"check": "pin", "pose": "open", "token": "made"}),
        (by_hand(FIRST), {"check": "pin-by-hand", "position": FIRST, "tokens": ("made", "released")}),
        (by_hand(TWIN, released=0.01), {"check": "pin-by-hand", "position": TWIN, "tokens": ("made", "made")}),
    ],
}  # fmt: skip


@pytest.mark.parametrize("story", STORIES)
def test_suspects_agree_with_a_small_computation_of_its_own(story):
    entries, told = zip(*STORIES[story], strict=True)
    belief = believe(BOW, case_of(*entries), max_faults=2)
    expected = small_bayes(told)
    found = dict(zip(belief.model.faults, belief.shares, strict=True))
    for fault, share in expected.items():
        assert found[fault] == pytest.approx(share, abs=1e-9), fault


def shares_of(*entries, **more):
    found = diagnose(BOW, case_of(*entries, **more)).suspects
    return {suspect.fault: suspect.probability for suspect in found}


def at(shares, code):
    return sum(share for fault, share in shares.items() if fault.position == code)


def test_a_pair_that_is_never_made_is_shared_until_a_click_parts_it():
    shared = shares_of(pin(0.99))
    assert at(shared, FIRST) == pytest.approx(at(shared, TWIN), rel=0.01)
    assert at(shared, FIRST) + at(shared, TWIN) > 0.8
    parted = shares_of(pin(0.99), click(TWIN, heard=False), click(FIRST, heard=True))
    assert parted[Fault(TWIN, "never-makes")] > 4 * parted[Fault(FIRST, "never-makes")]


def test_an_open_link_wire_is_found_by_its_ohms():
    found = shares_of(pin(0.99), {"check": "continuity", "position": TWIN, "ohms": None})
    assert found[Fault(TWIN, "open")] > 0.8
    found = shares_of(pin(0.99), {"check": "continuity", "position": FIRST, "ohms": None})
    assert found[Fault(FIRST, "open")] > 0.8


def test_a_switch_that_stays_made_hides_behind_the_other_until_it_is_pressed():
    """In the poses of this top both change together, so nothing at the pin shows that one of them stays made."""
    in_poses = [pin(0.01), pin(0.99, LATCHES_OPEN)]
    hidden = shares_of(*in_poses).get(Fault(TWIN, "stays-made"), 0.0)
    assert hidden > 0.5 * default_prior(BOW, Fault(TWIN, "stays-made"))
    shown = shares_of(*in_poses, by_hand(FIRST), by_hand(TWIN, released=0.01))
    assert shown[Fault(TWIN, "stays-made")] > 0.6
    assert shown[Fault(TWIN, "stays-made")] > 50 * shown.get(Fault(FIRST, "stays-made"), 0.001)


def test_a_whole_motion_stops_where_the_pin_is_not_believed():
    told = {"motion": "close", "stops_at": "shut-cover", "lamp": "flashing"}
    found = shares_of(complaint=told)
    assert at(found, FIRST) == pytest.approx(at(found, TWIN), rel=0.1)
    assert at(found, TWIN) > 0.02


def test_the_next_checks_offer_each_of_the_two_and_never_a_pin_of_the_second():
    checks = diagnose(BOW, case_of(pin(0.99))).next_checks
    offered = {(one.check, one.position) for one in checks}
    assert {("click", FIRST), ("click", TWIN)} <= offered
    assert ("pin", TWIN) not in offered
    stuck = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN))).next_checks
    assert {("pin-by-hand", FIRST), ("pin-by-hand", TWIN)} <= {(one.check, one.position) for one in stuck}


def test_by_hand_costs_reaching_both_and_pays_it_for_both():
    found = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN))).next_checks
    minutes = {one.position: one.minutes for one in found if one.check == "pin-by-hand"}
    alone = BOW.positions[TWIN].minutes
    assert minutes[TWIN] == minutes[FIRST] > 1.5 * alone
    after = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN), by_hand(TWIN, released=0.01))).next_checks
    assert next(one for one in after if (one.check, one.position) == ("click", FIRST)).minutes < 3


def test_a_second_switch_that_comes_and_goes_is_worth_another_reading_at_the_pin():
    jumps = {"check": "wiggle", "position": TWIN, "steady": False}
    steady = {"check": "wiggle", "position": FIRST, "steady": True}
    entries = [pin(0.01), pin(0.99), jumps, jumps, steady, steady, click(TWIN, heard=True), click(FIRST, heard=True)]
    belief = believe(BOW, case_of(*entries))
    shares = dict(zip(belief.model.faults, belief.shares, strict=True))
    assert shares[Fault(TWIN, "comes-and-goes")] > 0.5
    assert shares[Fault(FIRST, "comes-and-goes")] < 0.1
    offered = diagnose(BOW, case_of(*entries)).next_checks
    assert ("pin", FIRST, "closed") in {(one.check, one.position, one.pose) for one in offered}


def test_work_on_one_of_the_two_keeps_what_is_believed_of_the_other():
    before = [pin(0.99), click(FIRST, heard=False), click(TWIN, heard=True)]
    after = pin(0.99, after_work=True)
    stuck = Fault(FIRST, "never-makes")
    wrong_one, same_one = (shares_of(*before, after, recent_work=[code]).get(stuck, 0.0) for code in (TWIN, FIRST))
    assert wrong_one > 0.5
    assert same_one < 0.5 * wrong_one
    right_one = shares_of(*before, pin(0.01, after_work=True), recent_work=[FIRST])
    assert at(right_one, FIRST) + at(right_one, TWIN) < 0.15


# --- proof


def proof(*entries, system=BOW):
    return proof_of(system, case_of(*entries).observations)


def test_poses_prove_made_of_both_and_released_of_none_where_both_change_together():
    states = proof(pin(0.01), pin(0.99, LATCHES_OPEN))
    assert [(states[code].made, states[code].released) for code in (FIRST, TWIN)] == [(True, False)] * 2


def test_by_hand_one_after_the_other_proves_both():
    one = proof(by_hand(TWIN))
    assert one[TWIN].proven
    assert (one[FIRST].made, one[FIRST].released) == (True, False)
    both_of_them = proof(by_hand(TWIN), by_hand(FIRST))
    assert both_of_them[FIRST].proven
    assert both_of_them[TWIN].proven
    assert not proof(by_hand(TWIN, released=0.01))[TWIN].made  # a finding proves nothing


def test_a_pose_in_which_they_differ_proves_the_one_that_is_released():
    states = proof(pin(0.01), pin(0.99, LATCHES_OPEN), system=apart())
    assert states[FIRST].proven
    assert (states[TWIN].made, states[TWIN].released) == (True, False)


@pytest.mark.parametrize("code", [FIRST, TWIN])
def test_work_on_either_voids_the_proof_of_both(code):
    before = [by_hand(TWIN), by_hand(FIRST)]
    states = proof(*before, by_hand(code, after_work=True))
    other = partner_of(BOW, code)
    assert states[code].proven
    assert (states[other].made, states[other].released) == (True, False)
    assert not proof(*before, click(code, heard=True) | {"after_work": True})[other].made
