"""A car that was written down twice is put together. Nothing is deleted: the double stays, and leads to the kept
one."""

from django.db import transaction
from django.utils.translation import gettext as _

from shop import merging
from shop.errors import Conflict, ShopError
from shop.facts import facts_changed
from shop.models import Car, OdometerReading, OwnerChange, User
from shop.permissions import require
from shop.selectors.merge import TAKEN_OVER, merge_preview, odometer_moving
from shop.services.trail import trail_record


@transaction.atomic
def car_merge(*, kept: Car, double: Car, by: User, why: str, chosen: merging.Chosen | None = None) -> Car:
    """Hang everything of `double` on `kept`; its trail entries keep their car and are read with those of the kept one.

    `why`: how it is known that both are one car; `chosen` settles contradictions (Found.choices). Conflict, with every
    reason, where the two contradict each other in what cannot be one car (shop/selectors/merge.py and the movers of
    the apps above); then nothing has changed.
    """
    require(by, "car.merge")
    why = why.strip()
    if not why:
        raise ShopError(_("Say how you know that both are one and the same car."))
    list(Car.objects.select_for_update().filter(pk__in=[kept.pk, double.pk]).order_by("pk"))
    for car in (kept, double):
        car.refresh_from_db()
    found = merge_preview(kept, double, chosen)
    if found.refused:
        raise Conflict(" ".join(found.refused))
    _move_own(kept, double)
    for mover in merging.movers():
        mover.move(kept, double, chosen or {})
    double.merged_into = kept
    double.save(update_fields=["merged_into"])
    _take_over(kept, double)
    moved = ", ".join(f"{what} {count}" for what, count in found.moving)
    words = _("Written down twice, as {vin} too, and put together here. Why: {why}").format(
        vin=double.vin, why=why if why[-1] in ".!?" else f"{why}."
    )
    if moved:
        words += " " + _("Moved: {moved}.").format(moved=moved)
    told = " ".join([words, *found.said])
    trail_record(by=by, kind="car.merged", words=told, car=kept, link=kept.get_absolute_url())
    return kept


def _move_own(kept: Car, double: Car) -> None:
    readings, _same_day = odometer_moving(kept, double)
    OdometerReading.objects.filter(pk__in=[row.pk for row in readings]).update(car=kept)
    OwnerChange.objects.filter(car=double).update(car=kept)
    double.jobs.update(car=kept)
    double.doubles.update(merged_into=kept)


def _take_over(kept: Car, double: Car) -> None:
    empty = [name for name in TAKEN_OVER if not getattr(kept, name) and getattr(double, name)]
    for name in empty:
        setattr(kept, name, getattr(double, name))
    if empty:
        kept.save(update_fields=empty)
        facts_changed(kept, empty)
