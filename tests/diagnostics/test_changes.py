"""What the last entry moved, in words: the words must agree with the odds, whatever was entered."""

import re
from math import exp, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.case import parse_case
from diagnostics.engine.changes import (
    MOST_EACH_WAY,
    WORTH_TELLING,
    Standing,
    change_of,
    moves_between,
    percent,
    standing_of,
    standing_of_belief,
)
from diagnostics.engine.faults import describe, faults_of
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.reasons import TELLING
from tests.diagnostics.small_system import case_data, pin, small_system

SYSTEM = small_system()
FAULTS = faults_of(SYSTEM)
ENTRIES = st.one_of(
    st.builds(pin, st.sampled_from(["BG1", "BG2", "BG3", "BG5"]), st.sampled_from([0.01, 0.2, 0.5, 0.99])),
    st.builds(
        lambda code, heard: {"check": "click", "position": code, "heard": heard},
        st.sampled_from(["BG1", "BG2", "BG3"]),
        st.booleans(),
    ),
    st.just({"check": "motion", "motion": "close", "stops_at": "roof-over", "lamp": None}),
    st.just({"check": "battery", "volts": 12.7}),
)
SHARES = st.dictionaries(st.sampled_from(FAULTS), st.floats(0, 1), max_size=8)


def case(*entries):
    return parse_case(case_data(observations=list(entries)))


def change(before, after, **more):
    first, second = (standing_of(diagnose(SYSTEM, one)) for one in (before, after))
    return change_of(SYSTEM, first, second, entry="BG1 reads made.", **more)


@settings(max_examples=40, deadline=None)
@given(st.lists(ENTRIES, max_size=4), ENTRIES)
def test_what_is_said_agrees_with_the_odds_and_with_the_weight_of_the_entry(earlier, entry):
    before, after = (believe(SYSTEM, case(*entries)) for entries in (earlier, [*earlier, entry]))
    moves = moves_between(standing_of_belief(before), standing_of_belief(after))
    odds_before, odds_after = (
        {fault: log(p / (1 - p)) for fault, p in standing_of_belief(one).shares.items()} for one in (before, after)
    )
    for move in moves:
        assert (move.llr > 0) == (move.after > move.before)
        assert move.llr == pytest.approx(odds_after[move.fault] - odds_before[move.fault], abs=1e-6)
    said = change_of(SYSTEM, standing_of_belief(before), standing_of_belief(after), entry="It.").words
    for move in moves:
        assert f"{describe(SYSTEM, move.fault).rstrip('.')} {percent(move.before)} → {percent(move.after)}" in said
    # Nothing that moved further the same way is left unsaid.
    for way in (1, -1):
        told = [abs(move.after - move.before) for move in moves if move.llr * way > 0]
        untold = [
            abs(after.shares[place] - before.shares[place])
            for place, fault in enumerate(FAULTS)
            if fault not in {move.fault for move in moves}
            and (odds_after[fault] - odds_before[fault]) * way >= TELLING
            and max(exp(odds_before[fault]), exp(odds_after[fault])) >= 2 * WORTH_TELLING
            and percent(before.shares[place]) != percent(after.shares[place])
        ]
        assert not untold or (len(told) == MOST_EACH_WAY and max(untold) <= min(told) + 1e-9)


@settings(max_examples=100, deadline=None)
@given(SHARES, SHARES)
def test_taking_an_entry_back_moves_everything_the_other_way(first, second):
    before, after = Standing(first, -1.0), Standing(second, -2.0)
    there, back = moves_between(before, after), moves_between(after, before)
    assert {(move.fault, move.before, move.after) for move in there} == {
        (move.fault, move.after, move.before) for move in back
    }
    assert sorted(move.llr for move in there) == pytest.approx(sorted(-move.llr for move in back))
    assert [move.llr > 0 for move in there] == sorted((move.llr > 0 for move in there), reverse=True)


@given(st.floats(0, 1))
def test_no_suspect_is_said_to_be_certain_or_impossible(share):
    assert percent(share) not in ("0 %", "100 %")
    number = int(re.search(r"\d+", percent(share))[0])
    assert abs(number - 100 * share) <= 1


def test_a_reading_that_the_pose_should_not_give_names_who_rose_and_why():
    said = change(case(), case(pin("BG2", 0.99)))
    assert said.moves[0].fault.position == "BG2"
    assert said.moves[0].after > 0.2 > said.moves[0].before
    assert re.search(r"BG2 .* (under )?\d+ % → \d+ %", said.words)
    assert said.why == "Because: BG1 reads made."


def test_taken_back_it_says_so_and_the_suspect_falls_again():
    said = change(case(pin("BG2", 0.99)), case(), undone=True)
    assert said.moves
    assert all(move.after < move.before for move in said.moves if move.fault.position == "BG2")
    assert said.why == "Because this was taken back: BG1 reads made."


def test_an_expected_reading_moves_nothing_and_says_that_it_was_expected():
    seen = [pin("BG2", 0.01), pin("BG2", 0.01)]
    assert change(case(*seen), case(*seen, pin("BG2", 0.01))).words == "Nothing moved: this was expected."


def test_an_entry_that_does_not_count_or_says_nothing_is_told_as_such():
    look = {"check": "look", "position": "BG2", "found": "a coin in the well"}
    assert change(case(), case(), counts=False).words == "Nothing moved: the entry does not count."
    assert change(case(), case(look)).words == "Nothing moved: this says nothing about any suspect."
    assert change(case(), case(), undone=True).words.startswith("Nothing moved back")


def test_what_surprises_without_telling_suspects_apart_is_not_called_expected():
    alike = Standing({FAULTS[0]: 0.4, FAULTS[1]: 0.6}, -1.0)
    said = change_of(SYSTEM, alike, Standing(alike.shares, -3.0), entry="It.")
    assert said.words == "Nothing moved: every suspect explains this alike."


def test_what_a_person_sees_move_comes_before_what_moved_far_in_odds_alone():
    before = Standing(dict(zip(FAULTS, (0.9, 0.02, 0.02, 0.0005), strict=False)), -1.0)
    after = Standing(dict(zip(FAULTS, (0.5, 0.2, 0.15, 0.02), strict=False)), -1.5)
    assert [move.fault for move in moves_between(before, after)] == [FAULTS[1], FAULTS[2], FAULTS[0]]


def test_the_furthest_move_comes_first_each_way():
    before = Standing(dict(zip(FAULTS, (0.5, 0.5, 0.5, 0.02, 0.02, 0.02), strict=False)), -1.0)
    after = Standing(dict(zip(FAULTS, (0.1, 0.02, 0.3, 0.1, 0.4, 0.06), strict=False)), -1.5)
    assert [move.fault for move in moves_between(before, after)] == [FAULTS[4], FAULTS[3], FAULTS[1], FAULTS[0]]
