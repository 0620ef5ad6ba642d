"""Proof: which sensors have been seen both made and released at the module's pin."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from diagnostics.engine.case import Observation, PinByHand, PinReading, position_of
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.results import Judgement, ProofState
from diagnostics.engine.signals import OK, judge
from diagnostics.engine.system.model import TopSystem


def proof_of(system: TopSystem, observations: Iterable[Observation]) -> dict[str, ProofState]:
    """Proof state of every sensor with a pin, in the order of the pins.

    Only readings judged good count: a state that should not be there proves nothing. Where a position has any
    observation made after work, only those count. An angle sensor is proven by two different places read rightly: the
    first counts as made, the second as released.
    """
    pairs = [(observation, judge(system, observation)) for observation in observations]
    return proof_from(system, pairs)


def proof_from(system: TopSystem, judged: Sequence[tuple[Observation, Judgement]]) -> dict[str, ProofState]:
    """The same for observations that are judged already."""
    worked = {position_of(system, o) for o, _judgement in judged if o.after_work}
    seen: dict[str, set[str]] = defaultdict(set)
    for observation, judgement in judged:
        if not isinstance(observation, PinReading | PinByHand) or judgement.verdict != OK:
            continue
        if observation.position in worked and not observation.after_work:
            continue
        seen[observation.position] |= _states(observation, judgement)
    return {code: _state(seen[code], position.watches is not None) for code, position in system.sensors().items()}


def _states(observation: PinReading | PinByHand, judgement: Judgement) -> set[str]:
    return {MADE, RELEASED} if isinstance(observation, PinByHand) else {judgement.reads}


def _state(seen: set[str], angle: bool) -> ProofState:
    if angle:
        return ProofState(made=len(seen) >= 1, released=len(seen) >= 2)
    return ProofState(made=MADE in seen, released=RELEASED in seen)
