"""What of the bench hangs on a car that was written down twice, and what contradicts itself."""

from datetime import date

from django.utils.translation import gettext as _

from diagnostics.models import BenchSheet, Sighting, Unit
from shop.merging import Found
from shop.models import Car
from shop.words import day_words


def bench_found(kept: Car, double: Car) -> Found:
    """Two units cannot have stood at one position at the same time, and a car has one open bench sheet."""
    moving = (
        (_("Bench sheets with their checks"), BenchSheet.objects.filter(car=double).count()),
        (_("Units"), Unit.objects.filter(car=double).count()),
        (_("What sheets say of units"), Sighting.objects.filter(car=double).count()),
    )
    refused = list(_both_at_once(kept, double))
    if BenchSheet.objects.filter(car__in=[kept, double], closed_at__isnull=True).count() > 1:
        refused.append(_("A bench sheet is open on both: close one of them first."))
    return Found(moving=moving, refused=tuple(refused))


def _both_at_once(kept: Car, double: Car) -> list[str]:
    units = list(Unit.objects.filter(car__in=[kept, double]).order_by("position", "pk"))
    words = _("At {position} both cars had a unit at the same time: {kept} and {double}.")
    return [
        words.format(position=one.position, kept=_unit_words(one), double=_unit_words(other))
        for one in units
        for other in units
        if one.car_id == kept.pk and other.car_id == double.pk
        if one.position == other.position and _overlap(one, other)
    ]


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
