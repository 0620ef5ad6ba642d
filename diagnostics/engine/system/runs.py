"""The run of both motions without faults: every step begins and ends as declared, every sensor is exercised."""

from collections.abc import Iterator, Mapping

from diagnostics.engine.motion import StepTrace, fault_free, pin_state, reports, sensor_state
from diagnostics.engine.system.model import SENSORS, TopSystem
from diagnostics.engine.system.problems import At, Finding
from diagnostics.engine.words import _


def run_findings(system: TopSystem) -> Iterator[Finding]:
    """Mistakes that show only when the motions run. Every reference of the system must be known."""
    for name in ("open", "close"):
        if name not in system.motions:
            words = _("The motion “{motion}” is missing; a top both opens and closes.")
            yield ("motions",), words.format(motion=name)
    for name in system.motions:
        yield from _motion(system, name)
    if len(system.motions) == 2:
        yield from _to_and_fro(system)
        yield from _exercised(system)


def _to_and_fro(system: TopSystem) -> Iterator[Finding]:
    there, back = system.motions["open"], system.motions["close"]
    for end, here, other in (("start", back.start, there.end), ("end", back.end, there.start)):
        if here != other:
            words = _(
                "Closing leads from {start} to {end}; expected the way back of opening, {other_end} to {other_start}."
            )
            words = words.format(start=back.start, end=back.end, other_end=there.end, other_start=there.start)
            yield ("motions", "close", end), words


def _motion(system: TopSystem, name: str) -> Iterator[Finding]:
    motion = system.motions[name]  # type: ignore[index]
    traces = fault_free(system, name)
    at = ("motions", name)
    lost = False
    for index, trace in enumerate(traces):
        here = (*at, "steps", str(index))
        elsewhere = list(_begins_where_the_run_stands(here, trace))
        yield from elsewhere
        # From a step on that begins elsewhere, conditions that fail are only echoes of it.
        lost = lost or bool(elsewhere)
        if not lost:
            yield from _conditions_of_step(system, motion.command, here, trace)
    if lost:
        return
    last, expected = traces[-1].after, system.poses[motion.end]
    wrong = [f"{axis}: {last[axis]}" for axis in system.axes if last[axis] != expected[axis]]
    if wrong:
        words = _("The motion does not end in the pose {pose}; after the last step these differ: {axes}.")
        yield (*at, "end"), words.format(pose=motion.end, axes=", ".join(wrong))


def _begins_where_the_run_stands(at: At, trace: StepTrace) -> Iterator[Finding]:
    for axis, (start, _to) in trace.step.moves.items():
        stands = trace.before[axis]
        if start != stands:
            words = _("The step {step} moves {axis} from {start}, but the run stands at {stands} then.")
            words = words.format(step=trace.step.name, axis=axis, start=start, stands=stands)
            yield (*at, "moves", axis), words


def _conditions_of_step(system: TopSystem, command: str, at: At, trace: StepTrace) -> Iterator[Finding]:
    step = trace.step
    before, after = reports(system, trace.before, command), reports(system, trace.after, command)
    for code, wanted in step.starts_when.items():
        if before[code] != wanted:
            words = _(
                "The step {step} never starts: it waits for {code} {wanted}, which is {found} in a sound top then."
            )
            words = words.format(step=step.name, code=code, wanted=wanted, found=before[code])
            yield (*at, "starts_when", code), words
    for code, wanted in step.ends_when.items():
        if after[code] != wanted:
            words = _("The step {step} never ends: it waits for {code} {wanted}, which is {found} after its moves.")
            words = words.format(step=step.name, code=code, wanted=wanted, found=after[code])
            yield (*at, "ends_when", code), words
    if all(before[code] == wanted for code, wanted in step.ends_when.items()):
        words = _("The step {step} would end at once: everything that ends it holds already before it moves.")
        yield (*at, "ends_when"), words.format(step=step.name)


def _exercised(system: TopSystem) -> Iterator[Finding]:
    """Sensors that no motion and no single axis moved by hand brings to both states: they could never be proven."""
    poses = _reached(system)
    for code, position in system.positions.items():
        if position.kind not in SENSORS or position.kind == "control-switch":
            continue
        seen = list(dict.fromkeys(sensor_state(position, pose) for pose in poses))
        if len(seen) < 2:
            words = _("{code} only ever reports {state}: no motion and no axis moved by hand changes it.")
            yield ("positions", code), words.format(code=code, state=seen[0])
        elif position.in_series_with and all(pin_state(system, code, pose) == "released" for pose in poses):
            words = _("{first} and {code} are never made at the same time, so their pin would never read made.")
            yield ("positions", code, "in_series_with"), words.format(first=position.in_series_with, code=code)


def _reached(system: TopSystem) -> list[Mapping[str, str]]:
    poses: list[Mapping[str, str]] = []
    for name in system.motions:
        for trace in fault_free(system, name):
            poses += [trace.before, trace.after]
    by_hand = {name: axis.places for name, axis in system.axes.items() if axis.moved == "by_hand"}
    moved = [{**pose, axis: place} for pose in poses for axis, places in by_hand.items() for place in places]
    return poses + moved
