"""Step times of the shop's own cars: read from their motion trials, one time a car, at like fluid temperature.

Of the newest MOST_TRIALS trials of a system those count that ran whole, stand (neither struck out nor refused) and were
followed by no work in their job: where somebody had to work, what was timed before was no sound top. Trials after the
work of a job do count. They are read at most once in KEPT_S and kept, so a page does not pay for them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from django.db.models import Exists, OuterRef

from diagnostics.engine.case import MotionTrial, Observation
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.timing import References, StepTimes, alike, times_of
from diagnostics.models import Check, CheckKind, Work

MOST_TRIALS = 2000
KEPT_S = 300


@dataclass(frozen=True, slots=True)
class OwnTrial:
    """A whole motion of one of the shop's cars (its key): seconds by step, fluid temperature where it was noted."""

    car_pk: int
    motion: str
    seconds: Mapping[str, float]
    oil_c: float | None


def own_trials(system: TopSystem) -> tuple[OwnTrial, ...]:
    """Trials that count, the newest first; one query, or none."""
    key = f"own-trials:{system.system}"
    found: tuple[OwnTrial, ...] | None = cache.get(key)
    if found is None:
        found = tuple(_read(system))
        cache.set(key, found, KEPT_S)
    return found


def _read(system: TopSystem) -> Iterable[OwnTrial]:
    later_work = Work.objects.filter(job=OuterRef("sheet__job"), at__gt=OuterRef("at"))
    rows = (
        Check.objects.filter(kind=CheckKind.MOTION, struck_at__isnull=True, sheet__revision__slug=system.system)
        .exclude(verdict="refused")
        .filter(~Exists(later_work))
        .order_by("-at", "-pk")
        .values_list("sheet__car_id", "observation")
    )
    for car_pk, data in rows[:MOST_TRIALS]:
        seconds: dict[str, Any] = data.get("seconds") or {}
        if seconds and data.get("stops_at") is None:
            yield OwnTrial(car_pk, data["motion"], seconds, data.get("oil_c"))


def others(
    trials: Iterable[OwnTrial], *, car_pk: int | None, motion: str, step: str, oil_c: float | None
) -> tuple[float, ...]:
    """Seconds of a step in the newest trial at like temperature of every other car."""
    newest: dict[int, float] = {}
    for trial in trials:
        if trial.motion == motion and trial.car_pk != car_pk and step in trial.seconds and alike(trial.oil_c, oil_c):
            newest.setdefault(trial.car_pk, trial.seconds[step])
    return tuple(newest.values())


def step_times_of(system: TopSystem, observations: Sequence[Observation], car_pk: int) -> References:
    """What the shop's own cars take for the steps that were timed last in each motion; empty where none was timed."""
    found: dict[tuple[str, str], StepTimes] = {}
    last = _last_timed(observations)
    trials = own_trials(system) if last else ()  # thousands of rows out of the cache: once, and only where asked for
    for trial in last.values():
        for step in trial.seconds:
            seconds = others(trials, car_pk=car_pk, motion=trial.motion, step=step, oil_c=trial.oil_c)
            if seconds:
                found[trial.motion, step] = times_of(seconds, trial.oil_c)
    return found


def _last_timed(observations: Iterable[Observation]) -> dict[str, MotionTrial]:
    return {one.motion: one for one in observations if isinstance(one, MotionTrial) and one.seconds}
