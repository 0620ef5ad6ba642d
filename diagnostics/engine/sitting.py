"""How things stand at the car: its pose, what is uncovered and reached already, which checks have been made since
work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import trials
from diagnostics.engine.case import Case, MotionTrial, PinReading, position_of
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.motion import fault_free, pose_of
from diagnostics.engine.poses import Pose
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.system.model import BETWEEN, TopSystem

AT_MODULE = frozenset({"pin", "pin-by-hand", "wiggle", "continuity"})
"""Checks with the meter at the module's connector."""
AT_POSITION = frozenset({"pin-by-hand", "click", "continuity", "look", "battery"})
"""Checks with a hand or an eye at the position."""
HAND_MINUTES = 1.0
"""Moving what is moved by hand, each axis: common practice, no source."""
REACHED_MINUTES = 0.5
"""Another position in a place that is open already: common practice, no source."""
RETURN_MINUTES = 3.0
"""Bringing a top that has stalled back to where a motion starts: common practice, no source."""
LIKELY_RUNS = 0.5
"""A pose behind a motion is proposed only if the motion will more likely than not get there."""


@dataclass(frozen=True)
class Sitting:
    """`poses`: those that pins can be read in now, with the minutes to get there; the first is the present one."""

    system: TopSystem
    pose: Mapping[str, str]
    poses: tuple[tuple[Pose, float], ...]
    uncover: float
    places: frozenset[str]
    _made: frozenset[object]

    def reach(self, code: str) -> float:
        """Minutes to reach a position, its place being open already or not."""
        position = self.system.positions[code]
        return REACHED_MINUTES if position.place in self.places else position.minutes

    def made(self, check: str, code: str, pose: Pose | None = None) -> bool:
        """Whether this check has been made with no work since (for a motion: `code` its name)."""
        return _key(self.system, check, code, pose) in self._made

    def minutes_to(self, pose: str) -> float | None:
        """Minutes to bring the top to a resting pose; None where it cannot be got there with reason."""
        if _resting(self.system, self.pose) is None:
            return RETURN_MINUTES
        return next((minutes for name, minutes in self.poses if name == pose), None)


def motion_minutes(system: TopSystem, motion: str) -> float:
    """Minutes of a whole motion that keeps its usual time."""
    steps = system.motions[motion].steps  # type: ignore[index]
    return sum(step.seconds[1] for step in steps) / 60.0


def sitting_of(model: Compiled, case: Case, judgements: Sequence[Judgement], weights: Floats) -> Sitting:
    system = model.system
    good = [o for o, judged in zip(case.observations, judgements, strict=True) if judged.verdict != REFUSED]
    touched = {position_of(system, o) for o in good if o.check in AT_POSITION} - {""}
    pose = present_pose(system, case)
    return Sitting(
        system=system,
        pose=pose,
        poses=_poses(model, pose, weights),
        uncover=0.0 if any(o.check in AT_MODULE for o in good) else system.module.minutes,
        places=frozenset(system.positions[code].place for code in touched),
        _made=_made(system, case, judgements),
    )


def _made(system: TopSystem, case: Case, judgements: Sequence[Judgement]) -> frozenset[object]:
    """Keys of the checks made; what was made before work on its path, or before any work for a motion, is open
    again."""
    worked = {position_of(system, o) for o in case.observations if o.after_work}
    any_work = any(o.after_work for o in case.observations)
    found = set()
    for observation, judged in zip(case.observations, judgements, strict=True):
        code = position_of(system, observation)
        stale = any_work if isinstance(observation, MotionTrial) else code in worked
        if judged.verdict != REFUSED and (observation.after_work or not stale):
            what = observation.motion if isinstance(observation, MotionTrial) else code
            found.add(_key(system, observation.check, what, getattr(observation, "pose", None)))
    return frozenset(found)


def _key(system: TopSystem, check: str, code: str, pose: Pose | None) -> object:
    return check, code, None if pose is None else seen_by(system, code, pose)


def seen_by(system: TopSystem, code: str, pose: Pose) -> tuple[tuple[str, str], ...]:
    """What of a pose a sensor sees: its axes with their places. Two poses that look alike to it give one reading."""
    position, places = system.positions[code], pose_of(system, pose)
    watched = {position.watches} if position.watches is not None else set()
    axes = position.made_when.axes() if position.made_when is not None else watched
    return tuple((axis, places[axis]) for axis in sorted(axes))


def present_pose(system: TopSystem, case: Case) -> dict[str, str]:
    """The pose that the car most likely stands in: where the last reading was taken or the last trial ended."""
    for observation in reversed(case.observations):
        if isinstance(observation, PinReading):
            return pose_of(system, observation.pose)
        if isinstance(observation, MotionTrial):
            return pose_after(system, observation.motion, observation.stops_at)
    if case.complaint is not None:
        return pose_of(system, system.motions[case.complaint.motion].start)
    return pose_of(system, next(iter(system.poses)))


def pose_after(system: TopSystem, motion: str, stops_at: str | None) -> dict[str, str]:
    """Where the top stands after a trial: at its end, or as before the step that did not start or end."""
    traces = fault_free(system, motion)
    if stops_at is None:
        return dict(traces[-1].after)
    return dict(next(trace.before for trace in traces if trace.step.name == stops_at))


def _resting(system: TopSystem, pose: Mapping[str, str]) -> str | None:
    """Name of the resting pose that this is."""
    return next((name for name, places in system.poses.items() if dict(places) == dict(pose)), None)


def _by_hand(system: TopSystem, pose: Mapping[str, str], other: Mapping[str, str]) -> float | None:
    """Minutes from one pose to another by hand moves alone; None where the top itself must move."""
    differ = [axis for axis in system.axes if pose[axis] != other[axis]]
    if any(system.axes[axis].moved != "by_hand" or other[axis] == BETWEEN for axis in differ):
        return None
    return HAND_MINUTES * len(differ)


def _poses(model: Compiled, pose: dict[str, str], weights: Floats) -> tuple[tuple[Pose, float], ...]:
    system = model.system
    here = _resting(system, pose)
    found: dict[str, float] = {} if here is None else {here: 0.0}
    for _round in system.poses:  # a path over the resting poses is never longer than their number
        for name, minutes in list(found.items()):
            for other, more in _from(model, name, weights):
                if minutes + more < found.get(other, np.inf):
                    found[other] = minutes + more
    if here is None:
        return ((dict(pose), 0.0),)  # nobody lifts dividers or opens a trunk under a top that has stalled half way
    return tuple(sorted([*found.items(), *_hand_poses(system, pose)], key=lambda item: item[1]))


def _hand_poses(system: TopSystem, pose: dict[str, str]) -> list[tuple[Pose, float]]:
    """From a top at rest: the same with one axis moved by hand."""
    found: list[tuple[Pose, float]] = []
    for name, axis in system.axes.items():
        if axis.moved == "by_hand":
            found += [(pose | {name: place}, HAND_MINUTES) for place in axis.places if place != pose[name]]
    return found


def _from(model: Compiled, name: str, weights: Floats) -> list[tuple[str, float]]:
    system = model.system
    found = []
    for other in system.poses:
        minutes = _by_hand(system, pose_of(system, name), pose_of(system, other))
        if other != name and minutes is not None:
            found.append((other, minutes))
    for motion, declared in system.motions.items():
        if declared.start == name and float(trials.outcomes(model, motion)[-1] @ weights) >= LIKELY_RUNS:
            found.append((declared.end, motion_minutes(system, motion)))
    return found
