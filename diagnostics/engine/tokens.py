"""Which outcomes of its check an entry stands for: one, or near a limit several with their shares.

The outcomes of a check at a position are those of the table of what faults show (`observe.py`).
"""

from diagnostics.engine import levels, observe, signals
from diagnostics.engine.case import (
    Battery,
    Click,
    Continuity,
    Look,
    Observation,
    PinByHand,
    PinReading,
    PressureHold,
    Wiggle,
)
from diagnostics.engine.electrics import BATTERY_FIT_V, CHARGE_FIRST_V, CHARGER_RUNNING_V, ohms_u, spread, volts_u
from diagnostics.engine.faults import modes_of
from diagnostics.engine.hold import hold_token
from diagnostics.engine.motion import MADE, RELEASED, due_at, pose_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin, pin_of

Seen = tuple[tuple[int, float], ...]
"""Index of an outcome and its share of the entry; shares sum to 1."""
OPEN_OHM = 10_000.0
"""From here on a wire counts as open: leakage over damp plastic reads as some tens of kilo-ohms (common practice, no
source)."""


def outcome_of(system: TopSystem, observation: Observation) -> tuple[str, str, Seen] | None:
    """(check, what was due, outcomes) of an entry at a position; None where it says nothing."""
    match observation:
        case PinReading(position=code, volts=volts, supply_volts=float(supply)):
            due = due_at(system, code, pose_of(system, observation.pose))
            position = system.positions[code]
            tokens = observe.CONTACT_TOKENS if position.watches is None else observe.ANGLE_TOKENS
            return "pin", due, _seen(tokens, levels.pin_tokens(system, position, volts, supply, due))
        case PinByHand():
            return _by_hand(system, observation)
        case Click(heard=heard):
            return "click", "", _one(int(not heard))
        case Wiggle(steady=steady):
            return "wiggle", "", _one(int(not steady))
        case Continuity(position=code, ohms=ohms):
            return "continuity", "", _continuity(system, code, ohms)
        case Look(position=code, found=found):
            names = ("nothing", *modes_of(system, code))
            return ("look", "", _one(names.index(found))) if found in names else None
        case PressureHold():
            token = hold_token(system, observation)
            return ("pressure-hold", "", _one(observe.HOLD_TOKENS.index(token))) if token else None
        case Battery(volts=volts):
            return _battery(volts, system.supply_v / 12.0)
    return None


def _one(outcome: int) -> Seen:
    return ((outcome, 1.0),)


def _seen(tokens: tuple[str, ...], shares: dict[str, float]) -> Seen:
    return tuple(sorted((tokens.index(token), share) for token, share in shares.items()))


def _by_hand(system: TopSystem, observation: PinByHand) -> tuple[str, str, Seen] | None:
    supply = observation.supply_volts
    if supply is None:
        return None
    position, tokens = system.positions[at_pin(system, observation.position)], observe.CONTACT_TOKENS
    pressed = _seen(tokens, levels.pin_tokens(system, position, observation.pressed_volts, supply, MADE))
    released = _seen(tokens, levels.pin_tokens(system, position, observation.released_volts, supply, RELEASED))
    return "pin-by-hand", "", tuple((i * len(tokens) + j, a * b) for i, a in pressed for j, b in released)


def _continuity(system: TopSystem, code: str, ohms: float | None) -> Seen:
    """Outcomes of CONTINUITY_TOKENS."""
    if ohms is None:
        return _one(2)
    limits = signals.wire_limit_ohm(pin_of(system, code)), OPEN_OHM
    return _seen(observe.CONTINUITY_TOKENS, _spread(observe.CONTINUITY_TOKENS, ohms, ohms_u(ohms), limits))


def _battery(volts: float, scale: float) -> tuple[str, str, Seen] | None:
    """Limits are those of a 12 V battery, times `scale`."""
    if volts > CHARGER_RUNNING_V * scale:
        return None
    limits = CHARGE_FIRST_V * scale, BATTERY_FIT_V * scale
    shares = _spread(observe.BATTERY_TOKENS[::-1], volts, volts_u(volts), limits)
    return "battery", "", _seen(observe.BATTERY_TOKENS, shares)


def _spread(tokens: tuple[str, ...], reading: float, u: float, limits: tuple[float, ...]) -> dict[str, float]:
    return levels.in_hundredths(dict(zip(tokens, spread(reading, u, limits), strict=True)))
