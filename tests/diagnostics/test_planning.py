"""Which checks are offered, what they cost, and what they are worth."""

import numpy as np
import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.evidence import outcome_table
from diagnostics.engine.hypotheses import rank
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.likely import PLANNED_MASS, bits, likely_of, repairs_of, spoken_for
from diagnostics.engine.sitting import (
    HAND_MINUTES,
    MINUTES,
    PROP_MINUTES,
    REACHED_MINUTES,
    RETURN_MINUTES,
    nested,
    present_pose,
    seen_by,
    sitting_of,
)
from tests.diagnostics.small_system import case_data, pin, small_system
from tests.diagnostics.systems import shipped

SYSTEM = small_system()
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}


def checks(**more):
    return diagnose(SYSTEM, parse_case(case_data(**more))).next_checks


def sitting(**more):
    case = parse_case(case_data(**more))
    belief = believe(SYSTEM, case)
    likely = likely_of(belief.model, belief.posterior.weights, belief.chances)
    return sitting_of(belief.model, case, belief.judgements, likely.places, likely.weights)


def test_bits_of_known_joints():
    assert bits(np.array([[0.25, 0.25], [0.25, 0.25]])) == pytest.approx(0.0)
    assert bits(np.eye(4) / 4) == pytest.approx(2.0)
    assert bits(np.array([[0.5, 0.0], [0.0, 0.5]])) == pytest.approx(1.0)


def test_expected_bits_against_the_definition():
    """H(repairs) minus the expected H(repairs | outcome), with the posterior of each outcome computed anew."""
    case = parse_case(case_data(complaint=COMPLAINT, observations=[pin("BG4", 0.01)]))
    belief = believe(SYSTEM, case)
    model, weights = belief.model, belief.posterior.weights
    table = outcome_table(model, "look", "BG4", "")[model.codes("BG4")]
    needed = rank(repairs_of(model, model.sets.members), len(model.repair_names))

    def entropy(w):
        sets = np.bincount(needed, weights=w / w.sum())
        sets = sets[sets > 0]
        return float(-(sets * np.log2(sets)).sum())

    chances = weights @ table
    expected = entropy(weights) - sum(c * entropy(weights * column) for c, column in zip(chances, table.T, strict=True))
    offered = next(
        c
        for c in checks(complaint=COMPLAINT, observations=[pin("BG4", 0.01)])
        if c.check == "look" and c.position == "BG4"
    )
    # Planning leaves out the least likely sets, at most this share.
    assert offered.bits == pytest.approx(expected, abs=20 * (1 - PLANNED_MASS))
    assert offered.bits > 0.3


def test_checks_come_by_bits_per_minute_two_steps_ahead_with_reason_and_caution():
    offered = checks(complaint=COMPLAINT)
    rates = [check.ahead_bits / check.ahead_minutes for check in offered]
    assert rates == pytest.approx(sorted(rates, reverse=True), rel=0.02)  # minutes are shown rounded
    assert all(check.bits_per_minute == pytest.approx(check.bits / check.minutes, rel=0.02) for check in offered)
    assert all(check.why.endswith(".") for check in offered)
    motion = next(check for check in offered if check.check == "motion")
    assert "clear of hinges" in motion.caution
    assert "Local rules" in motion.caution
    hand = next(check for check in offered if check.check == "pin-by-hand" and check.position == "BG3")
    assert hand.caution.startswith("Prop the lid")


def test_the_module_is_uncovered_once():
    def minutes(offered):
        return {c.position: c.minutes for c in offered if c.check == "pin"}

    before = minutes(checks(complaint=COMPLAINT))
    after = minutes(checks(complaint=COMPLAINT, observations=[pin("BG1", 0.01)]))
    assert before["BG4"] == SYSTEM.module.minutes + MINUTES["pin"]
    assert after["BG4"] == MINUTES["pin"]


LOOK = {"check": "look", "position": "BG2", "found": "nothing"}


def test_a_place_is_reached_once():
    assert sitting().reach("BG3") == SYSTEM.positions["BG3"].minutes
    assert sitting(observations=[LOOK]).reach("BG3") == REACHED_MINUTES  # same place, same prop
    assert sitting(observations=[LOOK]).reach("BG5") == SYSTEM.positions["BG5"].minutes


def test_what_was_opened_counts_for_what_lies_deeper_in_the_same_place():
    """The boot is open for BG2 (12 min, 2 of them for the prop): the pump there has 15 min less those ten."""
    assert sitting(observations=[LOOK]).reach("GP1") == pytest.approx(15 - (12 - PROP_MINUTES))
    assert nested("Left lid hinge, behind the hinge cover", "Left lid hinge")
    assert nested("Left lid hinge", "Left lid hinge, behind the hinge cover")
    assert not nested("Left lid hinge", "Left lid")
    assert not nested("Trunk floor, left well", "Trunk floor, right well")


def test_a_prop_is_shared_until_a_motion_takes_it_out():
    shipped_system = shipped("rht-trio")
    case = parse_case(case_data() | {"system": "rht-trio", "observations": [LOOK | {"position": "BG4"}]})
    belief = believe(shipped_system, case, max_faults=1)
    likely = likely_of(belief.model, belief.posterior.weights, belief.chances)
    standing = sitting_of(belief.model, case, belief.judgements, likely.places, likely.weights)
    minutes = shipped_system.positions["BG3"].minutes
    assert "prop" in shipped_system.positions["BG3"].cautions
    assert standing.reach("BG3") == pytest.approx(minutes - PROP_MINUTES)  # another place, the lid is propped
    assert standing.reach("BG4") == REACHED_MINUTES
    moved = standing.after("motion", "open")
    assert moved.reach("BG3") == pytest.approx(minutes)
    assert moved.reach("BG4") == pytest.approx(PROP_MINUTES + REACHED_MINUTES)  # its cover is still off


def test_a_check_is_not_proposed_twice():
    offered = checks(complaint=COMPLAINT, observations=[pin("BG4", 0.99)])
    assert not any(c.check == "pin" and c.position == "BG4" and c.pose == "top-open" for c in offered)


def test_after_work_the_check_is_open_again():
    made = [pin("BG4", 0.01), pin("BG4", 0.99, after_work=True)]
    assert sitting(observations=made).made("pin", "BG4", "top-open")
    look = {"check": "look", "position": "BG4", "found": "nothing"}
    assert sitting(observations=[look]).made("look", "BG4")
    assert not sitting(observations=[look, pin("BG4", 0.99, after_work=True)]).made("look", "BG4")
    refused = pin("BG4", 0.01, ignition=False)
    assert not sitting(observations=[refused]).made("pin", "BG4", "top-open")


def test_what_comes_and_goes_is_read_again():
    offered = checks(observations=[pin("BG2", 0.01), pin("BG2", 0.99)])
    assert any(c.check == "pin" and c.position == "BG2" and c.pose == "top-open" for c in offered)


def test_poses_that_can_be_reached():
    lifted = ({"lid": "down", "roof": "folded", "divider": "lifted"}, HAND_MINUTES)
    poses = sitting().poses
    works = {pose: minutes for pose, minutes in poses if isinstance(pose, str)}
    assert works["top-open"] == 0.0
    assert works["top-closed"] > 0.0
    assert lifted in poses
    assert list(sitting(complaint=COMPLAINT).poses) == [("top-open", 0.0), lifted]  # it will not run to the other end


def test_a_sensor_is_not_read_again_where_all_looks_alike_to_it():
    offered = [c for c in checks(observations=[pin("BG4", 0.99)]) if c.check == "pin"]
    views = [(c.position, seen_by(SYSTEM, c.position, c.pose)) for c in offered]
    assert len(views) == len(set(views))
    assert ("BG4", seen_by(SYSTEM, "BG4", "top-open")) not in views


def test_what_explains_nothing_is_left_to_the_proof_afterwards():
    """A pin that clearly reads wrong: no minute goes to pins whose faults could not have caused it."""
    decisive = {"complaint": COMPLAINT, "observations": [pin("BG4", 0.01), pin("BG4", 0.01)]}
    belief = believe(SYSTEM, parse_case(case_data(**decisive)))
    assert belief.shares[[i for i, f in enumerate(belief.model.faults) if f.position == "BG4"]].sum() > 0.9
    best = checks(**decisive)[0]
    assert best.position in ("BG4", "")
    pairs = [h for h in range(len(belief.model.sets)) if belief.model.sets.size[h] == 2]
    core = spoken_for(belief.model, belief.posterior.weights, belief.chances, np.array(pairs, dtype=np.int32))
    weight = belief.posterior.weights[pairs]
    assert weight[belief.model.sets.size[core] == 1].sum() > 0.5 * weight.sum()


def test_with_nothing_seen_every_set_stays_whole():
    belief = believe(SYSTEM, parse_case(case_data()))
    places = np.arange(len(belief.model.sets), dtype=np.int32)
    assert (spoken_for(belief.model, belief.posterior.weights, belief.chances, places) == places).all()


def test_from_a_stalled_top_nothing_is_moved():
    trial = {"check": "motion", "motion": "close", "stops_at": "roof-over"}
    case = parse_case(case_data(observations=[trial]))
    assert present_pose(SYSTEM, case) == {"lid": "up", "roof": "folded", "divider": "shut"}
    poses = sitting(observations=[trial]).poses
    assert poses == (({"lid": "up", "roof": "folded", "divider": "shut"}, 0.0),)
    assert sitting(observations=[trial]).minutes_to("top-open") == RETURN_MINUTES


def test_every_offer_names_what_it_needs():
    for check in checks(complaint=COMPLAINT):
        assert (check.pose is not None) == (check.check == "pin")
        assert (check.motion is not None) == (check.check == "motion")
        assert check.position or check.motion
        assert check.minutes > 0
    assert compiled(SYSTEM, 2).sensors == set(SYSTEM.sensors())
