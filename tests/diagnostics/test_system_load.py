"""Reading a system file: how it is written, hostile input, and what holds for every valid file."""

import random
import re

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.motion import fault_free
from diagnostics.engine.system.load import SystemFileError, load_system
from diagnostics.engine.system.marked import MAX_CHARACTERS, read_marked
from diagnostics.engine.system.problems import MOST_PROBLEMS
from tests.diagnostics.systems import SLUGS, shipped, text_of

WRITING = {
    "nothing": ("", 1, "", "The file is empty"),
    "only a comment": ("# nothing\n", 1, "", "The file is empty"),
    "a list": ("- rht\n", 1, "", "The file holds no named entries"),
    "a word": ("rht\n", 1, "", "The file holds no named entries"),
    "a null": ("~\n", 1, "", "The file holds no named entries"),
    "a key twice": (
        "a: 1\nb: {c: 1, d: 2,\n  c: 3}\n",
        3,
        "b.c",
        "“c” is written twice here, first in line 2; keep one.",
    ),
    "an alias": ("a: &many [1, 2]\nb: [*many, *many]\n", 2, "", "An alias (*many) stands here; write the value out."),
    "a tag": ("a: !!binary aGk=\n", 1, "", "A tag (tag:yaml.org,2002:binary) stands here"),
    "a list as a name": ("? [a, b]\n: c\n", 1, "", "A list or a group stands where a name was expected."),
    "two documents": ("a: 1\n---\nb: 2\n", 2, "", "A second document begins here"),
    "a second colon": ("a: 1\nb: c: d\n", 2, "", "A second “: ” stands in one line; put the text in quotes."),
    "a tab": ("a:\n\tb: 1\n", 2, "", "A tab stands here; indent with spaces."),
    "an open quote": ("a: 'b\n", 2, "", "A quote that was opened is never closed."),
    "an open bracket": ("a: [b, c\nd: e\n", 2, "", "A bracket that was opened is not closed"),
    "no colon": ("a: 1\nb\n", 3, "", "Expected “name: value” here; the colon is missing."),
    "indentation": ("a:\n  - b\n c: d\n", 3, "", "The indentation does not fit the lines above"),
    "a control character": ("a: 1\nb: \x01\n", 2, "", "A character that no text may contain stands here"),
    "an escaped control character": ('a: 1\nb: "\\0"\n', 2, "", "A character that no text may contain stands here"),
    "an escaped surrogate": ('a: 1\n"\\ud800": 1\n', 2, "", "A character that no text may contain stands here"),
    "an escape beyond all characters": ('a: 1\nb: "\\UFFFFFFFF"\n', 2, "", "A character that no text may contain"),
    "too deep": ("a: " + "[" * 60 + "]" * 60, 1, "", "Entries are nested deeper than 40 levels here."),
    "very deep": ("a: " + "[" * 100_000, 1, "", "Entries are nested deeper than 40 levels here."),
    "too long": ("#" * (MAX_CHARACTERS + 1), 1, "", "a system file has at most 400000."),
}


@pytest.mark.parametrize("name", WRITING)
def test_writing_mistakes_are_named_with_their_line(name: str) -> None:
    text, line, path, words = WRITING[name]
    with pytest.raises(SystemFileError) as caught:
        load_system(text, "x.yaml")
    first = caught.value.problems[0]
    assert words in first.words
    assert (first.source, first.line, first.path) == ("x.yaml", line, path)


def test_words_stay_words_and_numbers_are_plain_decimals() -> None:
    value = read_marked(
        "{a: off, b: yes, c: 010, d: 1:30, e: -1.5e1, f: '7', g: 2026-01-02, h: .inf, i:, j: true}"
    ).value
    assert value == {
        "a": "off", "b": "yes", "c": 10, "d": "1:30", "e": -15.0, "f": "7", "g": "2026-01-02", "h": ".inf", "i": None,
        "j": True,
    }  # fmt: skip


@pytest.mark.parametrize("slug", SLUGS)
def test_reads_the_same_values_as_the_library_does(slug: str) -> None:
    # The library is the outside reference here; the shipped files use nothing on which the two differ on purpose.
    assert read_marked(text_of(slug)).value == yaml.safe_load(text_of(slug))


def test_a_lamp_that_stays_off_is_a_word() -> None:
    text = text_of("softline-electro").replace("lamp: steady", "lamp: off")
    assert load_system(text, "x").motions["open"].steps[-1].lamp == "off"


def test_a_flood_of_mistakes_is_cut() -> None:
    flood = "".join(f"x{number}: 1\n" for number in range(5000))
    with pytest.raises(SystemFileError) as caught:
        load_system(flood, "x")
    assert len(caught.value.problems) == MOST_PROBLEMS


def test_a_long_value_is_cut_in_the_sentence() -> None:
    text = text_of("softline-electro").replace("kind: soft-top", "kind: " + "x" * 5000)
    with pytest.raises(SystemFileError) as caught:
        load_system(text, "x")
    assert len(caught.value.problems[0].words) < 150


def _renamed(text: str, order: list[int]) -> str:
    """`text` with the numbers of its positions dealt anew within each letter code, everywhere they stand."""
    codes = list(dict.fromkeys(re.findall(r"^  ([A-Z]{2}[0-9]+):$", text, re.MULTILINE)))
    fresh = dict(zip(codes, (f"{code[:2]}{order[index]}" for index, code in enumerate(codes)), strict=True))
    return re.sub(r"\b[A-Z]{2}[0-9]{1,2}\b", lambda found: fresh.get(found[0], found[0]), text)


@settings(max_examples=30, deadline=None)
@given(slug=st.sampled_from(SLUGS), order=st.permutations(range(1, 61)))
def test_renaming_positions_consistently_keeps_a_system_valid(slug: str, order: list[int]) -> None:
    system = load_system(_renamed(text_of(slug), order), "renamed.yaml")
    assert len(system.positions) == len(shipped(slug).positions)
    assert [position.name for position in system.positions.values()] == [
        position.name for position in shipped(slug).positions.values()
    ]


JUNK = [
    "",
    " ",
    "null",
    "-1",
    "nan",
    "1e999",
    "{",
    "]",
    "'",
    "- ",
    ": ",
    "\t",
    "*x",
    "&x ",
    "!!map ",
    "\x00",
    "ü",
    "between",
]


def _mutated(text: str, rng: random.Random) -> str:
    """Lines dropped, doubled and swapped, words replaced by other words of the file or by junk, the end cut off."""
    lines = text.splitlines(keepends=True)
    words = re.findall(r"[\w.-]+", text)
    for _round in range(rng.randint(1, 4)):
        at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        kind = rng.randrange(5)
        if kind == 0:
            lines[at] = ""
        elif kind == 1:
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 2:
            lines[at] += lines[other]
        else:
            start, end = rng.choice([one.span() for one in re.finditer(r"[\w.-]+", lines[at])] or [(0, 0)])
            put = rng.choice(words if kind == 3 else JUNK)
            lines[at] = lines[at][:start] + put + lines[at][end:]
    return "".join(lines[: rng.randint(1, len(lines))] if rng.random() < 0.1 else lines)


@settings(max_examples=150, deadline=None)
@given(slug=st.sampled_from(SLUGS), seed=st.integers(min_value=0, max_value=2**32))
def test_a_damaged_file_loads_or_says_why_and_raises_nothing_else(slug: str, seed: int) -> None:
    text = _mutated(text_of(slug), random.Random(seed))  # noqa: S311 - a mutation, no secret
    try:
        system = load_system(text, "damaged.yaml")
    except SystemFileError as error:
        problems = error.problems
    else:
        assert fault_free(system, "open")[-1].after == system.poses[system.motions["open"].end]
        return
    assert problems
    assert all(1 <= one.line <= text.count("\n") + 2 and one.words for one in problems)


@settings(max_examples=100, deadline=None)
@given(text=st.text(max_size=300))
def test_any_text_at_all_raises_nothing_but_a_system_file_error(text: str) -> None:
    with pytest.raises(SystemFileError):
        load_system(text, "any.yaml")
