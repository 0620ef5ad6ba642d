"""A car goes from one owner to the next."""

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Car, Customer, OwnerChange, User
from shop.permissions import require
from shop.services.cars import next_owner, refuse_double
from shop.services.trail import trail_record
from shop.words import day_words, month_words


@transaction.atomic
def owner_change(*, car: Car, to: Customer | None, on: dt.date, by: User) -> OwnerChange:
    """Hand the car over to its next owner (None: nobody that the shop knows) on a day, today at the latest.

    The technical history stays with the car. The trail says that it went over and when, without names: later owners'
    people read it. ShopError for a day before the car was made or in the future, Conflict for one before the last
    change or for the owner that it has.
    """
    require(by, "car.write")
    refuse_double(car)
    car.refresh_from_db(fields=["owner"])
    if to == car.owner:
        raise Conflict(_("The car has this owner already."))
    _refuse_day(car, on)
    change = next_owner(car, to, on, by)
    car.save(update_fields=["owner"])
    words = _("Went over to the next owner on {day}.").format(day=day_words(on))
    trail_record(by=by, kind="owner.changed", words=words, car=car, link=car.get_absolute_url())
    return change


def _refuse_day(car: Car, on: dt.date) -> None:
    if on > timezone.localdate():
        raise ShopError(_("The day of the hand-over lies in the future; expected today or earlier."))
    if on < car.made_on:
        raise ShopError(
            _("The car was made in {month}; it cannot have gone over before that.").format(
                month=month_words(car.made_on)
            )
        )
    last = car.owner_changes.order_by("-on").first()
    if last is not None and on < last.on:
        raise Conflict(
            _("The car went over on {day} already; expected a day from then on.").format(day=day_words(last.on))
        )
