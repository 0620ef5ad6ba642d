"""VINs: what is refused and with which words; what holds for all of them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop import vin
from shop.words import check_digit_words, vin_problem_words

vins = st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17)


@given(vins, st.sampled_from("IOQ"), st.integers(0, 16))
def test_a_wrong_letter_is_named_with_its_place_and_never_replaced(good: str, letter: str, at: int) -> None:
    wrong = good[:at] + letter + good[at + 1 :]
    problem = vin.problem_of(wrong)
    assert problem is not None
    assert (problem.kind, problem.character, problem.place) == ("character", letter, at + 1)
    assert problem.offer == good[:at] + {"I": "1", "O": "0", "Q": "0"}[letter] + good[at + 1 :]
    assert vin.tidy(wrong) == wrong


@given(vins)
def test_exactly_one_character_at_place_nine_agrees(good: str) -> None:
    agreeing = [c for c in "0123456789X" if vin.check_digit_agrees(good[:8] + c + good[9:])]
    assert agreeing == [vin.check_digit(good)]


@given(vins, st.integers(0, 16), st.sampled_from("123456789"))
def test_a_single_wrong_digit_is_always_noticed(good: str, at: int, step: str) -> None:
    """Eleven is prime and no digit difference times a weight (but that of place 9) is a multiple of it."""
    digits = good[:at] + "0" + good[at + 1 :]
    digits = digits[:8] + vin.check_digit(digits) + digits[9:]
    changed = digits[:at] + step + digits[at + 1 :]
    if at != vin.CHECK_PLACE - 1:
        assert not vin.check_digit_agrees(changed)


@given(vins)
def test_spaces_hyphens_and_small_letters_are_only_writing(good: str) -> None:
    assert vin.tidy(f" {good[:3].lower()} {good[3:9]}-{good[9:]}\n") == good


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0TWAH5903RT00001", "A VIN has 17 characters; this one has 16."),
        ("0TWAH5903RT0000011", "A VIN has 17 characters; this one has 18."),
        ("", "A VIN has 17 characters; this one has 0."),
        (
            "0TWAH5903RTO00001",
            "Place 12 of the VIN reads O; a VIN has only digits and capital letters without I, O and Q. "
            "Look again at the car: was 0TWAH5903RT000001 meant?",
        ),
        (
            "0TWAH5903RT00000Ä",
            "Place 17 of the VIN reads Ä; a VIN has only digits and capital letters without I, O and Q.",
        ),
    ],
)
def test_one_sentence_says_what_where_and_what_was_expected(text: str, words: str) -> None:
    problem = vin.problem_of(text)
    assert problem is not None
    assert vin_problem_words(problem) == words


def test_the_check_digit_is_said_and_a_mismatch_told() -> None:
    assert check_digit_words("0TWAH5903RT000001") == "Check digit 3 at place 9 agrees (49 CFR 565)."
    told = check_digit_words("0TWAH590ZRT000001")
    assert told.startswith("Place 9 reads Z; the check digit of 49 CFR 565 would be 3.")
