"""A sheet's step times beside those of the shop's own cars."""

from dataclasses import dataclass

from diagnostics.engine.case import MotionTrial, observation_of
from diagnostics.engine.system.model import Step
from diagnostics.engine.timing import Comparison, band_words, compare
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.selectors.own_times import others, own_trials


@dataclass(frozen=True, slots=True)
class TimedStep:
    step: Step
    compared: Comparison


@dataclass(frozen=True, slots=True)
class TimedTrial:
    """The last timed trial of a motion beside the shop's own cars."""

    title: str
    check: Check
    band: str
    steps: tuple[TimedStep, ...]


def timed_trials(sheet: BenchSheet) -> tuple[TimedTrial, ...]:
    """Of the sheet's job, in the order of the motions; empty without a declared system or a timed trial."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None:
        return ()
    last: dict[str, tuple[Check, MotionTrial]] = {}
    for check in evidence.checks:
        trial = observation_of(check.observation)
        if isinstance(trial, MotionTrial) and trial.seconds:
            last[trial.motion] = check, trial
    found = (last.get(name) for name in evidence.system.motions)
    return tuple(_timed(evidence, sheet.car_id, *pair) for pair in found if pair is not None)


def _timed(evidence: Evidence, car_pk: int, check: Check, trial: MotionTrial) -> TimedTrial:
    motion = evidence.system.motions[trial.motion]
    trials = own_trials(evidence.system)
    steps = []
    for step in motion.steps:
        if step.name in trial.seconds:
            seconds = others(trials, car_pk=car_pk, motion=trial.motion, step=step.name, oil_c=trial.oil_c)
            steps.append(TimedStep(step, compare(step, trial.seconds[step.name], seconds, trial.oil_c)))
    return TimedTrial(motion.title, check, band_words(evidence.system, trial.oil_c), tuple(steps))
