"""Two fixed orders to compare with. Common practice, no source.

*Bench list*: battery, a trial, every pin in the order of the connector in each pose that can be reached, every sensor
by hand, every harness, every wire, every place. *Specialist*: an experienced hand with meter and diagram. After battery
and trial the pins that the stalled step waits for, in the pose in which it stands; whatever reads wrong is followed up
at once; then what drives the step, then the steps beside it, and only then the rest of the list.
"""

from collections.abc import Iterator, Sequence

from diagnostics.engine.case import Case, MotionTrial, checks_of, position_of
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import FINDING
from diagnostics.engine.system.model import SENSORS, TopSystem

HERE, ELSEWHERE, AGAIN = range(3)
Item = tuple[str, str, int]
"""A check, its position or motion, and for a pin: read as the top stands, in another pose, or once more."""


def bench_list(system: TopSystem, case: Case, judgements: Sequence[Judgement], motion: str) -> Iterator[Item]:
    """The whole list in its order; what was seen changes nothing."""
    supply = next((code for code, position in system.positions.items() if position.kind == "supply"), "")
    sensors = system.sensors()
    yield "battery", supply, HERE
    yield "motion", motion, HERE
    for pose in (HERE, ELSEWHERE):
        yield from (("pin", code, pose) for code in sensors)
    for check in ("pin-by-hand", "wiggle", "continuity", "pressure-hold", "look"):
        yield from ((check, code, HERE) for code in system.positions if check in checks_of(system, code))


def specialist(system: TopSystem, case: Case, judgements: Sequence[Judgement], motion: str) -> Iterator[Item]:
    """The same checks, those first that the stall and what read wrong call for."""
    yield from list(bench_list(system, case, judgements, motion))[:2]
    for code in _wrong(system, case, judgements):
        yield from _followed_up(system, code)
    stalled, beside = _steps(system, case, motion)
    for steps in ([stalled], beside):
        yield from (("pin", code, HERE) for code in _waited_for(system, steps, motion))
        yield from _drives(system, steps, motion)
    yield from bench_list(system, case, judgements, motion)


def _wrong(system: TopSystem, case: Case, judgements: Sequence[Judgement]) -> list[str]:
    """Positions at which something was found, the latest first."""
    found = [
        position_of(system, one)
        for one, judged in zip(case.observations, judgements, strict=True)
        if judged.verdict == FINDING and not isinstance(one, MotionTrial)
    ]
    return [code for code in dict.fromkeys(reversed(found)) if code]


def _followed_up(system: TopSystem, code: str) -> Iterator[Item]:
    """What tells switch, wire and trigger apart; a reading is made twice before anything is opened."""
    checks = checks_of(system, code)
    if "pin" in checks:
        yield "pin", code, AGAIN
    yield from ((check, code, HERE) for check in ("wiggle", "look", "pin-by-hand", "continuity") if check in checks)


def _steps(system: TopSystem, case: Case, motion: str) -> tuple[int, list[int]]:
    """The number of the step that stalls, by the last trial or else as complained, and of those beside it."""
    names = system.step_names(motion)
    stops = [one.stops_at for one in case.observations if isinstance(one, MotionTrial) and one.motion == motion]
    told = case.complaint.stops_at if case.complaint is not None else names[0]
    at = names.index(next((stop for stop in reversed(stops) if stop is not None), told))
    return at, [other for other in (at - 1, at + 1) if 0 <= other < len(names)]


def _waited_for(system: TopSystem, steps: Sequence[int], motion: str) -> list[str]:
    """Sensors with a pin that these steps wait for: first what ends them, then what starts them."""
    declared = [system.motions[motion].steps[number] for number in steps]  # type: ignore[index]
    wanted = [*(code for step in declared for code in step.ends_when)]
    wanted += [code for step in declared for code in step.starts_when]
    return [code for code in dict.fromkeys(wanted) if code in system.sensors()]


def _drives(system: TopSystem, steps: Sequence[int], motion: str) -> Iterator[Item]:
    declared = [system.motions[motion].steps[number] for number in steps]  # type: ignore[index]
    for code in dict.fromkeys(code for step in declared for code in step.driven_by):
        if system.positions[code].kind not in SENSORS:
            yield "look", code, HERE
