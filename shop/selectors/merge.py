"""What putting a car together with its double would do, before anybody does it."""

from itertools import pairwise

from django.utils.translation import gettext as _

from shop import merging
from shop.merging import Chosen, Found
from shop.models import Car, Job, OdometerReading, OwnerChange, Picture
from shop.words import day_words, km_words, made_words

TAKEN_OVER = ("plate", "system", "owner")
"""Facts that the kept car takes over from its double where it has none."""


def merge_preview(kept: Car, double: Car, chosen: Chosen | None = None) -> Found:
    """What would move, what contradicts itself, what stands against it, and what of that a person can settle by
    `chosen`; of the base app and all above."""
    refused = _never(kept, double)
    if refused:
        return Found(refused=refused)
    found = [_own(kept, double), *(mover.look(kept, double, chosen or {}) for mover in merging.movers())]
    return Found(
        moving=tuple((what, count) for one in found for what, count in one.moving if count),
        said=tuple(words for one in found for words in one.said),
        refused=tuple(words for one in found for words in one.refused),
        choices=tuple(choice for one in found for choice in one.choices),
    )


def odometer_moving(kept: Car, double: Car) -> tuple[list[OdometerReading], list[tuple[OdometerReading, int]]]:
    """Readings of the double that move, and those of a day of which the kept car has one (with its kilometres): a car
    has one reading a day, so these stay where they are."""
    there = dict(kept.odometer.values_list("read_on", "km"))
    rows = list(double.odometer.order_by("read_on"))
    return [row for row in rows if row.read_on not in there], [
        (row, there[row.read_on]) for row in rows if row.read_on in there
    ]


def _never(kept: Car, double: Car) -> tuple[str, ...]:
    if kept.pk == double.pk:
        return (_("A car cannot be put together with itself."),)
    return tuple(
        _("The car with the VIN {vin} is a double already; everything of it hangs on another one.").format(vin=one.vin)
        for one in (kept, double)
        if one.merged_into_id is not None
    )


def _own(kept: Car, double: Car) -> Found:
    readings, same_day = odometer_moving(kept, double)
    moving = (
        (_("Jobs with their notes, plans, estimates and outlays"), double.jobs.count()),
        (_("Pictures"), Picture.objects.filter(job__car=double).count()),
        (_("Odometer readings"), len(readings)),
        (_("Changes of owner"), OwnerChange.objects.filter(car=double).count()),
        (_("Doubles put together earlier"), double.doubles.count()),
    )
    said = (*_facts(kept, double), *_odometer(kept, readings, same_day))
    return Found(moving, said, _references(kept, double))


def _facts(kept: Car, double: Car) -> tuple[str, ...]:
    """Facts of which both cars say something, and not the same."""
    rows = [
        (_("Plate"), kept.plate, double.plate),
        (_("Maker and model"), str(kept), str(double)),
        (_("Made in"), made_words(kept), made_words(double)),
        (_("Climate"), kept.get_climate_display(), double.get_climate_display()),
        (_("Top system"), kept.system, double.system),
        (_("History known from"), day_words(kept.known_from), day_words(double.known_from)),
    ]
    words = _("{fact}: “{kept}” stays; the double says “{double}”.")
    said = [words.format(fact=fact, kept=a, double=b) for fact, a, b in rows if a and b and a != b]
    if kept.owner_id and double.owner_id and kept.owner_id != double.owner_id:  # without names: the trail keeps this
        said.append(_("Owner: the kept car’s stays; the double has another one."))
    return tuple(said)


def _odometer(
    kept: Car, readings: list[OdometerReading], same_day: list[tuple[OdometerReading, int]]
) -> tuple[str, ...]:
    same = _("Odometer on {day}: {kept} stays; the double’s {double} stay with the double.")
    words = [
        same.format(day=day_words(row.read_on), kept=km_words(km), double=km_words(row.km)) for row, km in same_day
    ]
    less = _("Odometer: {later} on {later_day} is less than {earlier} on {earlier_day}.")
    all_of_them = sorted([*kept.odometer.all(), *readings], key=lambda row: row.read_on)
    for a, b in pairwise(all_of_them):
        if b.km < a.km and a.car_id != b.car_id:
            words.append(
                less.format(
                    later=km_words(b.km), later_day=day_words(b.read_on),
                    earlier=km_words(a.km), earlier_day=day_words(a.read_on),
                )
            )  # fmt: skip
    return tuple(words)


def _references(kept: Car, double: Car) -> tuple[str, ...]:
    here = Job.objects.filter(car=kept).exclude(reference="").values("reference")
    words = _("Both cars have a job with the number {reference} in the earlier records: put one of them right first.")
    twice = double.jobs.filter(reference__in=here).values_list("reference", flat=True)
    return tuple(words.format(reference=reference) for reference in twice)
