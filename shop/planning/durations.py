"""How long work takes: three points, and what a shop's own record says of its planned minutes."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

# Worked over planned minutes, as a log-normal factor, before a shop has a record of its own. Common practice, no
# source: work takes a little longer than planned, one task in six takes 1.5 times as long or more.
TRADE_MEDIAN = 1.1
TRADE_SPREAD = 0.35
WEIGHT_OF_TRADE = 8
"""How many of the shop's own tasks weigh as much as the trade's figure; common practice, no source."""
ENOUGH_OF_A_KIND = 4


@dataclass(frozen=True, slots=True)
class Record:
    """A task that ended: minutes planned (of three points their middle) and worked, both above 0; `kind` what sort of
    work it was."""

    kind: str
    planned: float
    worked: float


@dataclass(frozen=True, slots=True)
class Factor:
    """Log-normal factor on planned minutes: `median`, and `spread`, the standard deviation of its logarithm."""

    median: float
    spread: float
    tasks: int


TRADE = Factor(TRADE_MEDIAN, TRADE_SPREAD, 0)
AS_SAID = Factor(1.0, TRADE_SPREAD, 0)
"""Before a shop has a record of tasks with three points: whoever gave them has said how long it may take, so nothing is
put on top."""


def expectation(least: float, likely: float, most: float) -> float:
    """(a + 4m + b) / 6, in the unit given."""
    return (least + 4 * likely + most) / 6


def variance(least: float, most: float) -> float:
    """((b - a) / 6)², in the square of the unit given."""
    return ((most - least) / 6) ** 2


def three_points(least: float, likely: float, most: float) -> tuple[float, float]:
    """Median, and standard deviation of the logarithm, of the log-normal time with their expectation and variance."""
    mean = max(expectation(least, likely, most), 0.5)
    spread = math.sqrt(math.log1p(variance(least, most) / mean**2))
    return mean / math.exp(spread**2 / 2), spread


def shrunk(records: Sequence[Record], to: Factor) -> Factor:
    """The factor of these records, drawn towards `to` with the weight of WEIGHT_OF_TRADE tasks."""
    logs = [math.log(record.worked / record.planned) for record in records]
    weight, count, centre = WEIGHT_OF_TRADE, len(logs), math.log(to.median)
    mean = (weight * centre + sum(logs)) / (weight + count)
    squares = sum((value - mean) ** 2 for value in logs) + weight * (to.spread**2 + (centre - mean) ** 2)
    return Factor(math.exp(mean), math.sqrt(squares / (weight + count)), count)


def factors(records: Iterable[Record], to: Factor = TRADE) -> dict[str, Factor]:
    """By kind of work where there are ENOUGH_OF_A_KIND, drawn to the shop's own factor, which stands under '' and is
    itself drawn `to` what is thought before there is any record."""
    known = [record for record in records if record.planned > 0 and record.worked > 0]
    kinds: dict[str, list[Record]] = {}
    for record in known:
        kinds.setdefault(record.kind, []).append(record)
    shop = shrunk(known, to)
    own = {kind: shrunk(rows, shop) for kind, rows in kinds.items() if len(rows) >= ENOUGH_OF_A_KIND}
    return own | {"": shop}
