"""Parts that supersede one another: demand for all of a chain is demand for its last, and old stock serves it where it
may still be fitted."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from parts.planning.part_plan import Stock


class RingError(ValueError):
    """Parts that supersede one another in a ring: `ring` names them in order, the first once more at the end."""

    def __init__(self, ring: tuple[str, ...]) -> None:
        super().__init__(" → ".join(ring))
        self.ring = ring


@dataclass(frozen=True, slots=True)
class Chain:
    """`part` is ordered now; `olds` it supersedes, directly or not; `usable`: those of them whose stock may be fitted
    in its place, which takes that every step from them to `part` allows it."""

    part: str
    olds: tuple[str, ...]
    usable: tuple[str, ...]


def chains(successors: Mapping[str, str | None], usable: Collection[str] = ()) -> dict[str, Chain]:
    """The part that is ordered now -> its chain, for all parts. `successors`: part -> the one that supersedes it, None
    where none does; `usable`: parts that may still be fitted where their successor is asked for.

    Raises RingError, or KeyError for a successor that is no key.
    """
    last: dict[str, str] = {}
    fits: dict[str, bool] = {}
    for first in successors:
        path: list[str] = []
        part = first
        while part not in last:
            if part in path:
                raise RingError((*path[path.index(part) :], part))
            path.append(part)
            after = successors[part]
            if after is None:
                last[part], fits[part] = part, True
                break
            part = after
        for old in reversed(path):
            after = successors[old]
            if after is not None:
                last[old], fits[old] = last[after], fits[after] and old in usable
    olds: dict[str, list[str]] = {part: [] for part, after in successors.items() if after is None}
    for old, part in last.items():
        if old != part:
            olds[part].append(old)
    return {part: Chain(part, tuple(mine), tuple(old for old in mine if fits[old])) for part, mine in olds.items()}


def pooled(chain: Chain, stock: Mapping[str, Stock]) -> Stock:
    """What a plan for the chain's last part counts on: the shelf and the orders of the usable ones, and all that is
    promised, under whichever number. Parts without an entry in `stock` have none."""
    counted = [stock.get(part, Stock()) for part in (chain.part, *chain.usable)]
    promised = [stock.get(part, Stock()) for part in (chain.part, *chain.olds)]
    return Stock(
        on_hand=sum(one.on_hand for one in counted),
        on_order=sum(one.on_order for one in counted),
        reserved=sum(one.reserved for one in promised),
    )
