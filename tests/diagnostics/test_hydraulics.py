"""Hydraulics of a declared system: the block's mistakes, cylinders by calculation, cold fluid, the pressure hold."""

import math
import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.case import PressureHold, check_observation, checks_of, observation_of, parse_case
from diagnostics.engine.cautions import caution_for, caution_words
from diagnostics.engine.errors import CaseError
from diagnostics.engine.hold import GUARD_BAR, hold_token, usual_loss_bar
from diagnostics.engine.hydraulics import (
    HydraulicsError,
    annulus_mm2,
    cylinder_figures,
    leak_ml,
    leak_ml_min,
    line_loss_bar,
    piston_mm2,
    slower_when_cold,
    stroke_s,
    trapped_ml,
    usual_up_to_s,
    walther,
)
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import judge
from diagnostics.engine.system.fluid import remarks_of
from diagnostics.engine.system.load import SystemFileError, load_system
from diagnostics.engine.timing import StepTimes
from tests.diagnostics.systems import shipped, text_of

TRIO = "rht-trio"
BLOCK = {
    "no viscosity of a fluid": (
        "[[40, 15.0], [100, 3.8]]", "[[40, 3.8], [100, 15.0]]", "hydraulics.fluid.viscosity", "gets thinner as it gets"
    ),
    "a fluid that is solid in the cold": (
        "[[40, 15.0], [100, 3.8]]", "[[40, 90000], [41, 1.0]]", "hydraulics.fluid.viscosity", "solid at -40 °C"
    ),
    "a pump that is none": ("position: GP1,", "position: MM1,", "hydraulics.pump.position", "“MM1” is no pump"),
    "a hold above the relief valve": ("test_bar: 120", "test_bar: 160", "hydraulics.hold.test_bar", "opens at 150 bar"),
    "a hold that loses half": ("loss_bar: 8", "loss_bar: 60", "hydraulics.hold.usual_loss_bar", "is no hold"),
    "a misspelt field": ("relief_bar", "releif_bar", "hydraulics.pump.releif_bar", "did you mean “relief_bar”?"),
    "a rod that fills the bore": ("rod_mm: 8", "rod_mm: 16", "positions.MM1.rod_mm", "is not thinner than the bore"),
    "no flow": ("flow_l_min: 2.4", "flow_l_min: 0", "hydraulics.pump.flow_l_min", "expected more than 0"),
}  # fmt: skip


def hold(position: str = "MM3", start: float = 120, end: float = 118, **more: Any) -> PressureHold:
    data = {"check": "pressure-hold", "position": position, "bar_start": start, "bar_end": end, "seconds": 60, **more}
    seen = observation_of(data)
    assert isinstance(seen, PressureHold)
    return seen


def judged(*args: Any, **more: Any) -> Judgement:
    return judge(shipped(TRIO), hold(*args, **more))


class TestTheBlock:
    @pytest.mark.parametrize("name", BLOCK)
    def test_a_mistake_is_named(self, name: str) -> None:
        old, new, path, words = BLOCK[name]
        with pytest.raises(SystemFileError) as caught:
            load_system(text_of(TRIO).replace(old, new, 1), "x.yaml")
        problem = next(one for one in caught.value.problems if one.path.startswith(path))
        assert words in problem.words

    def test_an_electric_top_has_no_hydraulics(self) -> None:
        block = text_of(TRIO)
        block = block[block.index("hydraulics:") : block.index("\nmotions:")]
        text = text_of("softline-electro").replace("\nmotions:\n", f"\n{block}\nmotions:\n")
        with pytest.raises(SystemFileError, match="has no pump, so it has no hydraulics"):
            load_system(text, "x.yaml")

    def test_it_may_be_left_out(self) -> None:
        text = text_of(TRIO)
        start = text.index("hydraulics:")
        system = load_system(text[:start] + text[text.index("motions:\n", start) :], "x.yaml")
        assert system.hydraulics is None
        assert cylinder_figures(system) == ()
        assert checks_of(system, "MM1") == {"look"}
        with pytest.raises(CaseError, match="declares no hydraulics"):
            check_observation(system, hold(), "This entry")

    def test_a_pump_too_small_for_its_steps_is_remarked_and_not_refused(self) -> None:
        assert remarks_of(shipped(TRIO)) == ()
        small = load_system(text_of(TRIO).replace("flow_l_min: 2.4", "flow_l_min: 0.8"), "x.yaml")
        (at, words), *_more = remarks_of(small)
        assert at == ("motions", "open")
        assert "a stroke of MM3 takes 13.6 s or more" in words

    def test_lines_that_stop_the_top_in_the_cold_are_remarked(self) -> None:
        thin = load_system(text_of(TRIO).replace("bore_mm: 4.0", "bore_mm: 3.0"), "x.yaml")
        assert any("would stand still in the cold" in words for _at, words in remarks_of(thin))


class TestCylinders:
    def test_twins_share_the_flow(self) -> None:
        figures = {one.code: one for one in cylinder_figures(shipped(TRIO))}
        assert (figures["MM3"].cylinders, figures["MM5"].cylinders) == (2, 1)
        assert figures["MM3"].out_s == pytest.approx(stroke_s(piston_mm2(25), 240, 2.4, 2))
        assert figures["MM3"].push_n > figures["MM3"].pull_n
        assert figures["MM3"].in_mm_s > figures["MM3"].out_mm_s

    @pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
    def test_absurd_sizes_are_refused(self, bad: float) -> None:
        for wrong in (
            lambda: piston_mm2(bad),
            lambda: annulus_mm2(20, bad),
            lambda: stroke_s(100, bad, 1),
            lambda: line_loss_bar(bad, 1, 1, 1, 870),
            lambda: leak_ml_min(60, 10, bad),
        ):
            with pytest.raises(HydraulicsError):
                wrong()

    def test_pressure_that_rose_is_no_leak(self) -> None:
        with pytest.raises(HydraulicsError, match="rose"):
            leak_ml(60, -1)

    def test_a_fluid_that_thickens_with_heat_is_none(self) -> None:
        for points in (((40, 5), (100, 32)), ((40, 5), (40, 5)), ((40, 5), (100, 0.1))):
            with pytest.raises(HydraulicsError, match="no viscosity of a fluid"):
                walther(*points)
        with pytest.raises(HydraulicsError):
            walther((40, 32), (100, 5.4)).mm2_s(-300)


@given(cold=st.floats(-40, 119), warmer=st.floats(0.1, 60))
def test_colder_fluid_is_thicker_and_slower(cold: float, warmer: float) -> None:
    hydraulics = shipped(TRIO).hydraulics
    assert hydraulics is not None
    fluid = walther(*hydraulics.fluid.viscosity)
    assert fluid.mm2_s(cold) > fluid.mm2_s(cold + warmer)
    assert slower_when_cold(hydraulics, cold) >= slower_when_cold(hydraulics, cold + warmer)


def test_only_what_the_pump_drives_is_slow_when_cold() -> None:
    system = shipped(TRIO)
    steps = {step.name: step for step in system.motions["open"].steps}
    assert usual_up_to_s(system, steps["stow-stack"], -10) == pytest.approx(7.0 * 1.159, abs=0.01)
    assert usual_up_to_s(system, steps["stow-stack"], None) == usual_up_to_s(system, steps["stow-stack"], 30) == 7.0
    assert usual_up_to_s(system, steps["clear-shelf"], -10) == 2.5


class TestHold:
    def test_it_holds(self) -> None:
        judgement = judged(end=114)
        assert judgement.verdict == "ok"
        assert (
            judgement.words
            == "MM3 went from 120 to 114 bar in 60 s: holds; up to 8 bar are usual, ± 2 bar of the gauge."
        )

    def test_the_gauge_is_given_its_guard(self) -> None:
        assert (judged(end=110).verdict, judged(end=109).verdict) == ("ok", "finding")

    def test_a_leak_is_a_lower_bound_and_temperature_is_told(self) -> None:
        words = judged(end=90, oil_c=35).words
        least = leak_ml_min(piston_mm2(25) * 240 / 1000, 30, 60)
        assert f"At least {least:.3f} ml a minute leave it by calculation" in words
        assert "10 bar a kelvin by itself (35 °C when measured)" in words
        assert "let it settle" in judged(end=90).words

    @pytest.mark.parametrize(
        ("start", "seconds", "why"), [(50, 60, "too low to say much"), (120, 20, "too short to say")]
    )
    def test_one_that_says_little_is_noted_and_moves_no_suspect(self, start: float, seconds: float, why: str) -> None:
        seen = hold(start=start, end=1, seconds=seconds)
        assert judge(shipped(TRIO), seen).verdict == "note"
        assert why in judge(shipped(TRIO), seen).words
        assert hold_token(shipped(TRIO), seen) is None

    def test_more_than_the_relief_valve_lets_through_is_no_evidence(self) -> None:
        judgement = judged(start=190, end=100)
        assert judgement.verdict == "refused"
        assert "look at the gauge again" in judgement.words

    def test_a_shorter_hold_may_lose_less(self) -> None:
        assert judged(end=111).verdict == "ok"
        assert judged(end=111, seconds=30).verdict == "finding"

    def test_the_tokens(self) -> None:
        system = shipped(TRIO)
        assert [hold_token(system, hold(end=end)) for end in (115, 95, 20)] == ["holds", "sinks", "drops"]

    @pytest.mark.parametrize(
        ("more", "words"),
        [
            ({"bar_end": 130}, "130 bar at the end are more than the 120 bar at the start"),
            ({"position": "MB1"}, "cannot be made at MB1, which is a latch"),
            ({"position": "MM99"}, "has no position MM99"),
            ({"seconds": -1}, "observation 1, seconds: “-1” was found; expected more than 0"),
            ({"bar_start": 1e9}, "observation 1, bar_start: “1000000000.0” was found; expected at most 400"),
            ({"bar_start": 0}, "expected more than 0"),
            ({"oil_c": 500}, "expected at most 120"),
        ],
    )
    def test_what_cannot_be_is_one_sentence(self, more: dict[str, Any], words: str) -> None:
        entry = {"check": "pressure-hold", "position": "MM3", "bar_start": 120, "bar_end": 110, "seconds": 60, **more}
        with pytest.raises(CaseError) as caught:
            diagnose(shipped(TRIO), parse_case(case(entry)))
        assert words in str(caught.value)

    def test_it_warns_of_pressure_and_jets(self) -> None:
        words = caution_for(shipped(TRIO), "pressure-hold", ["MM3"])
        assert caution_words("pressure") in words
        assert caution_words("injection") in words

    def test_pump_and_cylinder_shut_in_what_the_file_says(self) -> None:
        system = shipped(TRIO)
        assert trapped_ml(system, "GP1") == pytest.approx(piston_mm2(4) * 3.0)
        assert trapped_ml(system, "MM3") == pytest.approx(piston_mm2(25) * 240 / 1000)
        assert trapped_ml(system, "MB1") is None


@given(start=st.floats(61, 150), lost=st.floats(0, 60), more=st.floats(0, 60), seconds=st.floats(31, 600))
def test_losing_more_is_never_better(start: float, lost: float, more: float, seconds: float) -> None:
    order = ["holds", "sinks", "drops"]
    tokens = [
        hold_token(shipped(TRIO), hold(start=start, end=max(start - gone, 0), seconds=seconds))
        for gone in (lost, lost + more)
    ]
    assert all(token in order for token in tokens)
    assert order.index(str(tokens[0])) <= order.index(str(tokens[1]))


@given(start=st.floats(10, 150), seconds=st.floats(1, 600), longer=st.floats(0, 600))
def test_longer_holds_may_lose_more_and_never_all(start: float, seconds: float, longer: float) -> None:
    hydraulics = shipped(TRIO).hydraulics
    assert hydraulics is not None
    one, other = (usual_loss_bar(hydraulics.hold, start, s) for s in (seconds, seconds + longer))
    assert 0 < one <= other < start
    assert usual_loss_bar(hydraulics.hold, 120, 60) == pytest.approx(8)
    assert GUARD_BAR > 0


@given(drop=st.floats(0, 150), more=st.floats(0.01, 100), seconds=st.floats(1, 600))
def test_the_leak_grows_with_what_is_lost(drop: float, more: float, seconds: float) -> None:
    assert leak_ml_min(60, drop + more, seconds) > leak_ml_min(60, drop, seconds) >= 0


def case(*observations: dict[str, Any]) -> dict[str, Any]:
    return {
        "system": TRIO,
        "car": {"made_on": "2015-03"},
        "seen_on": "2024-05-06",
        "complaint": {"motion": "open", "stops_at": "stow-stack", "lamp": "flashing"},
        "observations": list(observations),
    }


class TestAsEvidence:
    def share(self, position: str, mode: str, *observations: dict[str, Any]) -> float:
        found = diagnose(shipped(TRIO), parse_case(case(*observations)))
        one = [s.probability for s in found.suspects if (s.fault.position, s.fault.mode) == (position, mode)]
        return one[0] if one else 0.0

    def entry(self, end: float, position: str = "MM3") -> dict[str, Any]:
        return {"check": "pressure-hold", "position": position, "bar_start": 120, "bar_end": end, "seconds": 60}

    def test_sinking_makes_the_leak_more_likely_and_holding_less(self) -> None:
        before = self.share("MM3", "leaks")
        assert self.share("MM3", "leaks", self.entry(90)) > 3 * before
        assert self.share("MM3", "leaks", self.entry(117)) < before / 3
        assert self.share("MM3", "leaks", self.entry(30)) > self.share("MM3", "leaks", self.entry(90))

    def test_a_weak_pump_lets_back(self) -> None:
        assert self.share("GP1", "weak", self.entry(80, "GP1")) > 2 * self.share("GP1", "weak")

    def test_what_says_little_moves_nothing(self) -> None:
        short = {**self.entry(20), "seconds": 5}
        assert self.share("MM3", "leaks", short) == pytest.approx(self.share("MM3", "leaks"))

    def test_the_reason_is_told(self) -> None:
        found = diagnose(shipped(TRIO), parse_case(case(self.entry(60))))
        suspect = next(one for one in found.suspects if one.fault.position == "MM3" and one.fault.mode == "leaks")
        assert any("MM3 went from 120 to 60 bar" in reason.words for reason in suspect.reasons_for)

    def test_it_is_proposed_where_a_leak_is_suspected_with_its_caution(self) -> None:
        found = diagnose(shipped(TRIO), parse_case(case(self.entry(90))))
        offers = [check for check in found.next_checks if check.check == "pressure-hold"]
        assert offers
        assert all("Never feel for a leak" in offer.caution for offer in offers)
        assert all("holds its pressure" in offer.why for offer in offers)


holds = st.builds(
    lambda code, end, oil_c: {
        "check": "pressure-hold", "position": code, "bar_start": 120, "bar_end": end, "seconds": 60, "oil_c": oil_c,
    },
    st.sampled_from(["MM1", "MM3", "GP1"]),
    st.sampled_from([118, 100, 20]),
    st.sampled_from([None, -5, 20]),
)  # fmt: skip
trials = st.builds(
    lambda seconds, oil_c: {
        "check": "motion", "motion": "open", "stops_at": None, "seconds": {"stow-stack": seconds}, "oil_c": oil_c,
    },
    st.sampled_from([6.0, 7.1, 9.0]),
    st.sampled_from([None, -10, 20]),
)  # fmt: skip


@settings(max_examples=15, deadline=None)
@given(
    entries=st.lists(st.one_of(holds, trials), max_size=5), enough=st.booleans(), rng=st.randoms(use_true_random=False)
)
def test_holds_and_times_in_any_order_give_one_posterior(
    entries: list[dict[str, Any]], enough: bool, rng: random.Random
) -> None:
    own = {("open", "stow-stack"): StepTimes(6.0, 0.4, 30 if enough else 3, 20.0)}
    one, other = (
        believe(shipped(TRIO), parse_case(case(*mixed)), max_faults=2, step_times=own)
        for mixed in (entries, rng.sample(entries, len(entries)))
    )
    assert one.posterior.weights.sum() == pytest.approx(1.0)
    assert one.shares == pytest.approx(other.shares)
