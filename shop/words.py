"""Sentences of the base app that more than one place says."""

import datetime as dt

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from shop import vin as vins
from shop.models import Car


def day_words(at: dt.date | dt.datetime | None) -> str:
    """A day as people here read it, of a time the day in the shop's zone; '' for none."""
    return _date(at, "j M Y")


def clock_words(at: dt.datetime) -> str:
    """The time in the shop's zone, with the day where that is not today."""
    here = timezone.localtime(at)
    return formats.date_format(here, "H:i" if here.date() == timezone.localdate() else "j M Y, H:i")


def stretch_words(starts_at: dt.datetime, ends_at: dt.datetime) -> str:
    """From when to when in the shop's zone: `Tue 1 Dec, 9:00 to 11:00`, the last day named where it is another."""
    first, last = timezone.localtime(starts_at), timezone.localtime(ends_at)
    form = "G:i" if first.date() == last.date() else "D j M, G:i"
    return _("{start} to {end}").format(
        start=formats.date_format(first, "D j M, G:i"), end=formats.date_format(last, form)
    )


def month_words(at: dt.date | None) -> str:
    return _date(at, "M Y")


def made_words(car: Car) -> str:
    """The production month of a car, or its year where only that is known."""
    return str(car.made_on.year) if car.year_only else month_words(car.made_on)


def km_words(km: int) -> str:
    return _("{km} km").format(km=formats.number_format(km, use_l10n=True, force_grouping=True))


def work_words(minutes: float) -> str:
    """Minutes of work as people say them: from two hours on in hours, half ones counted."""
    if minutes < 120:
        return _("{minutes} min").format(minutes=round(minutes))
    hours = round(minutes / 30) / 2
    return _("{hours} h").format(hours=formats.number_format(hours, 0 if hours.is_integer() else 1))


def quick_notes() -> tuple[str, ...]:
    """Notes that people in such a shop write again and again, kept by one tap (common practice, no source)."""
    return (
        _("Customer called, is told how far it is."),
        _("Customer does not answer, message left."),
        _("Waiting for the part."),
        _("Roof is propped: do not move it."),
        _("Battery on the charger."),
        _("Interior covered and protected."),
        _("Car moved outside."),
        _("Found something beyond the job: ask before going on."),
    )


def _date(at: dt.date | dt.datetime | None, form: str) -> str:
    if at is None:
        return ""
    return formats.date_format(timezone.localtime(at) if isinstance(at, dt.datetime) else at, form)


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
        "A car for North America must agree, elsewhere the place is the maker’s own."
    ).format(found=vin[vins.CHECK_PLACE - 1], digit=expected)
