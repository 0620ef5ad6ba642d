"""Readings near a limit: shared between the states on both sides, and called neither."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.case import parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.evidence import factors_of
from diagnostics.engine.inference import diagnose
from diagnostics.engine.levels import pin_tokens, token_at, with_meter
from diagnostics.engine.motion import MADE
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import judge, share_of
from diagnostics.engine.tokens import outcome_of
from tests.diagnostics.small_system import DATA, case_data, small_system
from tests.diagnostics.systems import shipped

SMALL = small_system()


def observed(**entry: Any) -> Any:
    return parse_case(case_data(observations=[entry])).observations[0]


def read(volts: float, supply: float = 12.5, position: str = "BG2", **more: Any) -> Judgement:
    entry = {"check": "pin", "position": position, "pose": "top-open", "volts": volts, "supply_volts": supply}
    return judge(SMALL, observed(**entry | more))


@pytest.mark.parametrize(
    ("volts", "one", "other"),
    [
        (3.77, "made", "between"),  # 30.2 % of the supply; the limit lies at 30 %
        (3.72, "made", "between"),
        (8.76, "between", "released"),
    ],
)
def test_a_reading_near_a_limit_is_called_neither(volts: float, one: str, other: str) -> None:
    judgement = read(volts)
    assert judgement.verdict == "note"
    assert judgement.reads == ""
    assert "too near to the limit to call it" in judgement.words
    assert one in judgement.words
    assert other in judgement.words
    assert "on the lowest range" in judgement.words


def test_with_all_digits_a_reading_can_be_called() -> None:
    """3.7 V may be 3.65 to 3.75 V beside what the meter errs; 3.68 V is farther from the limit at 3.76 V than that."""
    assert read(3.7, supply=12.53).verdict == "note"
    assert read(3.68, supply=12.53).verdict == "finding"
    assert read(3.68, supply=12.53).reads == "made"


def test_a_level_near_the_limit_of_weak_is_made_either_way() -> None:
    near = read(1.26)
    assert near.reads == "made"
    assert "too near to the limit of 10 % to say whether it is weak: read again on a lower range" in near.words
    assert "too near" not in read(1.5).words
    assert "too near" not in read(0.1).words


def test_by_hand_near_a_limit_is_called_neither() -> None:
    entry = {"check": "pin-by-hand", "position": "BG2", "pressed_volts": 3.76, "released_volts": 12.4}
    judgement = judge(SMALL, observed(**entry, supply_volts=12.5))
    assert (judgement.verdict, judgement.reads) == ("note", "")


def test_a_wire_near_its_limit_is_called_neither() -> None:
    """Leads and slack 2.0 Ω, 4 m of 0.5 mm² 0.15 Ω; the meter is right to about 0.3 Ω."""
    near, whole, high = (
        judge(SMALL, observed(check="continuity", position="BG2", ohms=ohms)) for ohms in (2.2, 0.6, 4.0)
    )
    assert near.verdict == "note"
    assert "too near to the limit of 2.1 Ω" in near.words
    assert (whole.verdict, high.verdict) == ("ok", "finding")
    assert outcome_of(SMALL, observed(check="continuity", position="BG2", ohms=2.2)) == (
        "continuity",
        "",
        ((0, pytest.approx(0.36, abs=0.05)), (1, pytest.approx(0.64, abs=0.05))),
    )


def test_a_battery_between_two_bands_counts_for_both() -> None:
    seen = outcome_of(SMALL, observed(check="battery", volts=12.43))
    assert seen is not None
    assert [outcome for outcome, _share in seen[2]] == [0, 1]
    assert seen[2][1][1] > 0.5 > seen[2][0][1]


def test_a_reading_too_near_to_call_proves_nothing() -> None:
    entries = [
        {"check": "pin", "position": "BG2", "pose": "top-open", "volts": volts, "supply_volts": 12.5}
        for volts in (3.74, 0.1)
    ]
    near, clear = (observed(**entry) for entry in entries)
    assert not proof_of(SMALL, [near])["BG2"].made
    assert proof_of(SMALL, [clear])["BG2"].made


@pytest.mark.parametrize(("volts", "again"), [(3.74, True), (0.1, False)])
def test_what_was_too_near_to_call_is_asked_for_again(volts: float, again: bool) -> None:
    entry = {"check": "pin", "position": "BG2", "pose": "top-open", "volts": volts, "supply_volts": 12.5}
    case = parse_case(case_data(observations=[entry]))
    offered = {
        one.position for one in diagnose(SMALL, case).next_checks if one.check == "pin" and one.pose == "top-open"
    }
    assert ("BG2" in offered) == again


def test_the_suspects_are_weighed_by_both_sides() -> None:
    """The likelihood is the mean of those of both tokens, by their shares."""
    model = compiled(SMALL, 1)

    def chances(volts: float) -> Any:
        entry = {"check": "pin", "position": "BG2", "pose": "top-open", "volts": volts, "supply_volts": 12.5}
        case = parse_case(case_data(observations=[entry]))
        judgements = tuple(judge(SMALL, one) for one in case.observations)
        return factors_of(model, case, judgements)[0].likelihood(model)

    weak, between, near = chances(2.51), chances(5.01), chances(3.77)
    share = pin_tokens(SMALL, SMALL.positions["BG2"], 3.77, 12.5, MADE)
    assert set(share) == {"weak", "between"}
    assert near == pytest.approx(share["weak"] * weak + share["between"] * between)


@pytest.mark.parametrize("pull_up", [1e3, 1e5, 1e6])
def test_the_limit_is_where_the_meter_shows_it(pull_up: float) -> None:
    """At 1 MΩ an ordinary meter pulls the pin down by some per cent: the limit goes with it."""
    system = small_system(module=DATA["module"] | {"pull_up_ohm": pull_up})
    position = system.positions["BG2"]
    assert position.pin is not None
    shown = with_meter(system, position.pin, system.module.low_share)
    assert share_of(system, position.pin, 10.0 * shown, 10.0) == pytest.approx(system.module.low_share)
    shares = pin_tokens(system, position, round(10.0 * shown, 3), 10.001, MADE)
    assert shares["weak"] == pytest.approx(0.5, abs=0.06)
    assert shares["between"] == pytest.approx(0.5, abs=0.06)


@given(
    st.sampled_from(["BG1", "BG2", "BG3", "BG4", "BG5", "BG6"]),
    st.integers(0, 1250),
    st.sampled_from(["made", "released"]),
)
def test_shares_are_a_distribution_about_the_level_read(code: str, hundredths: int, due: str) -> None:
    position, volts = SMALL.positions[code], hundredths / 100
    due = due if position.watches is None else "folded"
    shares = pin_tokens(SMALL, position, volts, 12.5, due)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert all(share >= 0.01 for share in shares.values())
    assert position.pin is not None
    read_as = token_at(SMALL, position, share_of(SMALL, position.pin, volts, 12.5), due)
    assert shares.get(read_as, 0.0) >= 0.3, "what the figure itself stands for never vanishes"


def test_zeros_at_the_end_of_a_supply_are_no_missing_digits() -> None:
    """13.00 V comes as 13.0: a clear reading in the middle half of a band of 12 % is called."""
    entry = {"check": "pin", "position": "BG8", "pose": "open", "volts": 11.13, "supply_volts": 13.00}
    assert judge(shipped("softbow-hydro"), observed(**entry)).reads == "stowed"
