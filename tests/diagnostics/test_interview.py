"""The symptom interview: every way through it ends soon in a case that can be, and each answer moves the suspects the
way it should."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.case import Case, Complaint, check_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.errors import CaseError
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.interview import MOST_QUESTIONS, WORTH_ASKING, gains_of, next_question, path
from diagnostics.engine.outlook import Outlook, outlook
from diagnostics.engine.questions import (
    NAMES,
    UNKNOWN,
    areas_of,
    case_of,
    checked,
    in_the_way,
    question,
    sentences_of,
    told_of,
)
from diagnostics.engine.results import Fault
from diagnostics.engine.told import complaint_sentences, told_likelihood
from tests.diagnostics.systems import SLUGS, shipped

CAR: dict[str, Any] = {"made_on": "2014-06", "climate": "temperate", "seen_on": "2025-03-01"}
LID = {"fails": "close", "stops": "raise-lid"}


def _belief(answers: dict[str, str], slug: str = "rht-trio") -> Belief:
    system = shipped(slug)
    return believe(system, case_of(system, checked(system, answers), **CAR), max_faults=2)


def _share(answers: dict[str, str], *faults: Fault) -> float:
    belief = _belief(answers)
    return float(sum(belief.shares[belief.model.faults.index(fault)] for fault in faults))


def _outlook(answers: dict[str, str], slug: str = "rht-trio") -> Outlook:
    system = shipped(slug)
    return outlook(system, checked(system, answers), **CAR)


@settings(max_examples=60, deadline=None)
@given(slug=st.sampled_from(SLUGS), data=st.data())
def test_any_way_through_ends_within_six_questions_in_a_case_that_can_be(slug: str, data: st.DataObject) -> None:
    system = shipped(slug)
    answers: dict[str, str] = {}
    while (asked := next_question(system, answers)) is not None:
        assert asked.name not in answers
        assert asked.words
        values = [choice.value for choice in asked.choices]
        assert UNKNOWN in values, "nobody has to know"
        assert len(set(values)) == len(values)
        given_ = data.draw(st.lists(st.sampled_from(values), min_size=1, max_size=3 if asked.many else 1, unique=True))
        answers = checked(system, {**answers, asked.name: ",".join(given_)})
    assert 1 <= len(answers) <= MOST_QUESTIONS
    case = case_of(system, answers, **CAR)
    check_case(system, case)
    assert Case.model_validate(case.model_dump()) == case
    thought = outlook(system, answers, **CAR)
    assert len(thought.cautions) >= 4
    assert (case.complaint is None) == (thought.groups == ())
    assert all(0.0 <= group.probability <= 1.0 for group in thought.groups)
    assert len(sentences_of(system, answers)) == len(answers)


@pytest.mark.parametrize("slug", SLUGS)
def test_where_it_stops_is_asked_first_and_every_step_can_be_told(slug: str) -> None:
    system = shipped(slug)
    for motion, declared in system.motions.items():
        answers = {"fails": motion}
        assert next_question(system, {}).name == "fails"  # type: ignore[union-attr]
        asked = next_question(system, answers)
        assert asked is not None
        assert [choice.value for choice in asked.choices] == [*(s.name for s in declared.steps), UNKNOWN]
        assert "Nothing moves at all" in asked.choices[0].words
        for step in declared.steps:
            told = told_of(system, {**answers, "stops": step.name})
            assert told.complaint == Complaint(motion=motion, stops_at=step.name)


def test_the_question_that_tells_most_is_asked_and_none_that_tells_nothing() -> None:
    system = shipped("rht-trio")
    answers = {"fails": "close", "stops": "clear-shelf", "hand": "as-it-should"}
    while (asked := next_question(system, answers)) is not None:
        gains = gains_of(system, answers)
        assert gains[asked.name] == max(gains.values())
        assert gains[asked.name] >= WORTH_ASKING
        answers[asked.name] = UNKNOWN
    assert len(answers) == MOST_QUESTIONS or max(gains_of(system, answers).values()) < WORTH_ASKING


def test_an_answer_that_nobody_offered_is_refused_with_a_sentence() -> None:
    system = shipped("rht-trio")
    with pytest.raises(CaseError, match=r"“fly” is no answer to “What does the top not do\?”"):
        checked(system, {"fails": "fly"})
    with pytest.raises(CaseError, match="“lock-bow” is no answer"):
        checked(system, {"fails": "open", "stops": "lock-bow"})
    with pytest.raises(CaseError, match="is no answer"):
        path(system, {**LID, "recent": "BG1,ZZ9"})


def test_what_does_not_lie_on_the_way_is_left_out() -> None:
    system = shipped("rht-trio")
    answers, asked = path(system, {"lamp": "off", "stops": "raise-lid"})
    assert answers == {}
    assert asked is not None
    assert asked.name == "fails"
    assert set(checked(system, {"fails": "", "lamp": ""})) == set()


def test_silence_speaks_for_a_dead_drive_and_a_running_pump_against_it() -> None:
    pump = Fault("GP1", "dead")
    assert _share({**LID, "sound": "silent"}, pump) > 1.5 * _share(LID, pump) > _share({**LID, "sound": "runs"}, pump)
    end_switch = Fault("BG4", "never-makes")
    assert _share({**LID, "sound": "runs"}, end_switch) > _share({**LID, "sound": "silent"}, end_switch)


def test_comes_and_goes_speaks_for_what_comes_and_goes() -> None:
    worn = [Fault(code, "comes-and-goes") for code in ("BG3", "BG4", "BG5", "BG6", "BG12", "BG13")]
    often, always = _share({**LID, "when": "sometimes"}, *worn), _share({**LID, "when": "always"}, *worn)
    assert often > _share(LID, *worn) > always
    assert _share({**LID, "when": "cold"}, *worn) == pytest.approx(_share(LID, *worn)), "weather is kept as words only"


def test_a_weak_battery_speaks_for_the_supply_and_a_strong_one_against() -> None:
    low = Fault("GB1", "low")
    assert _share({**LID, "battery": "yes"}, low) > _share(LID, low) > _share({**LID, "battery": "no"}, low)


def test_a_top_that_goes_neither_way_speaks_for_what_both_motions_need() -> None:
    dead = [Fault("GP1", "dead"), Fault("KF1", "output-dead")]
    one_way = {"fails": "close", "stops": "raise-lid"}
    neither = {"fails": "both", "tried": "close", "stops": "raise-lid"}
    assert _share(neither, *dead) > _share(one_way, *dead)
    assert told_of(shipped("rht-trio"), neither).complaint == Complaint(
        motion="close", stops_at="raise-lid", neither_way=True
    )


def test_work_nearby_speaks_for_what_is_left_unplugged_there() -> None:
    system = shipped("rht-trio")
    here = areas_of(system)["Left lid hinge"]
    assert "BG4" in here
    told = told_of(system, {**LID, "recent": here[0]})
    assert set(told.recent_work) == set(here)
    unplugged = Fault("BG4", "unplugged")
    assert _share({**LID, "recent": here[0]}, unplugged) > 2 * _share({**LID, "recent": "no"}, unplugged)


@pytest.mark.parametrize("slug", SLUGS)
def test_answers_to_one_question_share_out_what_was_told_without_it(slug: str) -> None:
    """The chances of all answers add up to that of the complaint without the answer, under every hypothesis."""
    system = shipped(slug)
    model = compiled(system, 2)
    for motion, declared in system.motions.items():
        plain = Complaint(motion=motion, stops_at=declared.steps[1].name)
        whole = told_likelihood(model, plain)
        for field, values in {
            "lamp": ("flashing", "steady", "off"),
            "sound": ("runs", "silent"),
            "comes_and_goes": (True, False),
            "battery_weak": (True, False),
        }.items():
            parts = sum(told_likelihood(model, plain.model_copy(update={field: value})) for value in values)
            np.testing.assert_allclose(parts, whole, rtol=1e-9, err_msg=field)


@pytest.mark.parametrize(
    ("slug", "motion", "value", "step"),
    [
        ("rht-trio", "close", "divider.lifted", "release-lid"),
        ("rht-trio", "open", "trunk.open", "unlock-header"),
        ("softbow-hydro", "close", "well-floor.raised", "release-cover"),
        ("softline-electro", "open", "deflector.fitted", "unlock-header"),
    ],
)
def test_what_stands_in_the_way_explains_the_stop_and_comes_first(
    slug: str, motion: str, value: str, step: str
) -> None:
    system = shipped(slug)
    assert in_the_way(system, motion)[value] == step
    answers = {"fails": motion, "stops": step}
    assert next_question(system, answers).name == "hand"  # type: ignore[union-attr]
    answers["hand"] = value
    told = told_of(system, answers)
    assert told.complaint is None, "a stop on purpose accuses no part"
    assert "does not move on purpose" in told.first
    assert system.axes[value.partition(".")[0]].title in told.first
    assert next_question(system, answers) is None
    assert _outlook(answers, slug).groups == ()


def test_a_part_of_two_places_is_named_after_the_one_that_is_suspected() -> None:
    thought = _outlook({"fails": "close", "stops": "raise-stack", "lamp": "flashing"})
    system = shipped("rht-trio")
    (part,) = [one for one in thought.parts if one.number == system.positions["BG8"].part]
    assert system.positions["BG7"].part == part.number
    suspected = [one.words for one in thought.suspects]
    assert any(words.startswith("BG8 ") for words in suspected)
    assert not any(words.startswith("BG7 ") for words in suspected)
    assert part.name == "Switch: Shells stacked"


def test_the_outlook_ranks_groups_suspects_parts_and_minutes() -> None:
    thought = _outlook({**LID, "hand": "as-it-should", "sound": "runs", "when": "sometimes"})
    assert [g.probability for g in thought.groups] == sorted((g.probability for g in thought.groups), reverse=True)
    assert "It watches: Trunk lid" in thought.groups[0].words
    assert thought.suspects[0].words.startswith("GB1")
    assert thought.parts[0].number == "TW-BGB-3121"
    assert thought.minutes is not None
    least, most = thought.minutes
    assert 0 < least < most <= 8 * 60
    assert least % 15 == most % 15 == 0
    belief = _belief({**LID, "hand": "as-it-should", "sound": "runs", "when": "sometimes"})
    part = [i for i, f in enumerate(belief.model.faults) if f.position == "BG4" and f.mode in _REPLACED]
    pairs = zip(belief.model.sets.members.tolist(), belief.posterior.weights, strict=True)
    any_of = sum(weight for members, weight in pairs if set(part) & set(members))
    assert thought.parts[0].probability == pytest.approx(any_of)


_REPLACED = {"stays-made", "never-makes", "comes-and-goes", "high-resistance"}


def test_the_cautions_fit_where_the_top_stands() -> None:
    half = " ".join(_outlook(LID).cautions)
    assert half.startswith("Do not force the top")
    assert "Do not drive with the top half open" in half
    rest = " ".join(_outlook({"fails": "open", "stops": "unlock-header"}).cautions)
    assert "Do not force the top" in rest
    assert "half open" not in rest
    unknown = " ".join(_outlook({"fails": UNKNOWN}).cautions)
    assert "half open" in unknown, "where nobody says how it stands the graver caution is given"


def test_the_complaint_is_said_whole() -> None:
    system = shipped("rht-trio")
    told = told_of(system, {**LID, "sound": "silent", "when": "sometimes", "battery": "no"}).complaint
    assert told is not None
    assert " ".join(complaint_sentences(system, told)) == (
        "Closing stops at “The lid opens to the rear”. Nothing is heard. It comes and goes. The battery is strong."
    )


@pytest.mark.parametrize("slug", SLUGS)
def test_every_question_has_words_for_every_answer(slug: str) -> None:
    system = shipped(slug)
    for name in NAMES:
        asked = question(system, name, {"fails": "close"})
        assert len(asked.choices) >= 2
        assert all(choice.words.strip() for choice in asked.choices)
