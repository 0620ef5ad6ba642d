"""Tables of cars with their owners. A car is known by its VIN; what the file leaves empty the books keep."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from reports.bring.base import Books, Cells, Doubled, cleaned
from reports.bring.write import link_to, rows_written
from reports.records.fates import Fate
from shop.errors import ShopError
from shop.models import Car, Climate, Customer, TrailEntry
from shop.services import car_update, trail_record
from shop.services.cars import car_values

_CLIMATES = {
    "heiß": Climate.HOT, "heiss": Climate.HOT, "gemäßigt": Climate.TEMPERATE, "gemaessigt": Climate.TEMPERATE,
    "kalt": Climate.COLD,
}  # fmt: skip
_FACTS = ("plate", "maker", "model", "known_from", "climate", "system")


@dataclass(frozen=True, slots=True)
class CarRow:
    """`values`: a car's facts as they are kept; `given`: those of them that the row states."""

    values: dict[str, Any]
    given: frozenset[str]
    owner: tuple[str, str, str]  # name, e-mail, telephone


class Cars:
    def __init__(self, books: Books) -> None:
        self.by = books.by
        self.doubled: Doubled[str] = Doubled()
        self.owners: dict[tuple[str, str, str], int] = {}  # the keys of customers

    def parse(self, cells: Cells) -> CarRow:
        vin = cells.vin()
        month = cells.reader.month(cells.get("made_on"))
        if month is None:
            raise ShopError(_("The production month is missing; a year will do."))
        values = car_values(
            vin,
            cells.text("plate"),
            cells.text("maker"),
            cells.text("model"),
            month.first,
            _climate(cells.text("climate")),
            cells.text("system").lower(),
            month.year_only,
            cells.reader.day(cells.get("known_from")),
        )
        owner = (cells.text("owner_name"), cells.text("owner_email"), cells.text("owner_phone"))
        _check(values, owner)
        given = {name for name in _FACTS if cells.text(name)} | {"made_on", "year_only"}
        return CarRow(values, frozenset(given), owner)

    def judge(self, batch: Sequence[tuple[int, CarRow]], *, write: bool) -> list[Fate]:
        there = {
            car.vin: car
            for car in Car.objects.filter(vin__in=[row.values["vin"] for _row, row in batch]).select_related("owner")
        }
        self._know_owners([row.owner for _row, row in batch])
        fates, new = [], []
        for number, row in batch:
            vin = row.values["vin"]
            twice = self.doubled.words(vin, number)
            car = there.get(vin)
            if twice:
                fates.append(Fate(number, "refused", vin, twice))
            elif car is not None and car.merged_into_id is not None:
                fates.append(Fate(number, "same", vin, _("the books have put it together with another car")))
            elif car is None:
                new.append(row)
                fates.append(Fate(number, "new", vin))
            else:
                fates.append(self._known(number, row, car, write=write))
        if write:
            self._write(new)
        return fates

    def _known(self, number: int, row: CarRow, car: Car, *, write: bool) -> Fate:
        """A car of the books: facts that the file states otherwise are changed; the owner is not, whom the books may
        know better than old records."""
        facts = {name: getattr(car, name) for name in row.values}
        given = row.given
        if row.values["year_only"] and row.values["made_on"].year == car.made_on.year:
            given -= {"made_on", "year_only"}  # the books know the month
        now = facts | {name: row.values[name] for name in given}
        changed = [name for name in now if now[name] != facts[name]]
        if changed:
            try:
                car_values(**now)
            except ShopError as error:  # what the row says cannot be beside what the books know
                return Fate(number, "refused", car.vin, error.words)
        owner = car.owner
        words = []
        if row.owner[0] and owner is None:
            owner = self._owner(row.owner, write=write)
            words.append(_("gets its owner"))
        elif row.owner[0] and owner is not None and owner.name.casefold() != row.owner[0].casefold():
            words.append(_("the books name another owner, who stays"))
        words += [f"{name}: {facts[name] or '–'} → {now[name] or '–'}" for name in changed]
        if not changed and (owner is None) == (car.owner is None):
            return Fate(number, "same", car.vin, "; ".join(words))
        if write:
            car_update(car=car, by=self.by, **now, owner=owner)
        return Fate(number, "changed", car.vin, "; ".join(words))

    def _know_owners(self, asked: Sequence[tuple[str, str, str]]) -> None:
        """Customers of the books whom the rows name: of the same name, and the same e-mail and telephone where the row
        has them; by the name alone only where one customer has it."""
        wanted = {owner for owner in asked if owner[0] and owner not in self.owners}
        named: dict[str, list[Customer]] = {}
        for customer in Customer.objects.filter(name__in={owner[0] for owner in wanted}).order_by("pk"):
            named.setdefault(customer.name, []).append(customer)
        for name, email, phone in wanted:
            fits = [
                one
                for one in named.get(name, ())
                if (not email or one.email.casefold() == email.casefold()) and (not phone or one.phone == phone)
            ]
            if len(fits) == 1 or (fits and (email or phone)):
                self.owners[name, email, phone] = fits[0].pk

    def _owner(self, owner: tuple[str, str, str], *, write: bool) -> Customer:
        """The customer of a row, a new one where the books have none."""
        found = self.owners.get(owner)
        if found is not None:
            return Customer.objects.get(pk=found)
        customer = Customer(name=owner[0], email=owner[1], phone=owner[2])
        if write:
            customer.save()
            self.owners[owner] = customer.pk
        return customer

    def _write(self, rows: Sequence[CarRow]) -> None:
        fresh = sorted({row.owner for row in rows if row.owner[0] and row.owner not in self.owners})
        made = rows_written(Customer, ({"name": one[0], "email": one[1], "phone": one[2]} for one in fresh))
        self.owners |= dict(zip(fresh, made, strict=True))
        cars = rows_written(Car, ({**row.values, "owner_id": self.owners.get(row.owner)} for row in rows))
        now = timezone.now()
        told = _("Brought from the old records: {car}, VIN {vin}.")
        rows_written(
            TrailEntry,
            (
                {
                    "at": now,
                    "by_id": self.by.pk,
                    "car_id": pk,
                    "kind": "car.created",
                    "words": told.format(car=f"{row.values['maker']} {row.values['model']}", vin=row.values["vin"]),
                    "link": link_to(Car, pk),
                }
                for pk, row in zip(cars, rows, strict=True)
            ),
        )
        if made:  # one entry for all: the trail of a car does not name its owners
            words = _("{count} new customers with the old records.").format(count=len(made))
            trail_record(by=self.by, kind="customer.created", words=words)


def _climate(words: str) -> str:
    if not words:
        return Climate.TEMPERATE.value
    known = {one.value: one for one in Climate} | _CLIMATES
    if words.casefold() not in known:
        told = _("“{words}” is no climate; expected one of: {known}.")
        raise ShopError(told.format(words=words[:40], known=", ".join(Climate.values)))
    return known[words.casefold()].value


def _check(values: dict[str, Any], owner: tuple[str, str, str]) -> None:
    """ShopError for what the database does not take."""
    cleaned(Car(**values), "plate", "maker", "model", "system")
    if owner[0]:
        cleaned(Customer(name=owner[0], email=owner[1], phone=owner[2]), "name", "email", "phone")
    elif owner[1] or owner[2]:
        raise ShopError(_("An owner’s e-mail or telephone stands without a name."))
