"""What hangs on a car that was written down twice. The apps above register what they know of: the base app imports none
of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from shop.models import Car

Chosen = Mapping[str, str]
"""The answers of a person, by the names of the choices."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A contradiction that a person can settle. `options`: (value, what it is in words); `chosen`: a value, or '' as
    long as nobody has said: then a sentence in `Found.refused` says so too."""

    name: str
    words: str
    options: tuple[tuple[str, str], ...]
    chosen: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """What an app has of a double. `moving`: (what, how many) for people; `said`: contradictions that the merge settles
    and how; `refused`: sentences, why it cannot be; `choices`: those of them, and others, that a person may settle."""

    moving: tuple[tuple[str, int], ...] = ()
    said: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()

    @property
    def to_choose(self) -> bool:
        return any(not choice.chosen for choice in self.choices)


@dataclass(frozen=True, slots=True)
class Mover:
    """`look` tells beforehand; `move` does it, in the transaction of the merge.
    Both take the kept car, the double, and what was chosen."""

    look: Callable[[Car, Car, Chosen], Found]
    move: Callable[[Car, Car, Chosen], None]


_movers: list[Mover] = []


def register(mover: Mover) -> None:
    if mover not in _movers:
        _movers.append(mover)


def movers() -> tuple[Mover, ...]:
    return tuple(_movers)
