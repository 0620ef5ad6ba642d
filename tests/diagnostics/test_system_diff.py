"""Two versions of a top system compared in words: nothing for the same, a sentence for every field, renames seen."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from diagnostics.engine.system.diff import diff, grouped, renamed_positions
from diagnostics.engine.system.diff_words import (
    _of_drawing,
    _of_fluid,
    _of_motions,
    _of_positions,
    _of_system,
    condition_words,
)
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import Condition, TopSystem
from tests.diagnostics.systems import SLUGS, shipped, text_of

TRIO = shipped("rht-trio")
BOW = shipped("softbow-hydro")
At = tuple[str | int, ...]


def changed(*edits: tuple[str, str], slug: str = "rht-trio") -> list[str]:
    """The words of what each edit of the text changes."""
    text = text_of(slug)
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return [one.words for one in diff(shipped(slug), load_system(text, "x.yaml"))]


def leaves(value: Any, at: At = ()) -> Iterator[At]:
    """The path of every value that is no group of others."""
    if isinstance(value, BaseModel) and not isinstance(value, Condition):
        for name in type(value).model_fields:
            yield from leaves(getattr(value, name), (*at, name))
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from leaves(one, (*at, key))
    elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
        for number, one in enumerate(value):
            yield from leaves(one, (*at, number))
    else:
        yield at


def altered(value: Any, at: At) -> Any:
    """`value` with another value at the path."""
    if not at:
        return _other(value)
    if isinstance(value, BaseModel):
        return value.model_copy(update={str(at[0]): altered(getattr(value, str(at[0])), at[1:])})
    if isinstance(value, dict):
        return {key: altered(one, at[1:]) if key == at[0] else one for key, one in value.items()}
    return tuple(altered(one, at[1:]) if number == at[0] else one for number, one in enumerate(value))


def _other(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, (int, float)):
        return value + 0.25
    if isinstance(value, Condition):
        return Condition.model_validate({"not": value})
    return ("other",) if isinstance(value, tuple) else "other"


PLACES = {slug: tuple(leaves(shipped(slug))) for slug in SLUGS}


@pytest.mark.parametrize("slug", SLUGS)
def test_the_same_has_no_difference(slug: str) -> None:
    assert diff(shipped(slug), load_system(text_of(slug), "again.yaml")) == ()


@given(st.sampled_from(SLUGS).flatmap(lambda slug: st.tuples(st.just(slug), st.sampled_from(PLACES[slug]))))
@settings(max_examples=120, deadline=None)
def test_every_single_field_gives_a_sentence_that_names_its_position(case: tuple[str, At]) -> None:
    slug, at = case
    system = shipped(slug)
    other = altered(system, at)
    assert other != system
    found = diff(system, other)
    assert found
    assert all(one.words.endswith(".") for one in found)
    if at[0] in ("positions", "spots"):
        assert all(str(at[1]) in one.words for one in found)
    assert diff(other, system)


@given(st.lists(st.sampled_from(PLACES["rht-trio"]), min_size=2, max_size=4, unique=True))
@settings(max_examples=50, deadline=None)
def test_as_many_sentences_as_changes_at_the_least(places: list[At]) -> None:
    apart = [at for at in places if not any(at != other and other[: len(at)] == at for other in places)]
    apart = list({at[:-1]: at for at in apart}.values())
    other: Any = TRIO
    for at in apart:
        other = altered(other, at)
    assert len(diff(TRIO, other)) >= len(apart)


def test_every_field_of_the_model_has_words() -> None:
    known = _of_system() | _of_positions() | _of_motions() | _of_fluid() | _of_drawing()
    fields = {name for system in (TRIO, BOW) for name in _field_names(system)}
    assert fields - set(known) == set()


def _field_names(value: Any) -> Iterator[str]:
    if isinstance(value, BaseModel) and not isinstance(value, Condition):
        for name in type(value).model_fields:
            yield name
            yield from _field_names(getattr(value, name))
    elif isinstance(value, dict):
        for one in value.values():
            yield from _field_names(one)
    elif isinstance(value, tuple):
        for one in value:
            yield from _field_names(one)


def test_numbers_thresholds_and_times_in_words() -> None:
    assert changed(("pull_up_ohm: 1000", "pull_up_ohm: 2200")) == ["Module: pull-up in Ω 1000, now 2200."]
    step = TRIO.motions["close"].steps[0]
    low, high = (str(one).removesuffix(".0") for one in step.seconds)
    other = _with_step(step.model_copy(update={"seconds": (step.seconds[0] + 0.5, step.seconds[1])}))
    (change,) = diff(TRIO, other)
    longer = str(step.seconds[0] + 0.5).removesuffix(".0")
    title = TRIO.motions["close"].title
    assert change.words == f"{title}, step {step.name}: usual seconds {low}–{high}, now {longer}–{high}."
    assert change.at == ("motions", "close", "steps", step.name, "seconds")


def _with_step(step: Any) -> TopSystem:
    close = TRIO.motions["close"]
    steps = tuple(step if one.name == step.name else one for one in close.steps)
    return TRIO.model_copy(update={"motions": {**TRIO.motions, "close": close.model_copy(update={"steps": steps})}})


def test_a_pin_that_moves_is_one_sentence() -> None:
    position = TRIO.positions["BG4"]
    assert position.pin is not None
    pin = position.pin.model_copy(update={"row": "C", "number": 9})
    moved = position.model_copy(update={"pin": pin})
    other = TRIO.model_copy(update={"positions": {**TRIO.positions, "BG4": moved}})
    words = [one.words for one in diff(TRIO, other)]
    assert words == [f"BG4 {position.name}: pin {position.pin.label}, now {pin.label}."]


def _called(system: TopSystem, old: str, new: str) -> TopSystem:
    """Everything of `old` under the code `new`."""
    return load_system(text_of(system.system).replace(old, new), "renamed.yaml")


def test_another_code_at_the_same_pin_is_taken_for_a_rename() -> None:
    other = _called(TRIO, "BG9", "BG19")
    assert renamed_positions(TRIO, other) == {"BG9": "BG19"}
    changes = diff(TRIO, other)
    assert [one.at for one in changes] == [("positions", "BG9")]
    assert f"BG9 {TRIO.positions['BG9'].name} is likely BG19 now" in changes[0].words


def test_a_new_position_and_one_that_is_gone() -> None:
    position = BOW.positions["GB1"].model_copy(update={"name": "Second battery"})
    with_it = BOW.model_copy(update={"positions": {**BOW.positions, "GB2": position}})
    (new,), (gone,) = diff(BOW, with_it), diff(with_it, BOW)
    assert new.words == f"GB2 Second battery is new: supply, {position.place}."
    assert gone.words == "GB2 Second battery is gone."


def test_steps_that_run_in_another_order_and_one_that_is_called_otherwise() -> None:
    close = TRIO.motions["close"]
    turned = close.model_copy(update={"steps": (close.steps[1], close.steps[0], *close.steps[2:])})
    (order,) = diff(TRIO, TRIO.model_copy(update={"motions": {**TRIO.motions, "close": turned}}))
    assert f"now {close.steps[1].name}, {close.steps[0].name}, " in order.words
    first = close.steps[0].model_copy(update={"name": "first-of-all"})
    renamed = close.model_copy(update={"steps": (first, *close.steps[1:])})
    words = [one.words for one in diff(TRIO, TRIO.model_copy(update={"motions": {**TRIO.motions, "close": renamed}}))]
    assert f"step {close.steps[0].name} is likely first-of-all now" in words[0]
    assert len(words) == 2  # that, and its name


def test_drawing_and_fluid_say_what_but_no_coordinates() -> None:
    words = [one.words for one in diff(TRIO, TRIO.model_copy(update={"drawing": None, "hydraulics": None}))]
    assert words[0].startswith("The system: hydraulics ")
    assert words[0].endswith(" is gone.")
    assert words[1:] == ["The system: drawing changed."]


def test_changes_are_grouped_by_part_of_the_file() -> None:
    at: list[At] = [("title",), ("module", "minutes"), ("positions", "BG4", "place"), ("poses", "open", "lid")]
    other: Any = TRIO
    for one in reversed(at):
        other = altered(other, one)
    groups = grouped(diff(TRIO, other))
    assert [heading for heading, _words in groups] == ["System", "Module", "Positions", "Poses"]
    assert all(len(words) == 1 for _heading, words in groups)


def test_conditions_in_words() -> None:
    data = {"any": [{"at": {"lid": ["open", "between"]}}, {"not": {"at": {"lid-latch": "locked"}}}]}
    condition = Condition.model_validate(data)
    assert condition_words(condition) == "(lid open or in between) or (not (lid latch locked))"
    both = Condition.model_validate({"all": [{"at": {"lid": "open"}}, {"at": {"shelf": "flat"}}]})
    assert condition_words(both) == "(lid open) and (shelf flat)"
    words = [one.words for one in diff(TRIO, altered(TRIO, ("positions", "BG4", "made_when")))]
    assert words == ["BG4 Lid open to the rear, end of travel: made when lid open, now not (lid open)."]
