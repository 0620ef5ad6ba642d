"""Where a unit that is fitted comes from. The app above that keeps the shelf registers how it takes a piece off it:
this app imports none."""

from collections.abc import Callable
from dataclasses import dataclass

from diagnostics.models import Unit
from shop.models import Job, User


@dataclass(frozen=True, slots=True)
class Fitted:
    """A unit that was just booked on, and the one that came off. `elsewhere`: where it came from when it is not off the
    shelf, such as the customer's own; `lot`: its batch, '' for the one that is next; `core_kept`: the old one is kept
    to be rebuilt."""

    job: Job
    by: User
    unit: Unit
    old: Unit | None
    elsewhere: str = ""
    lot: str = ""
    core_kept: bool = False


Take = Callable[[Fitted], None]
_takers: list[Take] = []


def register(take: Take) -> None:
    """`take` runs in the transaction in which the unit is booked; what it raises undoes the booking."""
    if take not in _takers:
        _takers.append(take)


def taken(fitted: Fitted) -> None:
    for take in _takers:
        take(fitted)
