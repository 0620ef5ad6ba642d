"""Certificate numbers: `TW-<year>-<8 characters>-<check character>`.

The eight characters are drawn at random, so that a number cannot be guessed from another one. The alphabet has 29
characters (no vowels, so that no word can appear; no L, which looks like 1). 29 is prime: the weighted sum over the
year and the eight characters, modulo 29, finds every single wrong character and every two neighbours that changed
places.
"""

import secrets
from collections.abc import Callable

ALPHABET = "0123456789BCDFGHJKMNPQRSTVWXZ"
LENGTH = 8
PREFIX = "TW"


def number_new(year: int, choose: Callable[[str], str] = secrets.choice) -> str:
    """A new number of `year` (four digits)."""
    body = "".join(choose(ALPHABET) for _ in range(LENGTH))
    return f"{PREFIX}-{year:04d}-{body}-{check_character(year, body)}"


def check_character(year: int, body: str) -> str:
    """The character that brings the weighted sum to 0 modulo 29; `body` from ALPHABET."""
    values = [ALPHABET.index(character) for character in f"{year:04d}{body}"]
    total = sum(weight * value for weight, value in enumerate(values, start=2))
    return ALPHABET[-total % len(ALPHABET)]


def number_holds(number: str) -> bool:
    """Whether `number` has the shape of a certificate number and its check character is right."""
    parts = number.split("-")
    if len(parts) != 4 or parts[0] != PREFIX:
        return False
    _, year, body, check = parts
    if not (len(year) == 4 and year.isascii() and year.isdigit() and len(body) == LENGTH and len(check) == 1):
        return False
    return all(c in ALPHABET for c in body) and check_character(int(year), body) == check
