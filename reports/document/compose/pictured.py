"""Each motion as a picture: what the parts of the top do step by step, and when a sensor is due to show made."""

from collections.abc import Iterable, Mapping

from diagnostics.engine.drawing.step_plan import Plan, Seen
from diagnostics.engine.motion import MADE
from diagnostics.engine.poses import plain
from diagnostics.engine.system.model import TopSystem
from reports.document.content import MotionBar, MotionLane, MotionPicture, MotionTrial


def pictured(
    system: TopSystem, trials: Iterable[MotionTrial], current: Mapping[str, MotionTrial]
) -> tuple[MotionPicture, ...]:
    """The motions that were tried, as they are declared; `current` motion -> its last trial that counts, which says
    where it stopped."""
    tried = {trial.motion for trial in trials}
    return tuple(_picture(system, motion, current.get(motion)) for motion in system.motions if motion in tried)


def _picture(system: TopSystem, motion: str, trial: MotionTrial | None) -> MotionPicture:
    plan = Plan(system, motion, Seen())
    titles = tuple(trace.step.title for trace in plan.traces)
    return MotionPicture(
        motion=motion,
        title=system.motions[motion].title,  # type: ignore[index]
        steps=titles,
        lanes=tuple(_lane(plan, axis) for axis in plan.axes),
        bars=tuple(_bar(plan, code) for code in plan.sensors),
        stopped_at=titles.index(trial.stopped_at) + 1 if trial and trial.stopped_at in titles else None,
    )


def _lane(plan: Plan, axis: str) -> MotionLane:
    places = plan.system.axes[axis].places
    stands = tuple(places.index(pose[axis]) for pose in plan.stands)
    return MotionLane(plain(axis), tuple(plain(place) for place in places), stands)


def _bar(plan: Plan, code: str) -> MotionBar:
    states = [plan.rest_states[0]]
    for moving, rest in zip(plan.move_states, plan.rest_states[1:], strict=True):
        states += [moving, rest]
    made = tuple(one[code] == MADE for one in states)
    ends = tuple(number for number, trace in enumerate(plan.traces, 1) if code in trace.step.ends_when)
    return MotionBar(code, plan.system.positions[code].name, made, ends)
