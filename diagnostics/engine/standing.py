"""Where the top stands after a trial, as evidence: it parts the ways in which one and the same step can stop.

A step that was never released leaves its axes where the step before left them. One whose drive gave up leaves them on
their way, or, with a dead drive, where they stood. One that arrived and was not reported leaves them at their end. And
one that was taken for ended too early has not moved although the motion stops only at the next.

A trial that slipped (see `observe.TRIAL_SLIP`) says nothing, of the step as of where things stand.
"""

from collections.abc import Iterator, Mapping

import numpy as np

from diagnostics.engine import observe
from diagnostics.engine.compiled import ALL, Compiled, Floats, Subset
from diagnostics.engine.effects import leaves_its_place
from diagnostics.engine.motion import fault_free
from diagnostics.engine.system.model import BETWEEN, Motion, Step, TopSystem
from diagnostics.engine.trials import NO_START, needed, outcomes, site_table, ways_to_stop

Pose = Mapping[str, str]
NOWHERE = 1e-15
"""Below this chance of its stop a hypothesis is left at what a slip alone gives, which is a thousand million times
more."""


def likelihood(
    compiled: Compiled, motion: str, stops_at: str | None, weights: Floats, stands: Pose, subset: Subset = ALL
) -> Floats:
    """(m,) chance that a trial tells this stop and where the axes stand. `weights`: as of `trials.told_weights`."""
    declared = compiled.system.motions[motion]  # type: ignore[index]
    told = _rows_told(declared, stops_at)
    by_slip = observe.TRIAL_SLIP / (len(declared.steps) + 1)
    # What is in `weights` beside the step told (the lamp) holds for a slip as well.
    slipped = weights.copy()
    slipped[told] *= by_slip / (1.0 - observe.TRIAL_SLIP + by_slip)
    places = outcomes(compiled, motion, subset)
    result: Floats = (slipped @ places) * _at_random(compiled.system, stands)
    near = np.flatnonzero(places[told].sum(axis=0) > NOWHERE)
    hypotheses = np.arange(len(compiled.sets))[subset][near]
    for row, pose, chance in _ways(compiled, motion, stops_at, hypotheses):
        seen = seen_there(compiled.system, stands, pose)
        result[near] += (weights[row] - slipped[row]) * seen * np.clip(chance, 0.0, 1.0)
    return result


def seen_there(system: TopSystem, stands: Pose, pose: Pose) -> float:
    """Chance that people say `stands` (axis -> place, of some axes) of a top in `pose`."""
    chance = 1.0
    for axis, place in stands.items():
        others = len(system.axes[axis].places)  # one of them is right; `between` takes its place
        chance *= 1.0 - observe.STANDS_WRONG if pose[axis] == place else observe.STANDS_WRONG / others
    return chance


def _at_random(system: TopSystem, stands: Pose) -> float:
    return float(np.prod([1.0 / (len(system.axes[axis].places) + 1) for axis in stands]))


def _rows_told(motion: Motion, stops_at: str | None) -> list[int]:
    """Rows of `trials.outcomes` that look like this stop."""
    if stops_at is None:
        return [len(motion.steps) + 1]
    at = [step.name for step in motion.steps].index(stops_at)
    return [NO_START, 1] if at == 0 else [at + 1]


def _ways(
    compiled: Compiled, motion: str, stops_at: str | None, hypotheses: Subset
) -> Iterator[tuple[int, Pose, Floats]]:
    """(row of `trials.outcomes`, pose, (m,) chance) of every way to stop there."""
    traces = fault_free(compiled.system, motion)
    if stops_at is None:
        last = len(traces) + 1
        yield last, traces[-1].after, outcomes(compiled, motion, hypotheses)[last]
        return
    at = [trace.step.name for trace in traces].index(stops_at)
    trace, row = traces[at], at + 1
    stops, _goes_on = ways_to_stop(compiled, motion, hypotheses, until=at)
    stop = stops[at]
    if at == 0:
        yield NO_START, trace.before, outcomes(compiled, motion, hypotheses)[NO_START]
    else:
        yield row, traces[at - 1].before, stops[at - 1].early
    if at == len(traces) - 1:
        yield row, trace.before, stop.early
    leaves = _leaves(compiled, trace.step, hypotheses)
    yield row, trace.before, stop.not_started + stop.stalled * (1.0 - leaves)
    yield row, on_its_way(trace.step, trace.before), stop.stalled * leaves
    yield row, trace.after, stop.unreported


def on_its_way(step: Step, before: Pose) -> dict[str, str]:
    return {**before, **dict.fromkeys(step.moves, BETWEEN)}


def _leaves(compiled: Compiled, step: Step, hypotheses: Subset) -> Floats:
    """(m,) chance that a step which does not get there has at least left its place."""
    result = np.ones(len(compiled.sets.members[hypotheses]))
    for code in needed(compiled, step):
        result *= site_table(compiled, code, leaves_its_place)[compiled.codes(code, hypotheses)]
    return result


def pose_after(
    system: TopSystem, motion: str, stops_at: str | None, stands: Pose | None = None, base: Pose | None = None
) -> dict[str, str]:
    """Where the top stands after a trial: what was seen; of other axes, the end of the motion, or as before the step
    that did not start or end. What is moved by hand stays as in `base`."""
    traces = fault_free(system, motion)
    usual = next((trace.before for trace in traces if trace.step.name == stops_at), traces[-1].after)
    by_hand = {axis: place for axis, place in (base or {}).items() if system.axes[axis].moved == "by_hand"}
    return {**usual, **by_hand, **(stands or {})}
