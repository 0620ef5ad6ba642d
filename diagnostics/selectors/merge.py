"""What of the bench hangs on a car that was written down twice, and what contradicts itself."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from diagnostics.models import BenchSheet, Sighting, Unit
from shop.merging import Choice, Chosen, Found
from shop.models import Car
from shop.words import day_words


def bench_found(kept: Car, double: Car, chosen: Chosen) -> Found:
    """Two units cannot have stood at one position at the same time, of which a person says which one counts; and a car
    has one open bench sheet."""
    pairs = both_at_once(kept, double)
    left = units_left(pairs, chosen)
    moving = (
        (_("Bench sheets with their checks"), BenchSheet.objects.filter(car=double).count()),
        (_("Units"), Unit.objects.filter(car=double).count() - sum(unit.car_id == double.pk for unit in left)),
        (_("What sheets say of units"), Sighting.objects.filter(car=double).count()),
    )
    unsettled = [pair for pair in pairs if not any(unit in left for unit in pair)]
    refused = [_clash_words(*pair) for pair in unsettled]
    if BenchSheet.objects.filter(car__in=[kept, double], closed_at__isnull=True).count() > 1:
        refused.append(_("A bench sheet is open on both: close one of them first."))
    told = _("At {position} the unit {unit} does not count and stays with the double.")
    said = tuple(told.format(position=unit.position, unit=_unit_words(unit)) for unit in left)
    asked = [pair for pair in pairs if pair in unsettled or _name(*pair) in chosen]
    choices = tuple(_choice(one, other, chosen) for one, other in asked)
    return Found(moving=moving, said=said, refused=tuple(refused), choices=choices)


def both_at_once(kept: Car, double: Car) -> list[tuple[Unit, Unit]]:
    """(unit of the kept car, unit of the double) for all that stood at one position at the same time."""
    units = list(Unit.objects.filter(car__in=[kept, double]).select_related("car").order_by("position", "pk"))
    return [
        (one, other)
        for one in units
        for other in units
        if one.car_id == kept.pk and other.car_id == double.pk
        if one.position == other.position and _overlap(one, other)
    ]


def units_left(pairs: Sequence[tuple[Unit, Unit]], chosen: Chosen) -> list[Unit]:
    """The units that do not count, by what was chosen of each pair; a pair one of which is left already is settled."""
    left: list[Unit] = []
    for one, other in pairs:
        stays = chosen.get(_name(one, other))
        if stays in (str(one.pk), str(other.pk)) and one not in left and other not in left:
            left.append(other if stays == str(one.pk) else one)
    return left


def _choice(one: Unit, other: Unit, chosen: Chosen) -> Choice:
    options = (
        (str(one.pk), _("It is the one of the car that stays: {unit}").format(unit=_unit_words(one))),
        (str(other.pk), _("It is the one of the double: {unit}").format(unit=_unit_words(other))),
    )
    answer = chosen.get(_name(one, other), "")
    known = answer if answer in dict(options) else ""
    return Choice(_name(one, other), _("Position {position}").format(position=one.position), options, known)


def _name(one: Unit, other: Unit) -> str:
    return f"unit-{one.pk}-{other.pk}"


def _clash_words(one: Unit, other: Unit) -> str:
    words = _("At {position} both cars had a unit at the same time: {kept} and {double}.")
    return words.format(position=one.position, kept=_unit_words(one), double=_unit_words(other))


def _overlap(one: Unit, other: Unit) -> bool:
    """The day of an exchange belongs to both."""
    return _first(one) < _end(other) and _first(other) < _end(one)


def _first(unit: Unit) -> date:
    return unit.fitted_on or date.min


def _end(unit: Unit) -> date:
    return unit.removed_on or date.max


def _unit_words(unit: Unit) -> str:
    since = day_words(unit.fitted_on) if unit.fitted_on else _("original")
    until = day_words(unit.removed_on) if unit.removed_on else _("now")
    return _("{part} ({since} to {until})").format(part=unit.part, since=since, until=until)
