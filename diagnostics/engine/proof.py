"""Proof: which sensors have been seen both made and released at the module's pin.

Two switches in series share a pin, and a reading tells of one of them only what separates the two: the pin made shows
both made; the pin released shows that switch released which alone was due to be, in a pose or by hand with the other
one held pressed.
"""

from collections.abc import Iterable, Mapping, Sequence

from diagnostics.engine.case import Observation, PinByHand, PinReading, position_of
from diagnostics.engine.motion import MADE, RELEASED, fault_free, pose_of, sensor_state
from diagnostics.engine.results import Judgement, ProofState
from diagnostics.engine.signals import OK, judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import path_of

Seen = tuple[str, str]
"""A sensor and the state (of an angle sensor the place) that was seen of it."""


def proof_of(system: TopSystem, observations: Iterable[Observation]) -> dict[str, ProofState]:
    """Proof state of every sensor that a pin reads, in the order of the pins.

    Only readings judged good count: a state that should not be there proves nothing. Where a path has any observation
    made after work, only those count. An angle sensor is proven by two different places read rightly: the first counts
    as made, the second as released.
    """
    pairs = [(observation, judge(system, observation)) for observation in observations]
    return proof_from(system, pairs)


def proof_from(system: TopSystem, judged: Sequence[tuple[Observation, Judgement]]) -> dict[str, ProofState]:
    """The same for observations that are judged already."""
    seen = states_seen(system, judged)
    return {code: _state(seen[code], position.watches is not None) for code, position in system.wired().items()}


def states_seen(system: TopSystem, judged: Sequence[tuple[Observation, Judgement]]) -> dict[str, set[str]]:
    """Sensor -> the states (of an angle sensor the places) of it that were seen since the last work on its path."""
    after = {position_of(system, observation) for observation, _judgement in judged if observation.after_work} - {""}
    worked = {one for code in after for one in path_of(system, code)}
    seen: dict[str, set[str]] = {code: set() for code in system.wired()}
    for observation, judgement in judged:
        if not isinstance(observation, PinReading | PinByHand) or judgement.verdict != OK:
            continue
        if observation.position in worked and not observation.after_work:
            continue
        for code, state in _shown(system, observation):
            seen[code].add(state)
    return seen


def _shown(system: TopSystem, observation: PinReading | PinByHand) -> Iterable[Seen]:
    if isinstance(observation, PinByHand):
        return shown_by_hand(system, observation.position)
    return shown_in(system, observation.position, pose_of(system, observation.pose))


def shown_in(system: TopSystem, code: str, pose: Mapping[str, str]) -> tuple[Seen, ...]:
    """What a good reading of a pin in `pose` shows, and of which sensors. `code` has the pin."""
    states = [(one, sensor_state(system.positions[one], pose)) for one in path_of(system, code)]
    released = [(one, state) for one, state in states if state == RELEASED]
    if len(states) > 1 and released:
        return tuple(released) if len(released) == 1 else ()
    return tuple(states)


def shown_by_hand(system: TopSystem, code: str) -> tuple[Seen, ...]:
    """What a good reading by hand shows: the switch in both states, the one held pressed beside it made."""
    return *((one, MADE) for one in path_of(system, code)), (code, RELEASED)


def trigger_brings(system: TopSystem, code: str) -> frozenset[str]:
    """The states of a contact that must be seen in a pose to prove its trigger, because a hand does not need it.

    Both; but of two switches in series that let go together in every pose the pin cannot tell whose trigger did, so
    released is left to the hand.
    """
    if len(path_of(system, code)) == 1:
        return frozenset({MADE, RELEASED})
    traces = [trace for motion in system.motions for trace in fault_free(system, motion)]
    poses = [*system.poses.values(), *(trace.after for trace in traces)]
    shown = {state for pose in poses for one, state in shown_in(system, code, pose) if one == code}
    return frozenset(shown | {MADE})


def _state(seen: set[str], angle: bool) -> ProofState:
    if angle:
        return ProofState(made=len(seen) >= 1, released=len(seen) >= 2)
    return ProofState(made=MADE in seen, released=RELEASED in seen)
