"""Two ways to a proven fix: what each takes, and what a person is told of it."""

import io
import json
import re
from itertools import pairwise

import numpy as np
import pytest
from django.core.management import call_command
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.case import parse_case
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.likely import likely_of
from diagnostics.engine.planning import choice_of
from diagnostics.engine.repair_order import by_ratio, expected
from diagnostics.engine.sitting import minutes_of, sitting_of
from diagnostics.engine.ways import LAST_RESORT_MINUTES
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}
STALL = {"check": "motion", "motion": "close", "stops_at": "roof-over", "lamp": "flashing"}
PLUG_OFF = {"check": "look", "position": "BG4", "found": "unplugged"}
DECISIVE = [STALL, pin("BG4", 0.01), PLUG_OFF]


def ways(**more):
    return diagnose(SYSTEM, parse_case(case_data(**more)), max_faults=2).ways


items = st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(1.0, 100.0)), min_size=1, max_size=8)


@given(items, st.floats(0.1, 10.0), st.floats(0.1, 10.0))
def test_the_order_does_not_depend_on_the_unit_of_chances_or_minutes(repairs, p_scale, c_scale):
    chances, minutes = (np.array(column) for column in zip(*repairs, strict=True))
    order, _tries = by_ratio(chances, minutes, np.tile(minutes, (len(minutes), 1)))
    ratios = (chances / minutes)[order]
    assert (ratios[:-1] >= ratios[1:] * (1 - 1e-12)).all()
    scaled = minutes * c_scale
    other, _tries = by_ratio(chances * p_scale, scaled, np.tile(scaled, (len(minutes), 1)))
    assert (chances / minutes)[other] == pytest.approx(ratios)


@given(items, st.data())
def test_a_place_that_is_open_already_makes_no_repair_longer(repairs, data):
    chances, minutes = (np.array(column) for column in zip(*repairs, strict=True))
    shares = data.draw(st.lists(st.floats(0.0, 1.0), min_size=len(minutes) ** 2, max_size=len(minutes) ** 2))
    after = np.minimum(minutes, minutes * np.array(shares).reshape(len(minutes), -1) + 0.1)
    order, tries = by_ratio(chances, minutes, after)
    assert sorted(order) == list(range(len(minutes)))
    assert (np.array(tries) <= minutes[order] + 1e-12).all()


def test_expected_minutes_by_hand():
    """Two repairs of 10 and 30 min, proof 4 and 6; needed with 0.5, 0.3; 0.2 is something else, then 240 min."""
    weights, last = np.array([0.5, 0.3, 0.2]), np.array([1, 2, 3])
    cost, _until = expected(weights, last, [10.0, 30.0], np.array([4.0, 6.0, 0.0]), 240.0)
    assert cost == pytest.approx([240.0, 0.5 * 14 + 0.5 * 250, 0.5 * 14 + 0.3 * 46 + 0.2 * 280])


def test_a_plug_that_hangs_there_is_plugged_in_at_once():
    found = ways(complaint=COMPLAINT, observations=DECISIVE)
    first = found.repair_first[0]
    assert first.repair == "BG4 plug-in"
    assert first.words == "Plug in BG4 (roof folded)"
    assert first.probability > 0.9
    assert first.minutes < 10  # the place is open, five minutes and a trial
    assert found.repair_first_minutes <= found.check_first_minutes
    assert "Repairing at once is shorter" in found.words or "little between them" in found.words


@pytest.mark.parametrize("entries", [[], [STALL], [STALL, pin("BG4", 0.01)], DECISIVE])
def test_looking_through_more_checks_never_makes_it_longer(entries, monkeypatch):
    """After each outcome whichever is shorter is taken: so another check is gone on with only where it pays."""
    found = []
    for depth in (1, 2, 4):
        monkeypatch.setattr("diagnostics.engine.ways.DEPTH", depth)
        found.append(ways(complaint=COMPLAINT, observations=entries).check_first_minutes)
    assert found[0] >= found[1] >= found[2] > 0


def test_with_the_complaint_alone_checking_first_is_shorter():
    found = ways(complaint=COMPLAINT)
    assert found.check_first_minutes < found.repair_first_minutes
    assert "Checks first is shorter by about" in found.words
    assert f"{found.check_first_minutes:.0f} min to a proven fix" in found.words


def test_with_nothing_known_there_is_nothing_to_choose():
    assert ways().words == ""
    assert ways().repair_first == ()


def test_repairs_come_by_chance_over_minutes_in_their_turn():
    found = ways(complaint=COMPLAINT, observations=[STALL, pin("BG4", 0.01)])
    steps = found.repair_first
    assert len(steps) > 1
    assert len({step.repair for step in steps}) == len(steps)
    for one, after in pairwise(steps):
        # What comes later may have become cheaper by what was opened for the one before, never dearer.
        assert one.probability / one.minutes >= after.probability / (after.minutes + 20) - 1e-9


def test_repair_first_against_walking_it_set_by_set():
    """The minutes again by walking the order for each likely set, one by one."""
    case = parse_case(case_data(complaint=COMPLAINT, observations=[STALL, pin("BG4", 0.01), pin("BG5", 0.99)]))
    belief = believe(SYSTEM, case, max_faults=1)
    model = belief.model
    likely = likely_of(model, belief.posterior.weights, belief.chances)
    from diagnostics.engine import ways as module

    few = likely.cut(module.WAYS_SETS, module.WAYS_MASS)
    sitting = sitting_of(model, case, belief.judgements, likely.places, likely.weights)
    _offer, found = choice_of(model, case, belief.judgements, belief.posterior.weights, belief.shares, belief.chances)
    order = [step.repair for step in found.repair_first]
    total = whole = 0.0
    for weight, core in zip(few.weights, few.core, strict=True):
        needed = {model.repair_names[i] for i in core if i < len(model.repair_names)}
        if not needed:
            continue
        spent, left = 0.0, set(needed)
        for step in found.repair_first:
            spent += step.minutes
            left.discard(step.repair)
            if not left:
                break
        if left:
            spent += LAST_RESORT_MINUTES
        else:
            code = next(iter(needed)).split()[0]
            sensor = SYSTEM.positions[code].kind in ("switch", "hall-sensor", "angle-sensor", "control-switch")
            runs = min(minutes_of(sitting, "motion", motion) for motion in SYSTEM.motions)
            spent += 3.0 + sitting.uncover if sensor else runs
        total, whole = total + weight * spent, whole + weight
    assert order
    assert found.repair_first_minutes == pytest.approx(total / whole, abs=0.3)  # steps are shown to a tenth


@pytest.mark.django_db
def test_the_command_says_both_ways(tmp_path):
    path, out = tmp_path / "case.json", io.StringIO()
    complaint = {"motion": "close", "stops_at": "raise-lid", "lamp": "flashing"}
    data = {"system": "rht-trio", "car": {"made_on": "2012-05"}, "seen_on": "2024-05-06", "complaint": complaint}
    path.write_text(json.dumps(data), encoding="utf-8")
    call_command("diagnose", str(path), "--json", stdout=out)
    answer = json.loads(out.getvalue())
    assert list(answer["ways"]) == ["repair_first", "repair_first_minutes", "check_first_minutes", "words"]
    assert answer["ways"]["check_first_minutes"] > 0
    assert set(answer["ways"]["repair_first"][0]) == {"repair", "words", "probability", "minutes"}
    first = answer["next_checks"][0]
    assert first["ahead_bits"] >= first["bits"]
    assert first["ahead_minutes"] >= first["minutes"] - 0.01


def test_a_span_is_told_from_to_and_as_one_number_where_both_are_the_same():
    for told in (ways(complaint=COMPLAINT, observations=DECISIVE), ways(complaint=COMPLAINT)):
        spans = re.findall(r"in eight of ten(?: cars)? (\d+)(?: to (\d+))?", told.words)
        assert len(spans) == 2
        assert all(low != high for low, high in spans)
    assert spans[0][1], "of a car of which little is known the minutes differ"
    decided = ways(complaint=COMPLAINT, observations=DECISIVE).words
    assert re.search(r"in eight of ten(?: cars)? \d+[;.]", decided)
