"""How things stand at the car: its pose, which set-ups are paid (module uncovered, trim off, lid propped), which checks
have been made since work, and what a check costs from here.

A set-up is paid once and shared by all that needs it:

- the module is uncovered for the first check with the meter there;
- what was spent on opening a place counts for every position there and in the places inside it or around it: the
  place of a position is a path, `Left lid hinge, behind the hinge cover` lies inside `Left lid hinge`;
- a prop stands for every position whose cautions ask for one, until a motion is tried: then it comes out, the trim
  stays off.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.engine import trials
from diagnostics.engine.case import Case, MotionTrial, Observation, PinByHand, PinReading, position_of
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.motion import pose_of
from diagnostics.engine.poses import Pose
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.standing import pose_after
from diagnostics.engine.system.model import BETWEEN, TopSystem
from diagnostics.engine.system.series import path_of

AT_MODULE = frozenset({"pin", "pin-by-hand", "wiggle", "continuity"})
"""Checks with the meter at the module's connector."""
AT_POSITION = frozenset({"pin-by-hand", "click", "continuity", "look", "pressure-hold", "battery"})
"""Checks with a hand or an eye at the position."""
HAND_MINUTES = 1.0
"""Moving what is moved by hand, each axis: common practice, no source."""
MINUTES: Mapping[str, float] = {
    "pin": 1.0,
    "pin-by-hand": 3.0,
    "click": 1.0,
    "wiggle": 3.0,
    "continuity": 6.0,
    "look": 2.0,
    "pressure-hold": 15.0,
    "battery": 2.0,
    "motion": 0.5,
}
"""Minutes of the check itself, without uncovering, reaching or moving: common practice, no source."""
REACHED_MINUTES = 0.5
"""Another position in a place that is open already: common practice, no source."""
PROP_MINUTES = 2.0
"""Of the minutes to reach a position that asks for a prop, those for opening and propping: common practice, no
source."""
RETURN_MINUTES = 3.0
"""Bringing a top that has stalled back to where a motion starts: common practice, no source."""
LIKELY_RUNS = 0.5
"""A pose behind a motion is proposed only if the motion will more likely than not get there."""


@dataclass(frozen=True)
class Sitting:
    """`poses`: those that pins can be read in now, with the minutes to get there; the first is the present one.
    `opened`: place -> minutes spent on opening it, propping apart."""

    system: TopSystem
    pose: Mapping[str, str]
    poses: tuple[tuple[Pose, float], ...]
    uncover: float
    opened: Mapping[str, float]
    propped: bool
    _made: frozenset[object]

    def reach(self, code: str) -> float:
        """Minutes to reach a position from here, its place being open and its lid propped already or not."""
        place = self.system.positions[code].place
        paid = max((minutes for other, minutes in self.opened.items() if nested(place, other)), default=0.0)
        propping, opening = _parts(self.system, code)
        return (0.0 if self.propped else propping) + max(REACHED_MINUTES, opening - paid)

    def after(self, check: str, code: str) -> "Sitting":
        """The sitting once this check is made (for a motion: `code` its name): what it set up is paid."""
        if check == "motion":
            return replace(self, propped=False)
        found = replace(self, uncover=0.0) if check in AT_MODULE and self.uncover else self
        opened, propped = dict(self.opened), self.propped
        for one in touched(self.system, check, code):
            propping, opening = _parts(self.system, one)
            place = self.system.positions[one].place
            opened[place] = max(opening, opened.get(place, 0.0))
            propped |= propping > 0.0
        return replace(found, opened=opened, propped=propped)

    def made(self, check: str, code: str, pose: Pose | None = None) -> bool:
        """Whether this check has been made with no work since (for a motion: `code` its name)."""
        return _key(self.system, check, code, pose) in self._made

    def minutes_to(self, pose: str) -> float | None:
        """Minutes to bring the top to a resting pose; None where it cannot be got there with reason."""
        if _resting(self.system, self.pose) is None:
            return RETURN_MINUTES
        return next((minutes for name, minutes in self.poses if name == pose), None)


def _parts(system: TopSystem, code: str) -> tuple[float, float]:
    """The minutes to reach a position from outside: those for propping, those for opening."""
    position = system.positions[code]
    propping = min(PROP_MINUTES, position.minutes) if "prop" in position.cautions else 0.0
    return propping, position.minutes - propping


def nested(one: str, other: str) -> bool:
    """Whether two places are the same or one lies inside the other: one's parts between commas begin the other's."""
    return one == other or f"{one},".startswith(f"{other},") or f"{other},".startswith(f"{one},")


def touched(system: TopSystem, check: str, code: str) -> tuple[str, ...]:
    """The positions that hands or eyes must reach for a check: of two switches in series by hand both, one to press
    and one to hold."""
    if check not in AT_POSITION:
        return ()
    return path_of(system, code) if check == "pin-by-hand" else (code,)


def minutes_of(sitting: Sitting, check: str, code: str, moving: float = 0.0) -> float:
    """Minutes of a check as things stand: what is uncovered and reached already is not paid again.

    `code`: the position, or the motion's name; `moving`: minutes to bring the top into the pose for it.
    """
    if check == "motion":
        return MINUTES[check] + moving + motion_minutes(sitting.system, code)
    uncover = sitting.uncover if check in AT_MODULE else 0.0
    return MINUTES[check] + moving + uncover + sum(sitting.reach(one) for one in touched(sitting.system, check, code))


def motion_minutes(system: TopSystem, motion: str) -> float:
    """Minutes of a whole motion that keeps its usual time."""
    steps = system.motions[motion].steps  # type: ignore[index]
    return sum(step.seconds[1] for step in steps) / 60.0


def sitting_of(model: Compiled, case: Case, judgements: Sequence[Judgement], places: Ints, weights: Floats) -> Sitting:
    """`places`, `weights` (m,): the likely fault sets, by which a motion is thought to run or not."""
    system = model.system
    good = [o for o, judged in zip(case.observations, judgements, strict=True) if judged.verdict != REFUSED]
    pose = present_pose(system, case)
    sitting = Sitting(
        system=system,
        pose=pose,
        poses=_poses(system, pose, _running(model, places, weights)),
        uncover=system.module.minutes,
        opened={},
        propped=False,
        _made=_made(system, case, judgements),
    )
    # Each kind of check at each position once, by the last time that it was made.
    steps = dict.fromkeys((o.check, _subject(system, o)) for o in reversed(good))
    for check, what in reversed(steps):
        if what:
            sitting = sitting.after(check, what)
    return sitting


def _subject(system: TopSystem, observation: Observation) -> str:
    """The motion tried, or the position that was checked."""
    return observation.motion if isinstance(observation, MotionTrial) else position_of(system, observation)


def _made(system: TopSystem, case: Case, judgements: Sequence[Judgement]) -> frozenset[object]:
    """Keys of the checks made; what was made before work on its path, or before any work for a motion, is open
    again, and so is a reading that was too near to a limit to call."""
    after = {position_of(system, o) for o in case.observations if o.after_work} - {""}
    worked = {one for code in after for one in path_of(system, code)}
    any_work = any(o.after_work for o in case.observations)
    found = set()
    for observation, judged in zip(case.observations, judgements, strict=True):
        code = position_of(system, observation)
        stale = any_work if isinstance(observation, MotionTrial) else code in worked
        if isinstance(observation, PinReading | PinByHand) and not judged.reads:
            continue
        if judged.verdict != REFUSED and (observation.after_work or not stale):
            found.add(
                _key(system, observation.check, _subject(system, observation), getattr(observation, "pose", None))
            )
    return frozenset(found)


def _key(system: TopSystem, check: str, code: str, pose: Pose | None) -> object:
    return check, code, None if pose is None else seen_by(system, code, pose)


def seen_by(system: TopSystem, code: str, pose: Pose) -> tuple[tuple[str, str], ...]:
    """What of a pose a sensor sees: its axes with their places. Two poses that look alike to it give one reading."""
    places, axes = pose_of(system, pose), set[str]()
    for one in path_of(system, code):
        position = system.positions[one]
        axes |= position.made_when.axes() if position.made_when is not None else frozenset()
        axes |= {position.watches} if position.watches is not None else frozenset()
    return tuple((axis, places[axis]) for axis in sorted(axes))


def present_pose(system: TopSystem, case: Case) -> dict[str, str]:
    """The pose that the car most likely stands in: where the last reading was taken or the last trial ended."""
    for observation in reversed(case.observations):
        if isinstance(observation, PinReading):
            return pose_of(system, observation.pose)
        if isinstance(observation, MotionTrial):
            return pose_after(system, observation.motion, observation.stops_at, observation.stands)
    if case.complaint is not None:
        return pose_of(system, system.motions[case.complaint.motion].start)
    return pose_of(system, next(iter(system.poses)))


def _resting(system: TopSystem, pose: Mapping[str, str]) -> str | None:
    """Name of the resting pose that this is."""
    return next((name for name, places in system.poses.items() if dict(places) == dict(pose)), None)


def _by_hand(system: TopSystem, pose: Mapping[str, str], other: Mapping[str, str]) -> float | None:
    """Minutes from one pose to another by hand moves alone; None where the top itself must move."""
    differ = [axis for axis in system.axes if pose[axis] != other[axis]]
    if any(system.axes[axis].moved != "by_hand" or other[axis] == BETWEEN for axis in differ):
        return None
    return HAND_MINUTES * len(differ)


def _running(model: Compiled, places: Ints, weights: Floats) -> frozenset[str]:
    """The motions that more likely than not run to their end."""
    motions = model.system.motions
    return frozenset(
        motion for motion in motions if float(trials.outcomes(model, motion, places)[-1] @ weights) >= LIKELY_RUNS
    )


def _poses(system: TopSystem, pose: dict[str, str], running: frozenset[str]) -> tuple[tuple[Pose, float], ...]:
    here = _resting(system, pose)
    found: dict[str, float] = {} if here is None else {here: 0.0}
    for _round in system.poses:  # a path over the resting poses is never longer than their number
        for name, minutes in list(found.items()):
            for other, more in _from(system, name, running):
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


def _from(system: TopSystem, name: str, running: frozenset[str]) -> list[tuple[str, float]]:
    found = []
    for other in system.poses:
        minutes = _by_hand(system, pose_of(system, name), pose_of(system, other))
        if other != name and minutes is not None:
            found.append((other, minutes))
    for motion, declared in system.motions.items():
        if declared.start == name and motion in running:
            found.append((declared.end, motion_minutes(system, motion)))
    return found
