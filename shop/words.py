"""Sentences of the base app that more than one place says."""

from django.utils.translation import gettext as _

from shop import vin as vins


def vin_problem_words(problem: vins.VinProblem) -> str:
    """One sentence: what is wrong, where, what was expected; with the offered reading where there is one."""
    if problem.kind == "length":
        return _("A VIN has 17 characters; this one has {length}.").format(length=problem.length)
    words = _(
        "Place {place} of the VIN reads {character}; a VIN has only digits and capital letters without I, O and Q."
    ).format(place=problem.place, character=problem.character)
    if problem.offer:
        words += " " + _("Look again at the car: was {offer} meant?").format(offer=problem.offer)
    return words


def check_digit_words(vin: str) -> str:
    """What the check digit says; a mismatch is told, not refused, because only North America asks for it."""
    expected = vins.check_digit(vin)
    if vins.check_digit_agrees(vin):
        return _("Check digit {digit} at place 9 agrees (49 CFR 565).").format(digit=expected)
    return _(
        "Place 9 reads {found}; the check digit of 49 CFR 565 would be {digit}. "
        "A car for North America must agree, elsewhere the place is the maker's own."
    ).format(found=vin[vins.CHECK_PLACE - 1], digit=expected)
