"""Vehicle identification numbers: the characters and the length of ISO 3779, the check digit of 49 CFR 565.15(c).

Pure: no web framework, no words for people (those are made in shop/words.py). A VIN is never corrected here. Where
I, O or Q stand, the reading that was probably meant is offered beside the problem, and a person decides.
"""

from dataclasses import dataclass

LENGTH = 17
CHECK_PLACE = 9  # counted from 1

# 49 CFR 565.15(c), Tables III and IV. I, O and Q have no value because ISO 3779 and 49 CFR 565.13(g) do not admit them.
VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
OFFERS = {"I": "1", "O": "0", "Q": "0"}


@dataclass(frozen=True, slots=True)
class VinProblem:
    """`kind`: 'length' | 'character'. `place` counts from 1 (0 for a length). `offer`: an admitted VIN, or ''."""

    kind: str
    length: int
    character: str = ""
    place: int = 0
    offer: str = ""


def tidy(text: str) -> str:
    """As written on papers, without the spaces and hyphens that people put in, in capitals."""
    return "".join(text.split()).replace("-", "").upper()


def problem_of(vin: str) -> VinProblem | None:
    """What ISO 3779 says against a tidied VIN; None when nothing. A wrong character is told before a wrong length."""
    for place, character in enumerate(vin, start=1):
        if character not in VALUES:
            return VinProblem("character", len(vin), character, place, _offer(vin))
    if len(vin) != LENGTH:
        return VinProblem("length", len(vin))
    return None


def check_digit(vin: str) -> str:
    """The check digit ('0'-'9', or 'X' for 10) that belongs at place 9, whatever stands there. Takes 17 characters."""
    if len(vin) != LENGTH:
        raise ValueError(f"a VIN has {LENGTH} characters, got {len(vin)}")
    return "0123456789X"[weighted_sum(vin) % 11]


def weighted_sum(vin: str) -> int:
    """Sum of value times weight; place 9 has weight 0 and may hold any placeholder."""
    return sum(
        VALUES[character] * weight
        for place, (character, weight) in enumerate(zip(vin, WEIGHTS, strict=True), start=1)
        if place != CHECK_PLACE
    )


def check_digit_agrees(vin: str) -> bool:
    return vin[CHECK_PLACE - 1] == check_digit(vin)


def _offer(vin: str) -> str:
    offered = "".join(OFFERS.get(character, character) for character in vin)
    return offered if _admitted(offered) and len(offered) == LENGTH else ""


def _admitted(vin: str) -> bool:
    return all(character in VALUES for character in vin)
