"""One entry at a time: what the reading says, what is refused, and in which words."""

import pytest

from diagnostics.engine.case import check_case, parse_case
from diagnostics.engine.errors import CaseError
from diagnostics.engine.levels import token_at
from diagnostics.engine.signals import judge
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()


def judged(**entry):
    case = parse_case(case_data(observations=[entry]))
    check_case(SYSTEM, case)
    return judge(SYSTEM, case.observations[0])


@pytest.mark.parametrize(
    ("position", "share", "verdict", "reads"),
    [
        ("BG2", 0.01, "ok", "made"),
        ("BG2", 0.99, "finding", "released"),
        ("BG2", 0.20, "finding", "made"),  # made, but weakly
        ("BG2", 0.45, "finding", "between"),
        ("BG3", 0.99, "ok", "released"),
        ("BG3", 0.01, "finding", "made"),
        ("BG4", 0.99, "ok", "made"),  # fed contact: made reads high
        ("BG4", 0.80, "finding", "made"),
        ("BG4", 0.01, "finding", "released"),
        ("BG5", 0.20, "finding", "made"),  # not due here; a Hall sensor is never called weak
        ("BG6", 0.20, "ok", "folded"),
        ("BG6", 0.75, "finding", "raised"),
        ("BG6", 0.50, "finding", "between"),
        ("SF1", 0.99, "ok", "released"),
    ],
)
def test_pin_in_the_open_pose(position, share, verdict, reads):
    judgement = judged(**pin(position, share))
    assert (judgement.verdict, judgement.reads) == (verdict, reads)
    assert judgement.share == pytest.approx(share, abs=1e-3)
    assert position in judgement.words


def test_weak_hall_sensor_is_sound_where_it_should_be_made():
    assert judged(**pin("BG5", 0.20, "top-closed")).verdict == "ok"


def test_contact_resistance_is_told_where_it_is_telling():
    judgement = judged(**pin("BG2", 0.28))
    assert judgement.contact_ohm == pytest.approx(1000 * 0.28 / 0.72, rel=1e-3)
    assert "389 Ω" in judgement.words
    assert judged(**pin("BG2", 0.99)).contact_ohm is None  # next to no current flows
    assert judged(**pin("BG4", 0.80)).contact_ohm is None  # not behind a pull-up


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"supply_volts": None}, "No supply voltage"),
        ({"ignition": False}, "Ignition off"),
        ({"volts": 12.7}, "more than the supply"),
        ({"volts": -0.3}, "below ground"),
        ({"supply_volts": 3.0}, "cannot be"),
        ({"supply_volts": 40.0}, "cannot be"),
    ],
)
def test_refused_as_evidence(change, words):
    judgement = judged(**(pin("BG2", 0.01) | change))
    assert judgement.verdict == "refused"
    assert words in judgement.words


def test_meter_tolerance_is_granted():
    assert judged(**(pin("BG3", 0.99) | {"volts": 12.57})).verdict == "ok"
    assert judged(**(pin("BG2", 0.01) | {"volts": -0.01})).verdict == "ok"


def test_low_supply_says_charge_first_and_keeps_judging():
    judgement = judged(**(pin("BG2", 0.01) | {"supply_volts": 11.4, "volts": 0.1}))
    assert judgement.verdict == "ok"
    assert "charge first" in judgement.words
    assert "charge first" not in judged(**pin("BG2", 0.01)).words


def test_by_hand():
    entry = {"check": "pin-by-hand", "position": "BG3", "supply_volts": 12.5}
    assert judged(**entry, pressed_volts=0.05, released_volts=12.4).verdict == "ok"
    stuck = judged(**entry, pressed_volts=0.05, released_volts=0.05)
    assert (stuck.verdict, stuck.reads) == ("finding", "made")
    assert judged(**entry, pressed_volts=2.5, released_volts=12.4).verdict == "finding"
    assert judged(**entry, pressed_volts=0.05, released_volts=13.9).verdict == "refused"


@pytest.mark.parametrize(
    ("entry", "verdict"),
    [
        ({"check": "click", "position": "BG2", "heard": True}, "note"),
        ({"check": "click", "position": "BG2", "heard": False}, "finding"),
        ({"check": "wiggle", "position": "BG2", "steady": True}, "ok"),
        ({"check": "wiggle", "position": "BG2", "steady": False}, "finding"),
        ({"check": "continuity", "position": "BG2", "ohms": 0.6}, "ok"),
        ({"check": "continuity", "position": "BG2", "ohms": 40.0}, "finding"),
        ({"check": "continuity", "position": "BG2", "ohms": None}, "finding"),
        ({"check": "look", "position": "BG2", "found": "nothing"}, "note"),
        ({"check": "look", "position": "BG2", "found": "unplugged"}, "finding"),
        ({"check": "look", "position": "BG2", "found": "green paint"}, "note"),
        ({"check": "battery", "volts": 12.6}, "ok"),
        ({"check": "battery", "volts": 12.2}, "finding"),
        ({"check": "battery", "volts": 11.5}, "finding"),
        ({"check": "battery", "volts": 14.2}, "note"),
        ({"check": "battery", "volts": 30.0}, "refused"),
        ({"check": "motion", "motion": "close", "stops_at": None}, "ok"),
        ({"check": "motion", "motion": "close", "stops_at": "roof-over"}, "finding"),
        ({"check": "motion", "motion": "close", "stops_at": None, "seconds": {"lid-up": 9.0}}, "finding"),
    ],
)
def test_other_checks(entry, verdict):
    assert judged(**entry).verdict == verdict


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.95])
def test_nobody_claims_what_the_module_decided(share):
    """A meter cannot read the module's mind, so no sentence speaks of it."""
    for code in SYSTEM.sensors():
        assert "module" not in judged(**pin(code, share)).words


@pytest.mark.parametrize(
    ("share", "due", "token"),
    [
        (0.20, "folded", "right"),
        (0.20, "raised", "wrong"),
        (0.50, "folded", "between"),
        (0.01, "folded", "rail-low"),
        (0.99, "folded", "rail-high"),
        (0.50, "between", "right"),
    ],
)
def test_tokens_of_an_angle(share, due, token):
    assert token_at(SYSTEM, SYSTEM.positions["BG6"], share, due) == token


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"recent_work": ["MM9"]}, "recent_work: the system small-top has no position MM9."),
        ({"complaint": {"motion": "close", "stops_at": "roof-back"}}, "has no step “roof-back”"),
        ({"seen_on": "2024-02-31"}, "there is no day"),
        ({"seen_on": "2011-01-01"}, "before it was made"),
        (
            {"observations": [pin("BG2", 0.1), pin("BG9", 0.1)]},
            "observation 2: the system small-top has no",
        ),
        ({"observations": [pin("BG2", 0.1, "half-way")]}, "no pose “half-way”"),
        ({"observations": [pin("BG2", 0.1, {"lid": "gone"})]}, "no place “gone”"),
        ({"observations": [pin("MM1", 0.1)]}, "cannot be made at MM1"),
        ({"observations": [{"check": "click", "position": "BG5", "heard": True}]}, "cannot be made at BG5"),
        ({"observations": [{"check": "motion", "motion": "open", "stops_at": "x"}]}, "no step “x”"),
    ],
)
def test_cases_that_cannot_be(change, words):
    with pytest.raises(CaseError) as error:
        check_case(SYSTEM, parse_case(case_data(**change)))
    assert words in str(error.value)
    assert "\n" not in str(error.value)
