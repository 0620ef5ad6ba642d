"""What may fail next in a car, in words and rounded numbers."""

from dataclasses import dataclass

from django.utils import timezone

from diagnostics.charts.words import made_in_words, percent_words
from diagnostics.learning.records import Estimate
from diagnostics.models import Learning
from diagnostics.selectors.failure_model import outlook_of_car
from diagnostics.selectors.systems import system_for_car, system_of
from shop.models import Car

SHOWN = 6
MONTHS = (12, 24)


@dataclass(frozen=True, slots=True)
class Chance:
    """As it is said: '4 %', and its interval '2 % to 7 %'."""

    words: str
    interval: str


@dataclass(frozen=True, slots=True)
class OutlookRow:
    position: str
    name: str
    chances: tuple[Chance, ...]
    cars: int
    range_words: str


@dataclass(frozen=True, slots=True)
class OutlookPage:
    """`rows`: what weighs most, `others`: how many further positions there are; `top`: that anything fails."""

    months: tuple[int, ...]
    top: tuple[Chance, ...]
    rows: tuple[OutlookRow, ...]
    others: int
    cars: int
    learning: Learning
    system: str


def outlook_page(car: Car) -> OutlookPage | None:
    """None where the car's system is not declared or nothing was learned of it."""
    revision = system_for_car(car)
    if revision is None:
        return None
    system = system_of(revision)
    found = outlook_of_car(system, car, timezone.localdate(), MONTHS)
    if found is None:
        return None
    words = {position: made_in_words(one) for (position, _mode), one in found.ranges.items()}
    rows = tuple(
        OutlookRow(
            position=one.position,
            name=system.positions[one.position].name,
            chances=tuple(map(_said, one.chances)),
            cars=one.cars,
            range_words=words.get(one.position, ""),
        )
        for one in found.outlook.positions
    )
    # A position in a production range is told, however small its chance.
    shown = tuple(row for place, row in enumerate(rows) if place < SHOWN or row.range_words)
    return OutlookPage(
        months=found.outlook.months,
        top=tuple(map(_said, found.outlook.top)),
        rows=shown,
        others=len(rows) - len(shown),
        cars=found.cars,
        learning=found.learning,
        system=system.system,
    )


def _said(value: Estimate) -> Chance:
    low, high = percent_words(value.low), percent_words(value.high)
    return Chance(percent_words(value.estimate), f"{low} – {high}" if low != high else low)
