"""What hangs on a car that was written down twice. The apps above register what they know of: the base app imports none
of them."""

from collections.abc import Callable
from dataclasses import dataclass

from shop.models import Car


@dataclass(frozen=True, slots=True)
class Found:
    """What an app has of a double. `moving`: (what, how many) for people; `said`: contradictions that the merge settles
    and how; `refused`: sentences, why it cannot be."""

    moving: tuple[tuple[str, int], ...] = ()
    said: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Mover:
    """`look` tells beforehand; `move` does it, in the transaction of the merge.
    Both take the kept car and the double."""

    look: Callable[[Car, Car], Found]
    move: Callable[[Car, Car], None]


_movers: list[Mover] = []


def register(mover: Mover) -> None:
    if mover not in _movers:
        _movers.append(mover)


def movers() -> tuple[Mover, ...]:
    return tuple(_movers)
