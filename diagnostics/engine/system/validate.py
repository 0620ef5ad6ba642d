"""Whether a system of the right shape makes sense: references, rules of positions, and the run of both motions."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

from diagnostics.engine.inspection.rules import inspection_findings
from diagnostics.engine.system.drawn_rules import drawing_findings
from diagnostics.engine.system.fluid import hydraulics_findings
from diagnostics.engine.system.model import ACTUATORS, BETWEEN, SENSORS, Condition, Motion, Position, Step, TopSystem
from diagnostics.engine.system.positions import missing_fields, position_findings, series_findings
from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.system.runs import run_findings
from diagnostics.engine.words import _


def findings_of(system: TopSystem) -> list[Finding]:
    """Every mistake. The motions run only when nothing that they lean on (axis, place, pose, position) is unknown."""
    references = [
        *_poses(system),
        *_conditions(system),
        *missing_fields(system),
        *series_findings(system),
        *_of_kind(system, ("module", "position"), system.module.position, frozenset({"module"})),
        *(finding for name, motion in system.motions.items() for finding in _motion(system, name, motion)),
    ]
    rules = [
        *_axes(system),
        *_thresholds(system),
        *position_findings(system),
        *hydraulics_findings(system),
        *drawing_findings(system),
        *inspection_findings(system),
        *(finding for name, motion in system.motions.items() for finding in _step_rules(system, name, motion)),
    ]
    runs = [] if references else list(run_findings(system))
    return [*references, *rules, *runs]


def _axes(system: TopSystem) -> Iterator[Finding]:
    for name, axis in system.axes.items():
        at = ("axes", name, "places")
        for index, place in enumerate(axis.places):
            if place in axis.places[:index]:
                yield (*at, str(index)), _("The place {place} is named twice.").format(place=shown(place))
            if place in {BETWEEN, "made", "released"}:
                words = _("{place} is kept for what a sensor reports; choose another name for this place.")
                yield (*at, str(index)), words.format(place=shown(place))


def _poses(system: TopSystem) -> Iterator[Finding]:
    for name, pose in system.poses.items():
        at = ("poses", name)
        yield from _places(system, at, {axis: (place,) for axis, place in pose.items()})
        missing = [axis for axis in system.axes if axis not in pose]
        if missing:
            words = _("A resting pose says where every axis stands; missing: {axes}.")
            yield at, words.format(axes=", ".join(missing))


def _places(system: TopSystem, at: At, wanted: Mapping[str, Iterable[str]]) -> Iterator[Finding]:
    """Unknown axes and places among `wanted` (axis -> places)."""
    for name, places in wanted.items():
        if name not in system.axes:
            words = _("The axis {axis} is not declared; expected one of: {known}.")
            yield (*at, name), words.format(axis=shown(name), known=", ".join(system.axes))
            continue
        known = system.axes[name].places
        for place in places:
            if place not in known:
                words = _("The axis {axis} has no place {place}; expected one of: {known}.")
                yield (*at, name), words.format(axis=name, place=shown(place), known=", ".join(known))


def _conditions(system: TopSystem) -> Iterator[Finding]:
    for code, position in system.positions.items():
        at = ("positions", code)
        if position.made_when is not None:
            yield from _condition(system, (*at, "made_when"), position.made_when)
        if position.watches is not None and position.watches not in system.axes:
            words = _("The axis {axis} is not declared; expected one of: {known}.")
            yield (*at, "watches"), words.format(axis=shown(position.watches), known=", ".join(system.axes))


def _condition(system: TopSystem, at: At, condition: Condition) -> Iterator[Finding]:
    branches = {"at": condition.at, "any": condition.any, "all": condition.all, "not": condition.negated}
    given = [name for name, branch in branches.items() if branch is not None]
    if len(given) != 1:
        words = _("A condition says exactly one of at, any, all, not; {count} were found.")
        yield at, words.format(count=len(given))
        return
    if not branches[given[0]]:
        yield (*at, given[0]), _("The condition is empty; expected at least one entry.")
    for axis, places in (condition.at or {}).items():
        if not places:
            yield (*at, "at", axis), _("No place is named; expected at least one.")
    yield from _places(system, (*at, "at"), condition.at or {})
    for name, several in (("any", condition.any), ("all", condition.all)):
        for index, one in enumerate(several or ()):
            yield from _condition(system, (*at, name, str(index)), one)
    if condition.negated is not None:
        yield from _condition(system, (*at, "not"), condition.negated)


def _thresholds(system: TopSystem) -> Iterator[Finding]:
    module = system.module
    if module.low_share >= module.high_share:
        words = _("low_share is {low} and high_share {high}; expected low_share to be the smaller one.")
        yield ("module", "low_share"), words.format(low=module.low_share, high=module.high_share)


def _of_kind(system: TopSystem, at: At, code: str, kinds: frozenset[str]) -> Iterator[Finding]:
    """A finding where `code` is no declared position of one of `kinds`."""
    position = system.positions.get(code)
    if position is None:
        yield at, _("The position {code} is not declared.").format(code=code)
    elif position.kind not in kinds:
        words = _("{code} is of kind {kind}; expected one of: {kinds}.")
        yield at, words.format(code=code, kind=position.kind, kinds=", ".join(sorted(kinds)))


def _motion(system: TopSystem, name: str, motion: Motion) -> Iterator[Finding]:
    at = ("motions", name)
    yield from _of_kind(system, (*at, "command"), motion.command, frozenset({"control-switch"}))
    for end in ("start", "end"):
        pose = getattr(motion, end)
        if pose not in system.poses:
            words = _("The pose {pose} is not declared; expected one of: {known}.")
            yield (*at, end), words.format(pose=shown(pose), known=", ".join(system.poses))
    for index, step in enumerate(motion.steps):
        yield from _step(system, (*at, "steps", str(index)), step)


def _step(system: TopSystem, at: At, step: Step) -> Iterator[Finding]:
    yield from _places(system, (*at, "moves"), step.moves)
    for axis, (start, to) in step.moves.items():
        if start == to:
            words = _("The step moves {axis} from {place} to {place}; expected another place.")
            yield (*at, "moves", axis), words.format(axis=axis, place=start)
    for index, code in enumerate(step.driven_by):
        yield from _of_kind(system, (*at, "driven_by", str(index)), code, ACTUATORS)
    for name in ("starts_when", "ends_when"):
        for code, state in getattr(step, name).items():
            here = (*at, name, code)
            unknown = list(_of_kind(system, here, code, SENSORS)) or list(_without_pin(system, here, code))
            yield from unknown or _reported(system, here, system.positions[code], state)


def _step_rules(system: TopSystem, name: str, motion: Motion) -> Iterator[Finding]:
    at = ("motions", name)
    if motion.start == motion.end:
        yield (*at, "end"), _("The motion ends in the pose in which it starts.")
    names = Counter(step.name for step in motion.steps)
    for index, step in enumerate(motion.steps):
        here = (*at, "steps", str(index))
        if names[step.name] > 1:
            words = _("The step name {step} stands {count} times in this motion; every step needs its own.")
            yield (*here, "name"), words.format(step=shown(step.name), count=names[step.name])
        yield from _seconds(here, step)
        for axis in step.moves:
            if axis in system.axes and system.axes[axis].moved == "by_hand":
                words = _("The axis {axis} is moved by hand; no step can move it.")
                yield (*here, "moves", axis), words.format(axis=axis)


def _seconds(at: At, step: Step) -> Iterator[Finding]:
    low, high = step.seconds
    if not 0 < low <= high:
        words = _("The usual seconds are {low} to {high}; expected a range above 0, the smaller number first.")
        yield (*at, "seconds"), words.format(low=low, high=high)
    if high > step.limit_seconds:
        words = _("The step usually takes up to {high} s, but the limit is {limit} s; expected a limit above that.")
        yield (*at, "limit_seconds"), words.format(high=high, limit=step.limit_seconds)


def _without_pin(system: TopSystem, at: At, code: str) -> Iterator[Finding]:
    """A finding where the module cannot tell what `code` does: its contact is only the second one on a pin."""
    position = system.positions[code]
    if position.in_series_with is not None and position.pin is None:
        words = _("{code} has no pin of its own; name {first}, whose pin is made only while both are made.")
        yield at, words.format(code=code, first=position.in_series_with)


def _reported(system: TopSystem, at: At, position: Position, state: str) -> Iterator[Finding]:
    """A finding where a sensor of this kind never reports `state`."""
    known: tuple[str, ...] = ("made", "released")
    if position.watches is not None:
        known = system.axes[position.watches].places if position.watches in system.axes else (state,)
    if state not in known:
        words = _("{code} cannot report {state}; expected one of: {known}.")
        yield at, words.format(code=at[-1], state=shown(state), known=", ".join(known))
