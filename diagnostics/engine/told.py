"""What a customer tells as evidence: which step stops the top, the lamp, what was heard, whether it comes and goes.

One likelihood over all hypotheses. What was heard belongs to the way in which the step stopped: a step that is not
released is silent, one that never ends is heard running, unless its drive is dead.
"""

import numpy as np

from diagnostics.engine import observe, trials
from diagnostics.engine.case import Complaint
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.system.model import Step, TopSystem
from diagnostics.engine.words import _

HEARD = frozenset({"pump", "motor"})
"""Kinds of drive that a layman hears."""


def told_likelihood(compiled: Compiled, told: Complaint) -> Floats:
    """(H,) chance of the complaint under each hypothesis."""
    motion = compiled.system.motions[told.motion]
    weights = trials.told_weights(motion, told.stops_at, told.lamp, layman=True)
    outcomes = trials.outcomes(compiled, told.motion)
    if told.sound is not None:
        silent = silent_outcomes(compiled, told.motion)
        said = silent if told.sound == "silent" else outcomes - silent
        outcomes = observe.HEARD_RIGHT * said + (1.0 - observe.HEARD_RIGHT) * (outcomes - said)
    result: Floats = weights @ outcomes
    if told.neither_way:
        other = "open" if told.motion == "close" else "close"
        runs = trials.outcomes(compiled, other)[-1]
        result = result * (observe.OTHER_MOTION_RIGHT * (1.0 - runs) + (1.0 - observe.OTHER_MOTION_RIGHT) * runs)
    if told.comes_and_goes is not None:
        flickers = _comes_and_goes(compiled)
        result = result * (flickers if told.comes_and_goes else 1.0 - flickers)
    if told.battery_weak is not None:
        weak = _battery_weak(compiled)
        result = result * (weak if told.battery_weak else 1.0 - weak)
    return result


def silent_outcomes(compiled: Compiled, motion: str) -> Floats:
    """(S + 2, H) chance of each outcome of `trials.outcomes` together with silence where the motion stopped."""
    return compiled.kept(("silent", motion), lambda: _silent_outcomes(compiled, motion))


def _silent_outcomes(compiled: Compiled, motion: str) -> Floats:
    stops, _runs = trials.ways_to_stop(compiled, motion)
    steps = compiled.system.motions[motion].steps  # type: ignore[index]
    rows = np.zeros((len(stops) + 2, len(compiled.sets)))
    rows[trials.NO_START] = trials.outcomes(compiled, motion)[trials.NO_START]
    for k, (step, stop) in enumerate(zip(steps, stops, strict=True)):
        rows[k + 1] += stop.not_started + stop.not_ended * _silent(compiled, step)
        rows[min(k + 1, len(stops) - 1) + 1] += stop.early * observe.SILENT_AFTER_EARLY_END
    return np.clip(rows, 0.0, 1.0)


def _silent(compiled: Compiled, step: Step) -> Floats:
    """(H,) chance that nothing is heard of a step that is commanded."""
    positions = compiled.system.positions
    if not any(positions[code].kind in HEARD for code in step.driven_by):
        return np.full(len(compiled.sets), observe.SILENT_ANYWAY)
    heard = np.ones(len(compiled.sets))
    for code in trials.needed(compiled, step):
        kind = positions[code].kind
        modes_at = compiled.sites[code].sets
        silent = [max((observe.SILENT.get((kind, mode), 0.0) for mode in modes), default=0.0) for modes in modes_at]
        heard *= 1.0 - np.array(silent)[compiled.codes(code)]
    return 1.0 - heard


def _comes_and_goes(compiled: Compiled) -> Floats:
    """(H,) chance of "not every time": of several faults the steadiest decides, for it stops the top every time."""

    def make() -> Floats:
        modes = [observe.TOLD_COMES_AND_GOES.get(fault.mode, observe.TOLD_ALWAYS) for fault in compiled.faults]
        lookup = np.array([*modes, 1.0])
        steadiest: Floats = lookup[compiled.sets.members].min(axis=1)
        return np.where(compiled.sets.size == 0, observe.TOLD_OF_NOTHING, steadiest)

    return compiled.kept("told-comes-and-goes", make)


def _battery_weak(compiled: Compiled) -> Floats:
    def make() -> Floats:
        low = np.array([*(fault.mode == "low" for fault in compiled.faults), False])
        there = low[compiled.sets.members].any(axis=1)
        return np.where(there, observe.TOLD_BATTERY_LOW, observe.TOLD_BATTERY_FIT)

    return compiled.kept("told-battery-weak", make)


def complaint_sentences(system: TopSystem, told: Complaint) -> tuple[str, ...]:
    """The complaint in words: where it stops first, then what else was told."""
    motion = system.motions[told.motion]
    step = next(step.title for step in motion.steps if step.name == told.stops_at)
    said = [_("{motion} stops at “{step}”.").format(motion=motion.title, step=step)]
    if told.neither_way:
        said.append(_("It goes neither way."))
    if told.sound is not None:
        said.append(_("Nothing is heard.") if told.sound == "silent" else _("A pump or motor is heard."))
    if told.comes_and_goes is not None:
        said.append(_("It comes and goes.") if told.comes_and_goes else _("It is so every time."))
    if told.battery_weak is not None:
        said.append(_("The battery is weak.") if told.battery_weak else _("The battery is strong."))
    return tuple(said)
