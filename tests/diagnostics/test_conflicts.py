"""Entries that contradict each other, and evidence that nobody can believe."""

import random
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.answer import as_json
from diagnostics.engine.case import Case, parse_case
from diagnostics.engine.conflicts import contradictions
from diagnostics.engine.faults import default_prior, faults_of
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.results import Conflict, Diagnosis, Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.surprise import predictive
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import case_data, pin, small_system
from tests.diagnostics.systems import shipped

SMALL = small_system()
RAN = {"check": "motion", "motion": "close", "stops_at": None}
BY_HAND = {"check": "pin-by-hand", "supply_volts": 12.5}


def diagnosed(*observations: dict[str, Any], **more: Any) -> Diagnosis:
    return diagnose(SMALL, parse_case(case_data(observations=list(observations), **more)), max_faults=2)


def by_hand(position: str, pressed: float, released: float) -> dict[str, Any]:
    return {**BY_HAND, "position": position, "pressed_volts": pressed, "released_volts": released}


# --- which two, and which to make again


def test_one_pin_read_made_then_released_in_one_pose() -> None:
    sure = [pin("BG2", 0.01), by_hand("BG2", 0.1, 12.4), RAN]
    (conflict,) = diagnosed(*sure, pin("BG2", 0.99)).conflicts
    assert conflict.entries == (0, 3)
    assert conflict.repeat == 3
    assert conflict.words.startswith("Entries 1 and 4 contradict each other: BG2 read made, then released.")
    assert "Make entry 4 again" in conflict.words


def test_a_motion_that_ran_and_a_pin_that_it_needs() -> None:
    (conflict,) = diagnosed(RAN, RAN, pin("BG2", 0.99)).conflicts
    assert conflict.entries == (1, 2), "of two that say the same, the newest"
    assert conflict.repeat == 2
    assert "“Closing ran to its end.”" in conflict.words.replace("close ran", "Closing ran")


def test_the_likelier_error_is_made_again_whichever_came_first() -> None:
    first, last = (
        diagnosed(*observations).conflicts
        for observations in (
            [pin("BG2", 0.99), pin("BG2", 0.01), by_hand("BG2", 0.1, 12.4), RAN],
            [pin("BG2", 0.01), by_hand("BG2", 0.1, 12.4), RAN, pin("BG2", 0.99)],
        )
    )
    assert [(one.entries, one.repeat) for one in first] == [((0, 1), 0)]
    assert [(one.entries, one.repeat) for one in last] == [((0, 3), 3)]


def test_a_click_beside_a_dead_contact_is_no_contradiction() -> None:
    """A click proves the mechanism; the wire may be open all the same."""
    diagnosis = diagnosed({"check": "click", "position": "BG2", "heard": True}, by_hand("BG2", 12.4, 12.4))
    assert not diagnosis.conflicts


def test_good_by_hand_and_wrong_in_its_pose_is_a_trigger_and_no_contradiction() -> None:
    stopped = {**RAN, "stops_at": "lid-up", "stands": {"lid": "down", "roof": "folded"}}
    diagnosis = diagnosed(stopped, by_hand("BG2", 0.1, 12.4), pin("BG2", 0.99))
    assert not diagnosis.conflicts
    assert diagnosis.suspects[0].fault == Fault("BG2", "out-of-adjustment")


def test_what_comes_and_goes_is_said_and_no_conflict() -> None:
    shown = [pin("BG2", share) for share in (0.01, 0.99, 0.01, 0.99)]
    diagnosis = diagnosed(*shown, {"check": "wiggle", "position": "BG2", "steady": False})
    assert diagnosis.suspects[0].fault == Fault("BG2", "comes-and-goes")
    assert not diagnosis.conflicts
    assert "Entries 3 and 4 differ: BG2 comes and goes would explain both." in diagnosis.warnings


def test_work_between_two_readings_makes_them_no_conflict() -> None:
    assert diagnosed(pin("BG2", 0.99), pin("BG2", 0.01, after_work=True)).conflicts == ()
    # What was contradictory before the work cannot be made again; elsewhere it still can.
    before = [pin("BG2", 0.01), by_hand("BG2", 0.1, 12.4), pin("BG2", 0.99)]
    assert diagnosed(*before, pin("BG2", 0.01, after_work=True)).conflicts == ()
    assert len(diagnosed(*before, pin("BG4", 0.99, after_work=True), recent_work=["BG4"]).conflicts) == 1


def test_a_refused_entry_and_the_complaint_are_in_no_conflict() -> None:
    complaint = {"motion": "close", "stops_at": "roof-over"}
    diagnosis = diagnosed(pin("BG2", 0.01), pin("BG2", 0.99, ignition=False), RAN, complaint=complaint)
    assert diagnosis.conflicts == ()


def test_the_command_tells_conflicts_and_surprise() -> None:
    answer = as_json(diagnosed(pin("BG2", 0.01), by_hand("BG2", 0.1, 12.4), RAN, pin("BG2", 0.99)))
    (conflict,) = answer["conflicts"]
    assert (conflict["entries"], conflict["repeat"]) == ([0, 3], 3)
    assert conflict["words"] in answer["warnings"]
    assert answer["surprise"] is None


# --- always, and how often


@cache
def simulated(slug: str, seed: int) -> tuple[TopSystem, tuple[dict[str, Any], ...]]:
    """A car with none to two faults as often as they come, both motions tried, ten pins read after each, some by
    hand."""
    system, rng = shipped(slug), random.Random(seed)  # noqa: S311 - repeatable draws
    faults = faults_of(system)
    weights = [default_prior(system, fault) for fault in faults]
    bench = Bench(system, set(rng.choices(faults, weights=weights, k=rng.choice((0, 1, 1, 2)))), rng)
    seen: list[dict[str, Any]] = []
    for motion in ("close", "open"):
        seen.append(bench.try_motion(motion))
        codes = list(system.sensors())
        rng.shuffle(codes)
        seen += [bench.read(code) for code in codes[:10]]
    sensors = [code for code, position in system.sensors().items() if position.watches is None]
    return system, (*seen, *(bench.by_hand(code) for code in sensors[:4]))


def conflicts_in(system: TopSystem, observations: list[dict[str, Any]]) -> tuple[Conflict, ...]:
    case: Case = parse_case(case_data(system=system.system, observations=observations))
    belief = believe(system, case, max_faults=2)
    return contradictions(belief.model, case, belief.judgements, belief.posterior.epochs).conflicts


CARS = 40


def test_without_a_slip_few_cars_show_a_conflict() -> None:
    """What is rare but true (a click missed, a flicker caught once) looks like an error: at most one car in ten."""
    alarms = sum(bool(conflicts_in(system, list(seen))) for system, seen in cars("softline-electro"))
    assert alarms <= CARS // 10


def test_a_slip_is_found_and_is_the_entry_to_make_again() -> None:
    """One pin is read again in its pose, at the wrong pin so that it shows the other state."""
    found, n = 0, 0
    for number, (system, seen) in enumerate(cars("softline-electro")):
        rng = random.Random(number)  # noqa: S311 - repeatable draws
        contacts = [one for one in seen if one["check"] == "pin" and system.positions[one["position"]].watches is None]
        slip = dict(rng.choice(contacts))
        slip["volts"] = round(slip["supply_volts"] - slip["volts"], 2)
        n += 1
        found += any(one.repeat == len(seen) for one in conflicts_in(system, [*seen, slip]))
    assert found >= 0.8 * n


def cars(slug: str) -> list[tuple[TopSystem, tuple[dict[str, Any], ...]]]:
    return [simulated(slug, seed) for seed in range(CARS)]


shares = st.sampled_from([0.01, 0.2, 0.5, 0.99])
entries = st.one_of(
    st.builds(pin, st.sampled_from(["BG1", "BG2", "BG3", "BG4", "BG5"]), shares, st.sampled_from(["top-open"])),
    st.builds(by_hand, st.sampled_from(["BG2", "BG3"]), st.just(0.1), st.sampled_from([0.1, 12.4])),
    st.sampled_from([RAN, RAN | {"stops_at": "roof-over"}]),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(entries, min_size=2, max_size=7, unique_by=str))
def test_a_conflict_is_between_two_entries_that_stand_in_any_order(observations: list[dict[str, Any]]) -> None:
    """Entries that differ from each other: read in another order the same pairs are in conflict."""
    n = len(observations)
    forward = conflicts_in(SMALL, observations)
    backward = conflicts_in(SMALL, observations[::-1])
    for conflict in forward:
        assert 0 <= conflict.entries[0] < conflict.entries[1] < n
        assert conflict.repeat in conflict.entries
        assert f"Make entry {conflict.repeat + 1} again" in conflict.words
    turned = {tuple(sorted(n - 1 - entry for entry in conflict.entries)) for conflict in backward}
    assert len(turned) == len(forward)
    # Of entries that are as doubtful and as quick the later one is made again, so only the kinds of check are the same.
    again = sorted(observations[conflict.repeat]["check"] for conflict in forward)
    assert again == sorted(observations[n - 1 - conflict.repeat]["check"] for conflict in backward)


@settings(max_examples=25, deadline=None)
@given(st.lists(entries, min_size=1, max_size=6))
def test_a_conflict_takes_no_evidence_away(observations: list[dict[str, Any]]) -> None:
    """Suspects come from all entries alike: what is in conflict is named, not left out."""
    case = parse_case(case_data(observations=observations))
    belief = believe(SMALL, case, max_faults=1)
    assert len(belief.posterior.epochs[0].factors) == len(observations)
    assert diagnose(SMALL, case, max_faults=1).suspects[0].probability == pytest.approx(belief.shares.max())


# --- beyond belief

UNPLUGGED = [{"check": "look", "position": code, "found": "unplugged"} for code in ("BG1", "BG2", "BG3", "BG4", "BG5")]


def test_evidence_below_a_millionth_of_a_millionth_names_the_most_surprising_entry() -> None:
    diagnosis = diagnosed(*UNPLUGGED, pin("BG2", 0.01))
    assert diagnosis.evidence_log10 < -12
    assert diagnosis.surprise is not None
    assert diagnosis.surprise.entry == 1, "the plug that hangs there while its pin reads well"
    assert "less likely than one in a million million" in diagnosis.surprise.words
    assert "entry 2: Seen at BG2: is unplugged." in diagnosis.surprise.words


def test_its_probability_is_what_leaving_it_out_gives() -> None:
    observations = [*UNPLUGGED, pin("BG2", 0.01)]
    diagnosis = diagnosed(*observations)
    chances = []
    for left_out in range(len(observations)):
        without = diagnosed(*[one for number, one in enumerate(observations) if number != left_out])
        chances.append(10.0 ** (diagnosis.evidence_log10 - without.evidence_log10))
    assert diagnosis.surprise is not None
    assert diagnosis.surprise.entry == int(np.argmin(chances))
    assert diagnosis.surprise.probability == pytest.approx(min(chances), rel=1e-6)
    epoch = believe(SMALL, parse_case(case_data(observations=observations)), max_faults=2).posterior.epochs[0]
    model = believe(SMALL, parse_case(case_data()), max_faults=2).model
    assert [chance for chance, _entry in predictive(model, epoch)] == pytest.approx(chances, rel=1e-6)


def test_thousands_of_fine_readings_are_no_surprise() -> None:
    diagnosis = diagnosed(*[pin("BG2", 0.01)] * 3000)
    assert diagnosis.evidence_log10 < -12, "the product of many is small by itself"
    assert diagnosis.surprise is None
    assert diagnosed(*[pin("BG2", 0.01), pin("BG3", 0.99)] * 20, *UNPLUGGED).surprise is not None


def test_slips_as_often_as_they_come_are_no_surprise() -> None:
    """One reading in fifty at the wrong pin is what is expected of a sound car. Readings spread over every state are
    expected of none."""
    fine = [pin(code, share) for code, share in (("BG2", 0.01), ("BG3", 0.99), ("BG4", 0.99), ("BG1", 0.01))] * 100
    slips = [pin(code, 0.5) for code in ("BG1", "BG2", "BG3", "BG4", "BG5")]
    diagnosis = diagnosed(*fine, *slips)
    assert diagnosis.evidence_log10 < -12
    assert diagnosis.surprise is None
    every_state = [pin("BG2", share) for share in (0.01, 0.2, 0.5, 0.99)] * 60
    assert diagnosed(*every_state).surprise is not None


def test_what_flickers_is_read_often_without_surprise() -> None:
    flickering = [pin("BG2", 0.01 if number % 2 else 0.99) for number in range(60)]
    diagnosis = diagnosed(*flickering)
    assert diagnosis.evidence_log10 < -12
    assert diagnosis.surprise is None


def test_a_complaint_can_be_the_most_surprising() -> None:
    """Everything read twice is fine, both motions ran again and again; only the customer says otherwise."""
    fine = [RAN, RAN | {"motion": "open"}] * 6
    complaint = {"motion": "close", "stops_at": "lid-down", "battery_weak": True, "neither_way": True}
    odd = [{"check": "battery", "volts": 12.7}] * 4 + UNPLUGGED
    diagnosis = diagnosed(*fine, *odd, complaint=complaint)
    assert diagnosis.evidence_log10 < -12
    assert diagnosis.surprise is not None
    assert diagnosis.surprise.entry == -1
    assert "the complaint" in diagnosis.surprise.words
