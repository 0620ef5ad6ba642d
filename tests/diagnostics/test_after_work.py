"""After work: what was seen before still speaks for the old state, and work counts once, for the state after it."""

import numpy as np
import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.inference import believe
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()
STALL = {"check": "motion", "motion": "close", "stops_at": "roof-over", "lamp": "flashing"}
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}


def believed(**more):
    return believe(SYSTEM, parse_case(case_data(complaint=COMPLAINT, **more)), max_faults=2)


def test_work_changes_nothing_of_what_was_believed_before_it():
    before = believed(observations=[STALL, pin("BG4", 0.01)])
    after = believed(
        observations=[STALL, pin("BG4", 0.01), pin("BG4", 0.99, after_work=True), STALL | {"after_work": True}],
        recent_work=["BG4"],
    )
    neighbours = {p.place for code, p in SYSTEM.positions.items() if code == "BG4"}
    alone = np.array(
        [
            all(
                f >= len(after.model.faults)
                or SYSTEM.positions[after.model.faults[f].position].place not in neighbours
                or after.model.faults[f].position == "BG4"
                for f in members
            )
            for members in after.model.sets.members
        ]
    )
    old, new = before.posterior.weights[alone], after.posterior.epochs[0].weights[alone]
    assert new / new.sum() == pytest.approx(old / old.sum(), abs=1e-9)


def test_a_wrong_repair_leaves_the_fault_that_is_left_at_the_head():
    """A stall with a drive and a sensor in question: after work the sensor reads right and the top stalls still."""
    belief = believed(
        observations=[STALL, pin("BG4", 0.99, after_work=True), STALL | {"after_work": True}], recent_work=["BG4"]
    )
    shares = dict(zip(belief.model.faults, belief.shares, strict=True))
    worked = sum(share for fault, share in shares.items() if fault.position == "BG4")
    assert worked < 0.1
    assert max(shares, key=lambda fault: shares[fault]).position != "BG4"
