"""Customers, cars and what their odometers read."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import vin as vins
from shop.errors import Conflict, ShopError
from shop.facts import facts_changed
from shop.models import Car, Climate, Customer, OdometerReading, OwnerChange, User
from shop.permissions import require
from shop.services.trail import trail_record
from shop.words import day_words, km_words, month_words, vin_problem_words


@transaction.atomic
def customer_create(*, by: User, name: str, email: str = "", phone: str = "", note: str = "") -> Customer:
    require(by, "customer.write")
    customer = Customer.objects.create(name=_needed(name, _("name")), email=email, phone=phone, note=note)
    trail_record(by=by, kind="customer.created", words=_("New customer: {name}.").format(name=customer.name))
    return customer


@transaction.atomic
def customer_update(*, customer: Customer, by: User, name: str, email: str, phone: str, note: str) -> Customer:
    """Who changed which field stands in the trail; what stood there does not: it is the customer's."""
    require(by, "customer.write")
    changed = _apply(customer, {"name": _needed(name, _("name")), "email": email, "phone": phone, "note": note})
    if changed:
        customer.save()
        words = _("Customer {name} changed: {fields}.").format(name=customer.name, fields=", ".join(changed))
        trail_record(by=by, kind="customer.changed", words=words)
    return customer


@transaction.atomic
def car_create(
    *,
    by: User,
    vin: str,
    maker: str,
    model: str,
    made_on: dt.date,
    plate: str = "",
    climate: str = Climate.TEMPERATE,
    system: str = "",
    owner: Customer | None = None,
    year_only: bool = False,
    known_from: dt.date | None = None,
) -> Car:
    """Take a car into the books. `made_on`: any day of its production month, of its year where `year_only`.
    `known_from`: the day from which its history is known. ShopError for a VIN against ISO 3779."""
    require(by, "car.write")
    car = Car(owner=owner)
    _apply(car, car_values(vin, plate, maker, model, made_on, climate, system, year_only, known_from))
    _save_car(car)
    words = _("Taken into the books: {car}, VIN {vin}.").format(car=car, vin=car.vin)
    trail_record(by=by, kind="car.created", words=words, car=car, link=car.get_absolute_url())
    return car


@transaction.atomic
def car_update(
    *,
    car: Car,
    by: User,
    vin: str,
    maker: str,
    model: str,
    made_on: dt.date,
    plate: str,
    climate: str,
    system: str,
    owner: Customer | None,
    year_only: bool = False,
    known_from: dt.date | None = None,
) -> Car:
    """Change a car's facts; the trail keeps each old and new value, a change of owner without the names."""
    require(by, "car.write")
    refuse_double(car)
    values = car_values(vin, plate, maker, model, made_on, climate, system, year_only, known_from)
    old = {name: getattr(car, name) for name in values}
    changed = _apply(car, values)
    told = [
        f"{_fact_words(name)} {_value_words(name, old[name])} → {_value_words(name, getattr(car, name))}"
        for name in changed
    ]
    if car.owner != owner:
        if car.owner is None:
            car.owner = owner
        else:  # what came before today is the earlier owner's
            next_owner(car, owner, timezone.localdate(), by)
        told.append(_("another owner"))
    if told:
        _save_car(car)
        if changed:
            facts_changed(car, changed)
        words = _("Changed: {changes}.").format(changes="; ".join(told))
        trail_record(by=by, kind="car.changed", words=words, car=car, link=car.get_absolute_url())
    return car


def _fact_words(name: str) -> str:
    words = {
        "vin": _("VIN"),
        "plate": _("plate"),
        "maker": _("maker"),
        "model": _("model"),
        "made_on": _("production month"),
        "year_only": _("only the year known"),
        "known_from": _("history known from"),
        "climate": _("climate"),
        "system": _("top system"),
    }
    return words[name]


def _value_words(name: str, value: str | dt.date | bool | None) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, dt.date):
        return day_words(value) if name == "known_from" else month_words(value)
    return str(Climate(value).label) if name == "climate" and value else value or "–"


@transaction.atomic
def odometer_add(*, car: Car, by: User, km: int, read_on: dt.date) -> OdometerReading:
    """Book a reading. One out of order with its neighbours is kept and flagged in the trail (`odometer.flagged`)."""
    require(by, "car.write")
    refuse_double(car)
    if read_on > timezone.localdate():
        raise ShopError(_("The odometer cannot have been read in the future."))
    there = car.odometer.filter(read_on=read_on).first()
    if there is not None:
        raise Conflict(_("On that day {km} are booked already.").format(km=km_words(there.km)))
    earlier = car.odometer.filter(read_on__lt=read_on).order_by("-km").first()
    later = car.odometer.filter(read_on__gt=read_on).order_by("km").first()
    try:
        with transaction.atomic():
            reading = OdometerReading.objects.create(car=car, km=km, read_on=read_on, entered_by=by)
    except IntegrityError as error:
        raise Conflict(_("Somebody else has just booked a reading of that day.")) from error
    words, kind = _("Odometer: {km} on {day}.").format(km=km_words(km), day=day_words(read_on)), "odometer.added"
    if earlier is not None and earlier.km > km:
        kind = "odometer.flagged"
        words += " " + _("That is less than the {km} of {day}.").format(
            km=km_words(earlier.km), day=day_words(earlier.read_on)
        )
    if later is not None and later.km < km:
        kind = "odometer.flagged"
        words += " " + _("That is more than the {km} of {day}.").format(
            km=km_words(later.km), day=day_words(later.read_on)
        )
    trail_record(by=by, kind=kind, words=words, car=car, link=car.get_absolute_url())
    return reading


def next_owner(car: Car, to: Customer | None, on: dt.date, by: User) -> OwnerChange:
    """The row of a change, and the owner set on the car, which the caller saves."""
    change = OwnerChange.objects.create(car=car, earlier=car.owner, later=to, on=on, at=timezone.now(), by=by)
    car.owner = to
    return change


def refuse_double(car: Car) -> None:
    """Nothing is booked on a car that was put together with another one. Read anew and held until the transaction ends:
    somebody may put it together right now. Not joined in one query: to a row that it waited for PostgreSQL joins what
    stood there before the wait."""
    merged = Car.objects.select_for_update().get(pk=car.pk).merged_into
    if merged is not None:
        raise Conflict(_("This car was written down twice: go on with the VIN {vin}.").format(vin=merged.vin))


def car_values(
    vin: str,
    plate: str,
    maker: str,
    model: str,
    made_on: dt.date,
    climate: str,
    system: str,
    year_only: bool,
    known_from: dt.date | None,
) -> dict[str, Any]:
    """A car's facts as they are kept. ShopError for what cannot be: a VIN against ISO 3779, a month to come."""
    vin = vins.tidy(vin)
    problem = vins.problem_of(vin)
    if problem is not None:
        raise ShopError(vin_problem_words(problem))
    month = made_on.replace(day=1, month=1) if year_only else made_on.replace(day=1)
    if month > timezone.localdate():
        raise ShopError(
            _("The production month {month} lies in the future; expected this month or earlier.").format(
                month=month_words(month)
            )
        )
    _refuse_history(month, known_from)
    return {
        "vin": vin,
        "plate": " ".join(plate.upper().split()),
        "maker": _needed(maker, _("maker")),
        "model": _needed(model, _("model")),
        "made_on": month,
        "year_only": year_only,
        "known_from": known_from,
        "climate": Climate(climate).value,
        "system": system,
    }


def _refuse_history(month: dt.date, known_from: dt.date | None) -> None:
    if known_from is None:
        return
    if known_from > timezone.localdate():
        raise ShopError(
            _("The history cannot be known only from {day}, which lies in the future.").format(
                day=day_words(known_from)
            )
        )
    if known_from < month:
        raise ShopError(
            _("The history is said to be known from {day}, before the car was made ({month}): leave it empty.").format(
                day=day_words(known_from), month=month_words(month)
            )
        )


def _save_car(car: Car) -> None:
    try:
        with transaction.atomic():
            car.save()
    except IntegrityError as error:
        raise Conflict(_("A car with the VIN {vin} is in the books already.").format(vin=car.vin)) from error


def _needed(value: str, name: str) -> str:
    value = value.strip()
    if not value:
        raise ShopError(_("The {name} is missing.").format(name=name))
    return value


def _apply(row: Any, values: Mapping[str, Any]) -> list[str]:
    """Set the fields that differ; their names."""
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    return changed
