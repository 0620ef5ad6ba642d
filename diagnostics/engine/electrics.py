"""The arithmetic of a reading: dividers, meters, batteries. Pure functions, SI units."""

from collections.abc import Sequence
from itertools import pairwise

METER_OHM = 10e6
"""Input resistance of an ordinary digital multimeter on its direct-voltage ranges."""
METER_PERCENT, METER_DIGITS, METER_STEP_V = 0.5, 2, 0.01
"""Accuracy assumed for the shop's meter on its 20 V range: ±(0.5 % of reading + 2 digits of 0.01 V); from memory."""

OCV_SOC_FLOODED: tuple[tuple[float, float], ...] = ((12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0))
"""Open-circuit volts and state of charge in percent of a flooded 12 V battery at 26.7 °C, rested (table credited to
BCI)."""
BATTERY_FIT_V = 12.45
CHARGE_FIRST_V = 12.0
"""Below this open-circuit voltage nothing else about a top is judged before charging: common practice, no source."""
CHARGER_RUNNING_V = 13.2
"""Above this no battery stands at rest: a charger or the alternator is running (from memory)."""


def contact_ohm(volts: float, supply: float, pull_up_ohm: float) -> float:
    """Ohms behind a pull-up that leave `volts` at the pin: Rc = Rp·V/(Vs−V). Infinite where nothing pulls the pin
    down."""
    if volts >= supply:
        return float("inf")
    return pull_up_ohm * max(volts, 0.0) / (supply - volts)


def pin_volts(contact: float, supply: float, pull_up_ohm: float) -> float:
    """Volts at a pulled-up pin over a contact of `contact` ohms: V = Vs·Rc/(Rp+Rc)."""
    if contact == float("inf"):
        return supply
    return supply * contact / (pull_up_ohm + contact)


def behind_meter(ohms: float, meter_ohm: float = METER_OHM) -> float:
    """The resistance that shows as `ohms` with a meter of `meter_ohm` across it; infinite where only the meter does."""
    return ohms * meter_ohm / (meter_ohm - ohms) if ohms < meter_ohm else float("inf")


def meter_tolerance(
    reading: float, percent: float = METER_PERCENT, digits: int = METER_DIGITS, step: float = METER_STEP_V
) -> float:
    """Half-width of a reading in its own unit: ±(percent of reading + digits of the last place `step`)."""
    return abs(reading) * percent / 100.0 + digits * step


def state_of_charge(volts: float, table: Sequence[tuple[float, float]] = OCV_SOC_FLOODED) -> float:
    """Percent, linear between the points of `table` (falling volts), held at its ends."""
    if volts >= table[0][0]:
        return table[0][1]
    for (upper_v, upper), (lower_v, lower) in pairwise(table):
        if volts >= lower_v:
            return lower + (upper - lower) * (volts - lower_v) / (upper_v - lower_v)
    return table[-1][1]
