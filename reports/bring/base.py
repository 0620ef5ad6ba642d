"""What all kinds of tables share: the cells of a row by field, and how rows are judged and written in batches."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

from reports.records.fates import Fate
from reports.records.tables import Cell
from reports.records.values import Reader, text
from shop import vin as vins
from shop.errors import ShopError
from shop.models import Car, User
from shop.words import vin_problem_words

BATCH = 500
"""Rows that are looked up and written together; each may stand in a query as one value, of which SQLite takes 999 in
its older builds."""

P = TypeVar("P")


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells of one row by field; a field without a column is empty."""

    cells: tuple[Cell, ...]
    places: dict[str, int]
    reader: Reader

    def get(self, name: str) -> Cell:
        place = self.places.get(name)
        return None if place is None else self.cells[place]

    def text(self, name: str) -> str:
        return text(self.get(name))

    def needed(self, name: str, words: str) -> str:
        """ShopError where the cell is empty."""
        found = self.text(name)
        if not found:
            raise ShopError(_("The {name} is missing.").format(name=words))
        return found

    def vin(self) -> str:
        vin = vins.tidy(self.needed("vin", _("VIN")))
        problem = vins.problem_of(vin)
        if problem is not None:
            raise ShopError(vin_problem_words(problem))
        return vin


class Kind(Protocol[P]):
    """One kind of table: `parse` needs no database; `judge` says what becomes of a batch of parsed rows and, asked to
    `write`, does it. One object sees all batches of a file, in order."""

    def parse(self, cells: Cells) -> P: ...

    def judge(self, batch: Sequence[tuple[int, P]], *, write: bool) -> list[Fate]: ...


class Doubled(Generic[P]):
    """Keys that stood in the file already, and in which row."""

    def __init__(self) -> None:
        self.rows: dict[Any, int] = {}

    def words(self, key: Any, row: int) -> str:
        """Why the row is refused as a double of an earlier one, else ''."""
        first = self.rows.setdefault(key, row)
        return "" if first == row else _("The same stands in row {row} already.").format(row=first)


def cleaned(row: models.Model, *names: str) -> None:
    """ShopError where a value of these fields is longer than the books take, or is no such value."""
    others = {field.name for field in row._meta.fields} - set(names)
    try:
        row.clean_fields(exclude=others)
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        label = row._meta.get_field(name).verbose_name  # type: ignore[union-attr]
        raise ShopError(": ".join((str(label), messages[0]))) from error


def cars_by_vin(vins_asked: Sequence[str]) -> dict[str, Car]:
    """The cars with these VINs; of one that was written down twice, the row that stands for both."""
    found = Car.objects.filter(vin__in=set(vins_asked)).select_related("merged_into")
    return {car.vin: car.merged_into or car for car in found}


def no_car_words(vin: str) -> str:
    return _("No car with the VIN {vin} is in the books; bring the table of cars first.").format(vin=vin)


@dataclass(frozen=True, slots=True)
class Books:
    """Whose hand the rows are written by."""

    by: User
