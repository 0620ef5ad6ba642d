"""Step times: cold fluid, the shop's own cars, what they mean for the suspects."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.case import MotionTrial, observation_of, parse_case
from diagnostics.engine.inference import believe
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.timing import (
    ENOUGH,
    References,
    StepTimes,
    alike,
    band_words,
    beside_own_cars,
    compare,
    robust_z,
    slow_chance,
    times_of,
)
from tests.diagnostics.systems import shipped

TRIO = "rht-trio"
STOW = next(step for step in shipped(TRIO).motions["open"].steps if step.name == "stow-stack")
OTHERS = [5.4, 5.9, 6.0, 6.1, 6.2, 6.3, 6.4, 6.6, 5.8, 6.0, 6.1, 5.7]


def trial(seconds: float, oil_c: float | None = None, stops_at: str | None = None) -> dict[str, Any]:
    timed = {"stow-stack": seconds}
    return {"check": "motion", "motion": "open", "stops_at": stops_at, "seconds": timed, "oil_c": oil_c}


def parsed(*args: Any) -> MotionTrial:
    one = observation_of(trial(*args))
    assert isinstance(one, MotionTrial)
    return one


def weak_pump(observation: dict[str, Any], step_times: References | None = None) -> float:
    data = {"system": TRIO, "car": {"made_on": "2015-03"}, "seen_on": "2024-05-06", "observations": [observation]}
    belief = believe(shipped(TRIO), parse_case(data), step_times=step_times or {})
    return float(belief.shares[belief.model.faults.index(Fault("GP1", "weak"))])


class TestColdFluid:
    def test_a_cold_slow_step_is_no_finding(self) -> None:
        warm, cold = judge(shipped(TRIO), parsed(7.8, 20)), judge(shipped(TRIO), parsed(7.8, -10))
        assert (warm.verdict, cold.verdict) == ("finding", "ok")
        assert "At -10 °C up to 8.1 s are to be expected by calculation: no sign of a weak pump." in cold.words

    def test_beyond_what_cold_explains_it_is_one(self) -> None:
        judgement = judge(shipped(TRIO), parsed(10.5, -10))
        assert judgement.verdict == "finding"
        assert "try again with warm fluid" in judgement.words

    def test_a_cold_trial_is_no_evidence_of_a_weak_pump(self) -> None:
        usual = weak_pump(trial(6.0, 20))
        assert weak_pump(trial(7.7, 20)) > 3 * usual
        assert weak_pump(trial(7.7, -10)) < 2 * usual

    def test_near_the_limit_it_says_little(self) -> None:
        chances = [slow_chance(shipped(TRIO), parsed(s), STOW, {}) for s in (6.0, 7.0, 8.0)]
        assert chances == [pytest.approx(0.0, abs=1e-3), pytest.approx(0.5), pytest.approx(1.0, abs=1e-3)]


class TestOwnCars:
    def test_enough_of_them_stand_in_place_of_the_usual_seconds(self) -> None:
        slow_shop: References = {("open", "stow-stack"): StepTimes(7.6, 0.4, ENOUGH, 20.0)}
        assert weak_pump(trial(7.7, 20), slow_shop) < weak_pump(trial(7.7, 20)) / 3
        fast_shop: References = {("open", "stow-stack"): StepTimes(5.2, 0.2, ENOUGH, 20.0)}
        assert weak_pump(trial(6.6, 20), fast_shop) > 3 * weak_pump(trial(6.6, 20))

    @pytest.mark.parametrize(
        ("times", "seconds", "words"),
        [
            (StepTimes(7.6, 0.4, 30, 20.0), 7.7, "was not slow beside our own cars (7.6 ± 0.4 s, n = 30)."),
            (StepTimes(5.2, 0.2, 30, 20.0), 6.6, "took 6.6 s, slow beside our own cars (5.2 ± 0.2 s, n = 30)."),
            (StepTimes(6.0, 0.4, 30, 20.0), 6.1, ""),
            (StepTimes(6.0, 0.4, 30, 20.0), 9.9, ""),
        ],
    )
    def test_where_they_say_something_else_the_reason_says_so(
        self, times: StepTimes, seconds: float, words: str
    ) -> None:
        references: References = {("open", "stow-stack"): times}
        plain = judge(shipped(TRIO), parsed(seconds, 20.0))
        told = beside_own_cars(shipped(TRIO), parsed(seconds, 20.0), plain, references)
        assert told.words.endswith(words)
        assert (told.words == plain.words) == (words == "")
        assert told.verdict == plain.verdict

    @pytest.mark.parametrize(
        "times",
        [StepTimes(7.6, 0.4, ENOUGH - 1, 20.0), StepTimes(7.6, 0.4, 30, -5.0), StepTimes(7.6, 0.4, 30, None)],
        ids=["too few", "at another temperature", "of unknown temperature"],
    )
    def test_what_cannot_be_compared_changes_nothing(self, times: StepTimes) -> None:
        assert weak_pump(trial(7.7, 20), {("open", "stow-stack"): times}) == weak_pump(trial(7.7, 20))

    def test_temperatures(self) -> None:
        assert alike(10, 18)
        assert not alike(10, 18.5)
        assert alike(None, None)
        assert not alike(None, 20)

    def test_words(self) -> None:
        assert compare(STOW, 6.35, OTHERS, 20).words == "Slower than 10 of 12 of our cars at like temperature."
        assert compare(STOW, 6.35, OTHERS, None).words == "Slower than 10 of 12 of our cars."
        assert band_words(shipped(TRIO), 20) == "fluid 12 to 28 °C"
        assert "no fluid temperature was noted" in band_words(shipped(TRIO), None)
        assert band_words(shipped("softline-electro"), None) == ""
        strange = compare(STOW, 9.0, OTHERS, 20)
        assert strange.stands_out
        assert compare(STOW, 6.9, OTHERS, 20).is_slow
        assert not compare(STOW, 6.9, OTHERS, 20).stands_out
        assert not compare(STOW, 6.35, OTHERS, 20).is_slow
        assert "It stands out (robust z = " in strange.words
        assert compare(STOW, 9.0, OTHERS[:3], 20).words == "Too few of our cars to say: n = 3."
        assert not compare(STOW, 9.0, OTHERS[:3], 20).stands_out
        assert compare(STOW, 9.0, [], 20).words.startswith("None of our cars")

    def test_one_strange_car_moves_little(self) -> None:
        plain, spoilt = times_of(OTHERS, None), times_of([*OTHERS[:-1], 60.0], None)
        assert spoilt.median == pytest.approx(plain.median, abs=0.1)
        assert spoilt.sigma < 2 * plain.sigma


@given(seconds=st.lists(st.floats(0.1, 100), min_size=1, max_size=40), mine=st.floats(0.1, 100), data=st.data())
def test_the_order_of_the_cars_is_of_no_matter(seconds: list[float], mine: float, data: st.DataObject) -> None:
    mixed = data.draw(st.permutations(seconds))
    assert compare(STOW, mine, seconds, 20.0) == compare(STOW, mine, mixed, 20.0)


@given(
    seconds=st.lists(st.floats(0.1, 100), min_size=ENOUGH, max_size=40), one=st.floats(0.1, 99), more=st.floats(0, 50)
)
def test_slower_is_never_less_slow(seconds: list[float], one: float, more: float) -> None:
    times = times_of(seconds, None)
    assert robust_z(one + more, times) >= robust_z(one, times)
    references = {("open", "stow-stack"): times}
    slow, slower = (slow_chance(shipped(TRIO), parsed(s), STOW, references) for s in (one, one + more))
    assert 0.0 <= slow <= slower <= 1.0


def test_many_slow_steps_are_no_proof_of_a_weak_pump_where_nobody_noted_the_temperature() -> None:
    """Cold fluid slows all that the pump drives at once: one cause, not as many pieces of evidence as there are
    steps."""
    system = shipped("rht-trio")
    assert system.hydraulics is not None
    pump = system.hydraulics.pump.position
    slow = {
        step.name: step.seconds[1] * (1.3 if pump in step.driven_by else 0.9) for step in system.motions["close"].steps
    }

    def weak(oil_c: float | None) -> float:
        trial = {"check": "motion", "motion": "close", "stops_at": None, "seconds": slow, "oil_c": oil_c}
        case = {"system": system.system, "car": {"made_on": "2020-01"}, "seen_on": "2026-01-01"}
        belief = believe(system, parse_case({**case, "observations": [trial]}))
        shares = dict(zip(belief.model.faults, belief.shares, strict=True))
        return float(shares[Fault(pump, "weak")])

    assert weak(25.0) > 0.95
    assert 0.05 < weak(None) < 0.3, "suspected, to be settled by a trial with the temperature noted"
