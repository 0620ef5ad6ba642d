"""The mechanism: what sensors see in a pose, and how a motion runs where nothing is wrong.

Meaning of motion, the same for everybody who simulates it:
- A sensor sees the actual pose. An axis on its way, or stalled there, is `between`: no `at` condition on it holds.
- A step is under way when everything in its `starts_when` is reported, and over when its `ends_when` is.
- A step can come to its end only if all axes moved by the top stand where the fault-free run has them at its start.
- While a motion runs, its command switch is held: made. Any other control switch is released.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from diagnostics.engine.errors import CaseError
from diagnostics.engine.poses import Pose
from diagnostics.engine.system.model import BETWEEN, SENSORS, Position, Step, TopSystem
from diagnostics.engine.system.series import AND, path_of, reported
from diagnostics.engine.words import _

MADE, RELEASED = "made", "released"


@dataclass(frozen=True, slots=True)
class StepTrace:
    """One step of the fault-free run with the full pose (axis -> place) before and after it."""

    step: Step
    before: Mapping[str, str]
    after: Mapping[str, str]


def sensor_state(position: Position, pose: Mapping[str, str]) -> str:
    """What a sound sensor by itself reports in `pose`: made | released | for an angle sensor a place or `between`.

    A control switch is released: nothing holds it in a pose. Of a switch wired in series it is the state of that one
    contact; what their pin reads is `pin_state`.
    """
    if position.watches is not None:
        return pose[position.watches]
    if position.made_when is None:
        return RELEASED
    return MADE if position.made_when.holds(pose) else RELEASED


def due_at(system: TopSystem, code: str, pose: Mapping[str, str]) -> str:
    """What is due at the pin of a sensor in `pose`: its state, of two switches in series both (`made&released`)."""
    return AND.join(sensor_state(system.positions[one], pose) for one in path_of(system, code))


def pin_state(system: TopSystem, code: str, pose: Mapping[str, str]) -> str:
    """What the pin of a sound sensor shows in `pose`."""
    return reported(due_at(system, code, pose))


def by_hand_dues(system: TopSystem, code: str) -> tuple[str, str]:
    """What is due at the pin while `code` is pressed, and while it is let go. Its twin is held pressed all the time."""
    path = path_of(system, code)
    return AND.join(MADE for _one in path), AND.join(RELEASED if one == code else MADE for one in path)


def dues(system: TopSystem, pose: Mapping[str, str], held: str | None = None) -> dict[str, str]:
    """What is due at the pin of every sensor in `pose` while the control switch `held` is held."""
    states = {code: due_at(system, code, pose) for code, one in system.positions.items() if one.kind in SENSORS}
    if held is not None:
        states[held] = MADE
    return states


def reports(system: TopSystem, pose: Mapping[str, str], held: str | None = None) -> dict[str, str]:
    """What the module is told by every sound sensor in `pose` while the control switch `held` is held."""
    return {code: reported(due) for code, due in dues(system, pose, held).items()}


def fault_free(system: TopSystem, motion: str) -> tuple[StepTrace, ...]:
    """The run of `motion` from its start pose, every move carried out. Raises CaseError for an unknown motion."""
    if motion not in system.motions:
        words = _("The system {system} has no motion “{motion}”; it has: {known}.")
        raise CaseError(words.format(system=system.system, motion=motion, known=", ".join(system.motions)))
    declared = system.motions[motion]
    pose = dict(system.poses[declared.start])
    traces: list[StepTrace] = []
    for step in declared.steps:
        after = pose | {axis: to for axis, (_start, to) in step.moves.items()}
        traces.append(StepTrace(step=step, before=pose, after=after))
        pose = after
    return tuple(traces)


def pose_of(system: TopSystem, pose: Pose, base: Mapping[str, str] | None = None) -> dict[str, str]:
    """The full pose (axis -> place) meant by a resting pose's name or by some axes' places.

    Axes that are not named stand as in `base`, or else as in the system's first resting pose. `between` is a place of
    every axis here. Raises CaseError that names an unknown pose, axis or place.
    """
    if isinstance(pose, str):
        if pose not in system.poses:
            words = _("The system {system} has no pose “{pose}”; it has: {known}.")
            raise CaseError(words.format(system=system.system, pose=pose, known=", ".join(system.poses)))
        return dict(system.poses[pose])
    for axis, place in pose.items():
        _check_place(system, axis, place)
    start = next(iter(system.poses.values())) if base is None else base
    return {**start, **pose}


def _check_place(system: TopSystem, axis: str, place: str) -> None:
    if axis not in system.axes:
        words = _("The system {system} has no axis “{axis}”; it has: {known}.")
        raise CaseError(words.format(system=system.system, axis=axis, known=", ".join(system.axes)))
    places = system.axes[axis].places
    if place not in places and place != BETWEEN:
        words = _("The axis {axis} has no place “{place}”; it has: {known}, {between}.")
        raise CaseError(words.format(axis=axis, place=place, known=", ".join(places), between=BETWEEN))
