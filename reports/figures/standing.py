"""How long jobs stood at each stage and behind each hold, from what the trail says."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from operator import attrgetter

import numpy as np

from diagnostics.learning.turnbull import Npmle, npmle
from reports.figures.records import Move

DAY = 24 * 3600
BOOKED, DONE, GONE = "booked", "done", "gone"
FREE = (BOOKED, DONE, GONE)
"""Stages in which nothing holds a job up: before the car is here, and once it is done."""
FIRST_HOLD = "bench"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A job stood somewhere (`what`: a stage, or a hold with `hold`) from `began` on for `days`; not `ended`: it still
    does."""

    job: int
    what: str
    hold: bool
    began: datetime
    days: float
    ended: bool


def stretches(moves: Iterable[Move], now: datetime) -> list[Stretch]:
    """All stretches of all jobs. The bench holds a job from the beginning on, as it does one that is taken back after
    it was done; where the same is said again the stretch goes on."""
    found: list[Stretch] = []
    ordered = sorted(moves, key=lambda one: (one.job, one.at))
    for _job, own in groupby(ordered, key=attrgetter("job")):
        found += _of_job(list(own), now)
    return found


def _of_job(moves: Sequence[Move], now: datetime) -> list[Stretch]:
    stages = _runs([(one.at, one.became) for one in moves if not one.hold])
    holding, hold, stage = [], FIRST_HOLD, BOOKED
    for one in moves:
        if one.hold:
            hold = one.became
        else:
            hold = FIRST_HOLD if stage == DONE and one.became not in FREE else hold
            stage = one.became
        holding.append((one.at, "" if stage in FREE else hold))
    job = moves[0].job
    return [
        Stretch(job, what, is_hold, began, max(((ended or now) - began).total_seconds(), 0.0) / DAY, ended is not None)
        for is_hold, runs in ((False, stages), (True, _runs(holding)))
        for began, what, ended in runs
        if what not in ("", GONE)
    ]


def _runs(states: Sequence[tuple[datetime, str]]) -> list[tuple[datetime, str, datetime | None]]:
    """(began, what, ended) of each stretch in which the same was so; the last one has not ended."""
    starts = [one for i, one in enumerate(states) if i == 0 or states[i - 1][1] != one[1]]
    ends = [at for at, _what in starts[1:]]
    return [(at, what, end) for (at, what), end in zip(starts, [*ends, None], strict=True)]


@dataclass(frozen=True, slots=True)
class Quartiles:
    """Days by which a quarter, a half and three quarters have ended; None where too many still stand there for the
    data to say. `standing`: how many do."""

    count: int
    standing: int
    lower: float | None
    median: float | None
    upper: float | None


def quartiles(known: Sequence[Stretch]) -> Quartiles:
    """By the estimate without a model (learning.turnbull, here that of Kaplan and Meier): what has not ended counts as
    standing at least so long, so that long stretches are not left out while they last."""
    days = np.array([round(one.days, 2) for one in known])
    ended = np.array([one.ended for one in known], dtype=bool)
    if not ended.any():
        return Quartiles(len(known), len(known), None, None, None)
    estimate = npmle(np.zeros(len(days)), days, np.where(ended, days, np.inf))
    lower, median, upper = (_quantile(estimate, share) for share in (0.25, 0.5, 0.75))
    return Quartiles(len(known), int((~ended).sum()), lower, median, upper)


def _quantile(estimate: Npmle, share: float) -> float | None:
    known = np.isfinite(estimate.right)
    reached = np.cumsum(estimate.mass[known]) >= share - 1e-9
    return float(estimate.right[known][reached.argmax()]) if reached.any() else None
