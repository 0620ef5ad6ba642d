"""Tables of parts fitted. A unit is known by its car, position, part and the day on which it was fitted."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import BenchSheet, Unit
from reports.bring.base import Books, Cells, Doubled, cars_by_vin, cleaned, no_car_words
from reports.bring.write import link_to, rows_written
from reports.records.fates import Fate
from shop.errors import ShopError
from shop.models import Car, TrailEntry
from shop.words import day_words


@dataclass(frozen=True, slots=True)
class UnitRow:
    """`fitted_on` None: the original part."""

    vin: str
    position: str
    part: str
    revision: str
    fitted_on: dt.date | None
    removed_on: dt.date | None
    why: str

    @property
    def key(self) -> tuple[str, str, str, dt.date | None]:
        return self.vin, self.position, self.part, self.fitted_on


class Fitted:
    def __init__(self, books: Books) -> None:
        self.by = books.by
        self.doubled: Doubled[tuple[str, str, str, dt.date | None]] = Doubled()
        self.there: dict[tuple[int, str], int] = {}  # (car, position): the row of this file whose unit stays fitted

    def parse(self, cells: Cells) -> UnitRow:
        row = UnitRow(
            vin=cells.vin(),
            position=cells.needed("position", _("position")).upper(),
            part=cells.needed("part", _("part number")),
            revision=cells.text("revision"),
            fitted_on=_day(cells.reader.day(cells.get("fitted_on"))),
            removed_on=_day(cells.reader.day(cells.get("removed_on"))),
            why=cells.text("why"),
        )
        if row.removed_on and row.fitted_on and row.removed_on < row.fitted_on:
            raise ShopError(_("The part is removed before it was fitted."))
        unit = Unit(position=row.position, part=row.part, revision=row.revision, removed_why=row.why)
        cleaned(unit, "position", "part", "revision", "removed_why")
        return row

    def judge(self, batch: Sequence[tuple[int, UnitRow]], *, write: bool) -> list[Fate]:
        cars = cars_by_vin([row.vin for _number, row in batch])
        units: dict[tuple[int, str, str, dt.date | None], Unit] = {}
        fitted: dict[tuple[int, str], Unit] = {}
        for unit in Unit.objects.filter(car__in=list(cars.values())).select_related("car"):
            units[unit.car_id, unit.position, unit.part, unit.fitted_on] = unit
            if unit.removed_on is None:
                fitted[unit.car_id, unit.position] = unit
        fates: list[Fate] = []
        new: list[tuple[Car, UnitRow]] = []
        for number, row in batch:
            key, twice = f"{row.vin} {row.position} {row.part}", self.doubled.words(row.key, number)
            car = cars.get(row.vin)
            if twice or car is None:
                fates.append(Fate(number, "refused", key, twice or no_car_words(row.vin)))
                continue
            known = units.get((car.pk, row.position, row.part, row.fitted_on))
            refused = self._no_place(number, row, car, known, fitted)
            if refused:
                fates.append(Fate(number, "refused", key, refused))
            elif known is not None:
                fates.append(self._known(number, key, row, known, fitted, write=write))
            else:
                new.append((car, row))
                fates.append(Fate(number, "new", key))
        if write:
            self._write(new)
        return fates

    def _no_place(
        self, number: int, row: UnitRow, car: Car, known: Unit | None, fitted: dict[tuple[int, str], Unit]
    ) -> str:
        """Why a unit that is said to be fitted still cannot be: another one is."""
        if row.removed_on is not None or (known is not None and known.removed_on is not None):
            return ""
        place = (car.pk, row.position)
        now, before = fitted.get(place), self.there.setdefault(place, number)
        if before != number:
            told = _("At {position} the unit of row {row} is still fitted; say when one of them was removed.")
            return told.format(position=row.position, row=before)
        if now is not None and now != known:
            told = _("At {position} the books have {part} fitted still; say when one of them was removed.")
            return told.format(position=row.position, part=now.part or "–")
        return ""

    def _known(
        self,
        number: int,
        key: str,
        row: UnitRow,
        unit: Unit,
        fitted: dict[tuple[int, str], Unit],
        *,
        write: bool,
    ) -> Fate:
        """A unit of the books: the file may say that it was removed since, of which revision it is, and why it went."""
        now = {
            "revision": row.revision or unit.revision,
            "removed_on": row.removed_on or unit.removed_on,
            "removed_why": row.why or unit.removed_why,
        }
        changed = [name for name, value in now.items() if getattr(unit, name) != value]
        if not changed:
            return Fate(number, "same", key)
        if now["removed_on"]:
            fitted.pop((unit.car_id, unit.position), None)
        if write:
            for name in changed:
                setattr(unit, name, now[name])
            unit.save()
            _say_again([unit.car])
        return Fate(number, "changed", key, ", ".join(changed))

    def _write(self, new: Sequence[tuple[Car, UnitRow]]) -> None:
        columns = ("position", "part", "revision", "fitted_on", "removed_on")
        rows = (
            {"car_id": car.pk, "removed_why": row.why, **{name: getattr(row, name) for name in columns}}
            for car, row in new
        )
        rows_written(Unit, rows)
        now, told = timezone.now(), _("Brought from the old records: {part} at {position}, fitted {day}.")
        rows_written(
            TrailEntry,
            (
                {
                    "at": now,
                    "by_id": self.by.pk,
                    "car_id": car.pk,
                    "kind": "unit.brought",
                    "words": told.format(
                        part=row.part, position=row.position, day=day_words(row.fitted_on) or _("with the car")
                    ),
                    "link": link_to(Car, car.pk),
                }
                for car, row in new
            ),
        )
        _say_again([car for car, _row in new])


def _say_again(cars: Sequence[Car]) -> None:
    """What the sheets of these cars say of units has changed."""
    BenchSheet.objects.filter(car__in=cars).update(sighted=False)


def _day(day: dt.date | None) -> dt.date | None:
    if day is not None and day > timezone.localdate():
        raise ShopError(_("{day} lies in the future.").format(day=day_words(day)))
    return day
