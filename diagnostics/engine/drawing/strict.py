"""What faults do at their plainest: each shows what it shows most often, so that a motion can be played to where it
stops.

A picture to understand a system by, no evidence: how often a fault shows what is weighed in the inference. A weak
contact counts as made and a voltage between the thresholds as released; an angle sensor that is not right reports no
place; a drive that fails more often than not does not arrive.
"""

from collections.abc import Iterable, Mapping

from diagnostics.engine.motion import MADE, RELEASED, sensor_state
from diagnostics.engine.observe import (
    ANGLE_SHOWS,
    ANGLE_TOKENS,
    CONTACT_SHOWS,
    CONTACT_TOKENS,
    MOVES,
    PRECEDENCE,
    Shares,
)
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import BETWEEN, SENSORS, Position, Step, TopSystem
from diagnostics.engine.system.series import path_of, pin_of


def strict_reports(system: TopSystem, pose: Mapping[str, str], faults: Iterable[Fault], held: str) -> dict[str, str]:
    """What the module is told by every sensor in `pose` under `faults`, the control switch `held` being held."""
    known = frozenset(faults)
    codes = (code for code, one in system.positions.items() if one.kind in SENSORS)
    return {code: _at_pin(system, code, pose, known, held) for code in codes}


def strict_arrives(system: TopSystem, step: Step, faults: Iterable[Fault]) -> str:
    """The position that keeps the step from arriving, or ''."""
    for fault in sorted(faults):
        kind = system.positions[fault.position].kind
        takes_part = fault.position in step.driven_by or kind in ("supply", "module")
        if takes_part and MOVES.get((kind, fault.mode), 1.0) < 0.5:
            return fault.position
    return ""


def _at_pin(system: TopSystem, code: str, pose: Mapping[str, str], faults: frozenset[Fault], held: str) -> str:
    path = path_of(system, code)
    if any(fault.input in path for fault in faults):
        return BETWEEN if system.positions[code].watches is not None else RELEASED
    pin = pin_of(system, code)
    shorted = BETWEEN if pin.bands is not None else MADE if pin.made_reads == "low" else RELEASED
    shown = []
    for one in path:
        position = system.positions[one]
        state = MADE if one == held else sensor_state(position, pose)
        modes = [fault.mode for fault in faults if fault.position == one and fault.mode in PRECEDENCE]
        if "shorted-to-ground" in modes:
            if one == path[0]:
                return shorted
            shown.append(shorted)  # the link wire stands in for the contact behind it
        else:
            shown.append(_shown(position, state, min(modes, key=PRECEDENCE.index)) if modes else state)
    return shown[0] if all(state == shown[0] for state in shown) else RELEASED


def _shown(position: Position, state: str, mode: str) -> str:
    if position.watches is not None:
        return state if _likeliest(ANGLE_TOKENS, ANGLE_SHOWS[mode]) == "right" else BETWEEN
    shares = CONTACT_SHOWS[mode][0 if state == MADE else 1]
    return MADE if _likeliest(CONTACT_TOKENS, shares) in ("made", "weak") else RELEASED


def _likeliest(tokens: tuple[str, ...], shares: Shares) -> str:
    return max(zip(shares, tokens, strict=True), key=lambda pair: pair[0])[1]
