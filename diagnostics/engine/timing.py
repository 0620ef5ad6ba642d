"""Step times against the shop's own cars of the same system at like fluid temperature: robust, with the number of cars.

The median and the median absolute deviation of one time a car. The MAD times 1.4826 estimates the standard deviation
of a normal distribution (Rousseeuw and Croux, J. Amer. Stat. Assoc. 88 (1993) 1273-1283); a robust z beyond 3.5 stands
out (Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993). One strange car in ten moves neither by much.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import erf, sqrt
from statistics import median

from diagnostics.engine.case import MotionTrial, Observation
from diagnostics.engine.hydraulics import usual_up_to_s
from diagnostics.engine.results import Judgement
from diagnostics.engine.system.model import Step, TopSystem
from diagnostics.engine.words import _

LIKE_C = 8.0
"""Kelvin within which two fluid temperatures are alike: common practice, no source."""
ENOUGH = 10
"""Cars from which on their times stand for what is usual: common practice, no source."""
MAD_TO_SIGMA = 1.4826
STANDS_OUT = 3.5
STOPWATCH_SD_S = 0.25
"""Standard uncertainty of step seconds taken by hand, reaction at both ends: common practice, no source."""
LEAST_SIGMA_S = 0.1
"""Times are written to a tenth: cars that all agree are no reason to call the next tenth strange."""
SLOW_Z = 1.88
"""Robust z beyond which a step counts as slow: sound steps are beyond it in 3 of 100, as `observe.SLOW_SOUND` says
(the 97 % point of the normal distribution)."""


@dataclass(frozen=True, slots=True)
class StepTimes:
    """What one step takes in the shop's own cars: median and sigma in seconds, n cars. `oil_c`: the fluid temperature
    for which it holds (± LIKE_C); None: of trials without a temperature, whatever it was."""

    median: float
    sigma: float
    n: int
    oil_c: float | None = None


References = Mapping[tuple[str, str], StepTimes]
"""(motion, step) -> what the shop's own cars take."""
NO_TIMES: References = {}


def alike(one: float | None, other: float | None) -> bool:
    """Whether times at these fluid temperatures may be compared; an unknown one is like unknown ones only."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= LIKE_C


def times_of(seconds: Sequence[float], oil_c: float | None) -> StepTimes:
    """One time a car, in any order; at least one."""
    middle = median(seconds)
    spread = MAD_TO_SIGMA * median(abs(one - middle) for one in seconds)
    return StepTimes(middle, max(spread, LEAST_SIGMA_S), len(seconds), oil_c)


def robust_z(seconds: float, times: StepTimes) -> float:
    return (seconds - times.median) / times.sigma


@dataclass(frozen=True, slots=True)
class Comparison:
    """One step of a trial beside the shop's own cars. `times` None: no car to compare with; `slower_than` of its n."""

    step: str
    title: str
    seconds: float
    times: StepTimes | None
    slower_than: int
    words: str

    @property
    def is_enough(self) -> bool:
        return self.times is not None and self.times.n >= ENOUGH

    @property
    def is_slow(self) -> bool:
        return self._beyond(SLOW_Z)

    @property
    def stands_out(self) -> bool:
        return self._beyond(STANDS_OUT)

    def _beyond(self, z: float) -> bool:
        return self.times is not None and self.is_enough and robust_z(self.seconds, self.times) > z


def compare(step: Step, seconds: float, others: Sequence[float], oil_c: float | None) -> Comparison:
    """`others`: one time a car at like temperature, in any order."""
    times = times_of(others, oil_c) if others else None
    slower_than = sum(seconds > other for other in others)
    words = _comparison_words(seconds, times, slower_than)
    return Comparison(step.name, step.title, seconds, times, slower_than, words)


def _comparison_words(seconds: float, times: StepTimes | None, slower_than: int) -> str:
    if times is None:
        return _("None of our cars to compare with at like temperature.")
    if times.n < ENOUGH:
        return _("Too few of our cars to say: n = {n}.").format(n=times.n)
    if times.oil_c is None:
        told = _("Slower than {slower} of {n} of our cars.")
    else:
        told = _("Slower than {slower} of {n} of our cars at like temperature.")
    told = told.format(slower=slower_than, n=times.n)
    z = robust_z(seconds, times)
    return told + (" " + _("It stands out (robust z = {z:.1f}).").format(z=z) if z > STANDS_OUT else "")


def band_words(system: TopSystem, oil_c: float | None) -> str:
    """The temperatures that a trial is compared with; '' for a top without fluid."""
    if system.hydraulics is None:
        return ""
    if oil_c is None:
        return _("no fluid temperature was noted: compared with trials without one")
    words = _("fluid {low:.0f} to {high:.0f} °C")
    return words.format(low=oil_c - LIKE_C, high=oil_c + LIKE_C)


def slow_chance(system: TopSystem, trial: MotionTrial, step: Step, references: References) -> float:
    """Chance (0 to 1) that a step's time is one that counts as slow, soft near the limit by the stopwatch.

    Against the shop's own cars where there are enough at like temperature, else against the file's usual seconds, which
    cold fluid stretches: a cold trial is no evidence of a weak pump.
    """
    seconds, times = trial.seconds[step.name], references.get((trial.motion, step.name))
    if times is not None and times.n >= ENOUGH and alike(times.oil_c, trial.oil_c):
        return _above(seconds, times.median + SLOW_Z * times.sigma, STOPWATCH_SD_S)
    return _above(seconds, usual_up_to_s(system, step, trial.oil_c), STOPWATCH_SD_S)


def beside_own_cars(
    system: TopSystem, observation: Observation, judgement: Judgement, references: References
) -> Judgement:
    """The judgement of a trial with what the shop's own cars say of its steps, where that is not what the file says."""
    if not isinstance(observation, MotionTrial) or not references:
        return judgement
    steps = [step for step in system.motions[observation.motion].steps if step.name in observation.seconds]
    told = " ".join(filter(None, (_own_words(system, observation, step, references) for step in steps)))
    return replace(judgement, words=f"{judgement.words} {told}") if told else judgement


def _own_words(system: TopSystem, trial: MotionTrial, step: Step, references: References) -> str:
    slow, by_file = (slow_chance(system, trial, step, known) > 0.5 for known in (references, NO_TIMES))
    if slow == by_file:
        return ""
    words = (
        _("“{title}” took {seconds:.1f} s, slow beside our own cars ({median:.1f} ± {sigma:.1f} s, n = {n}).")
        if slow
        else _("“{title}” was not slow beside our own cars ({median:.1f} ± {sigma:.1f} s, n = {n}).")
    )
    times = references[trial.motion, step.name]
    seconds = trial.seconds[step.name]
    return words.format(title=step.title, seconds=seconds, median=times.median, sigma=times.sigma, n=times.n)


def _above(value: float, limit: float, sd: float) -> float:
    """Chance that the true value lies above the limit."""
    return 0.5 * (1.0 + erf((value - limit) / (sd * sqrt(2.0))))
