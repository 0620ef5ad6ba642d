"""Two switches wired in series to one pin: which belong together, and what the pin is due to show.

The wire goes from the module's pin to the switch that has the pin, from there by the link wire to its *twin*, and on
to ground (or to the feed). So the pin reads made only while both contacts are made. What is due at such a pin is
written as the states of both contacts, the one with the pin first: `made&released`.
"""

from diagnostics.engine.system.model import Pin, TopSystem

AND = "&"


def twin_of(system: TopSystem, code: str) -> str | None:
    """The switch wired in series behind `code`, which has the pin; None where it stands alone."""
    return next((other for other, one in system.positions.items() if one.in_series_with == code), None)


def at_pin(system: TopSystem, code: str) -> str:
    """The position whose pin reads the sensor `code`: its own, or the one that it is wired in series with."""
    return system.positions[code].in_series_with or code


def path_of(system: TopSystem, code: str) -> tuple[str, ...]:
    """All positions that share the pin of `code`, the one with the pin first; of anything else itself alone."""
    first = at_pin(system, code)
    twin = twin_of(system, first)
    return (first,) if twin is None else (first, twin)


def partner_of(system: TopSystem, code: str) -> str | None:
    """The other switch on the same pin."""
    return next((other for other in path_of(system, code) if other != code), None)


def pin_of(system: TopSystem, code: str) -> Pin:
    """The pin at which the sensor `code` is read. Raises KeyError for a position that no pin reads."""
    pin = system.positions[at_pin(system, code)].pin
    if pin is None:
        raise KeyError(code)
    return pin


def reported(due: str) -> str:
    """What a sound pin shows when `due` is due: `made` only if every contact on it is made."""
    states = due.split(AND)
    return states[0] if all(state == states[0] for state in states) else "released"
