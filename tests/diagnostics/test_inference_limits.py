"""The posterior at the limits: of a system's size, of the number of entries, of what a value can be."""

import random

import numpy as np
import pytest

from diagnostics.engine import compiled as prepared
from diagnostics.engine.answer import as_json
from diagnostics.engine.case import parse_case
from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import faults_of
from diagnostics.engine.hypotheses import rank
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.generated import belief_of, entries_of
from tests.diagnostics.small_system import DATA, case_data, pin, small_system
from tests.diagnostics.systems import SLUGS, shipped

# --- what is left out where a system is too large


@pytest.fixture
def few_sets(monkeypatch: pytest.MonkeyPatch):
    """As if the limit on the number of sets left room for pairs alone."""

    def limited(most: int) -> None:
        monkeypatch.setattr(prepared, "MOST_SETS", most)
        prepared._kept.clear()

    yield limited
    monkeypatch.undo()
    prepared._kept.clear()


@pytest.mark.parametrize("slug", [*SLUGS, "small-top"])
@pytest.mark.parametrize("seed", range(4))
def test_what_was_left_out_weighs_no_more_than_is_said(few_sets, slug, seed):
    """Against all sets of three: neither their own weight nor the shift of all others is above the bound."""
    system = small_system() if slug == "small-top" else shipped(slug)
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    found = entries_of(system, rng, 6)
    if seed % 2:
        found += [entry | {"after_work": True} for entry in entries_of(system, rng, 3)]
    told = {"motion": "close", "stops_at": system.step_names("close")[1]} if seed > 1 else None
    case = parse_case(case_data(system=system.system, complaint=told, observations=found))
    whole = believe(system, case, max_faults=3).posterior
    few_sets(20_000)
    part = diagnose(system, case, max_faults=3)
    kept = believe(system, case, max_faults=3)
    assert (kept.model.sets.k, kept.model.most) == (2, 3)
    triples = whole.weights[len(kept.model.sets) :].sum()
    apart = 0.5 * (np.abs(whole.weights[: len(kept.model.sets)] - kept.posterior.weights).sum() + triples)
    assert 0.0 < triples <= part.unweighed < 1.0
    assert apart <= part.unweighed
    assert any("sets of up to 2 were weighed" in warning for warning in part.warnings)
    assert as_json(part)["unweighed"] == part.unweighed


def test_nothing_is_said_where_every_set_was_weighed():
    answer = diagnose(small_system(), parse_case(case_data(observations=[pin("BG4", 0.5)])))
    assert answer.unweighed == 0.0
    assert "unweighed" not in as_json(answer)
    assert not any("weighed" in warning for warning in answer.warnings)


# --- the limits of size


def largest() -> TopSystem:
    """25 positions and 150 faults or more: the small top with switches that nothing waits for."""
    more = {
        f"BG{20 + i}": DATA["positions"]["BG3"]
        | {"pin": DATA["positions"]["BG3"]["pin"] | {"connector": "XG2", "number": 1 + i}}
        for i in range(25 - len(DATA["positions"]))
    }
    return small_system(positions=DATA["positions"] | more)


def test_a_system_at_the_limit_of_size_answers_exactly():
    system = largest()
    assert len(system.positions) == 25
    assert len(faults_of(system)) >= 150
    case = case_data(
        complaint={"motion": "close", "stops_at": "roof-over"}, observations=[pin("BG4", 0.01), pin("BG21", 0.5)]
    )
    answer = diagnose(system, parse_case(case))
    assert answer.suspects[0].fault.position == "BG4"
    assert answer.next_checks
    assert answer.unweighed == 0.0


def test_a_system_beyond_it_answers_and_says_what_is_left_out():
    more = {f"BG{50 + i}": largest().positions["BG20"].model_dump(mode="json", exclude_none=True) for i in range(20)}
    for i, one in enumerate(more.values()):
        one["pin"] |= {"connector": "XG3", "number": 1 + i}
    data = largest().model_dump(mode="json", by_alias=True, exclude_none=True)
    system = TopSystem.model_validate(data | {"positions": data["positions"] | more})
    answer = diagnose(system, parse_case(case_data(observations=[pin("BG4", 0.01)])))
    assert answer.suspects[0].fault.position == "BG4"
    assert 0.0 < answer.unweighed < 1.0
    assert any("too many faults" in warning for warning in answer.warnings)


def test_ten_thousand_entries_are_answered():
    """Each many times over: they add up, and the answer stays a distribution."""
    system = small_system()
    rng = random.Random(3)  # noqa: S311 - repeatable draws
    some = entries_of(system, rng, 40)
    some = [entry | {"seconds": {}} if entry["check"] == "motion" else entry for entry in some]
    belief = belief_of(system, case_data(observations=[rng.choice(some) for _ in range(10_000)]))
    assert belief.posterior.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert np.isfinite(belief.posterior.log_evidence)
    answer = diagnose(system, parse_case(case_data(observations=[rng.choice(some) for _ in range(10_000)])))
    assert len(answer.judgements) == 10_000
    assert answer.suspects


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (pin("BG4", 0.5) | {"volts": 1e9}, "volts"),
        (pin("BG4", 0.5) | {"volts": float("nan")}, "volts"),
        ({"check": "continuity", "position": "BG3", "ohms": -1.0}, "ohms"),
        ({"check": "battery", "volts": float("inf")}, "volts"),
        ({"check": "motion", "motion": "close", "stops_at": None, "seconds": {"lid-up": -1.0}}, "seconds"),
        ({"check": "motion", "motion": "close", "stops_at": "nowhere"}, "nowhere"),
        ({"check": "click", "position": "XX99", "heard": True}, "XX99"),
    ],
)
def test_absurd_values_are_refused_in_a_sentence(entry, words):
    with pytest.raises(CaseError) as refused:
        believe(small_system(), parse_case(case_data(observations=[pin("BG2", 0.01), entry])))
    sentence = str(refused.value)
    assert words in sentence
    assert "bservation 2" in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("chance", [0.0, 1.0, -0.1, float("nan"), 2.0])
def test_an_impossible_prior_is_refused(chance):
    with pytest.raises(ValueError, match="expected between 0 and 1"):
        believe(small_system(), parse_case(case_data()), priors={Fault("BG2", "open"): chance})


def test_priors_next_to_certainty_still_give_a_distribution():
    priors = {Fault("BG2", "open"): 1 - 1e-12, Fault("BG3", "open"): 1e-12, Fault("MM1", "leaks"): 0.999}
    belief = believe(small_system(), parse_case(case_data(observations=[pin("BG2", 0.01)])), priors=priors)
    assert belief.posterior.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert rank(belief.model.sets.members[-1:], belief.model.sets.n)[0] == len(belief.model.sets) - 1


def test_the_interview_displaces_no_system_that_the_bench_works_on():
    prepared._kept.clear()
    bench = [prepared.compiled(shipped(slug), 3) for slug in SLUGS]
    for slug in SLUGS:
        prepared.compiled(shipped(slug), 2)
    assert all(prepared.compiled(shipped(slug), 3) is one for slug, one in zip(SLUGS, bench, strict=True))
