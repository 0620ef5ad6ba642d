"""The arithmetic of a reading: dividers, meters, batteries. Pure functions, SI units."""

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from math import erf, hypot, sqrt

METER_OHM = 10e6
"""Input resistance of an ordinary digital multimeter on its direct-voltage ranges."""
METER_PERCENT, METER_DIGITS, METER_STEP_V = 0.5, 3, 0.01
"""Accuracy assumed for the shop's meter on its 20 V range: ±(0.5 % of reading + 3 digits of 0.01 V), the form and size
of a published specification of a hand-held meter (gvda-instrument.com, multimeter error)."""
METER_FINEST_V = 0.001
"""Last place of a reading on the 2 V range; what is typed beyond it is no accuracy."""
OHM_PERCENT, OHM_DIGITS, OHM_STEP = 1.0, 3, 0.1
"""The same on the lowest range of resistance, ±(1 % of reading + 3 digits of 0.1 Ω): from memory."""

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


def typed_step(reading: float) -> float:
    """The last decimal place that a reading was typed with, 0.001 to 0.1. A number keeps no zeros at its end, and
    nobody reads a meter to whole volts: 13 is mostly 13.0 or 13.00."""
    exponent = Decimal(repr(float(reading))).normalize().as_tuple().exponent
    return float(10.0 ** min(-1, max(-3, int(exponent))))


def volts_u(reading: float) -> float:
    """Standard uncertainty in volts of a reading as it was typed.

    The meter's tolerance as a rectangular half-width a gives a/√3. With three decimals it was read on the 2 V range;
    with fewer than two its last place was rounded away.
    """
    step = typed_step(reading)
    half = meter_tolerance(reading, step=min(METER_STEP_V, max(METER_FINEST_V, step)))
    return (half + (step / 2 if step > METER_STEP_V else 0.0)) / sqrt(3)


def share_u(volts: float, supply: float) -> float:
    """Standard uncertainty of volts/supply, both as typed, combined in first order as if independent (GUM, 5.1.2)."""
    return hypot(volts_u(volts), volts / supply * volts_u(supply)) / supply


def ohms_u(reading: float) -> float:
    """Standard uncertainty in ohms of a reading of resistance, its tolerance taken as for volts."""
    return meter_tolerance(reading, OHM_PERCENT, OHM_DIGITS, OHM_STEP) / sqrt(3)


def spread(reading: float, u: float, edges: Sequence[float]) -> tuple[float, ...]:
    """Chance that the true value lies below the first edge, between the first and the second …, above the last.

    Normal around `reading` with the standard uncertainty `u`; `edges` rising. Sums to 1.
    """
    below = [0.0, *(0.5 * (1.0 + erf((edge - reading) / (u * sqrt(2)))) for edge in edges), 1.0]
    return tuple(high - low for low, high in pairwise(below))


def state_of_charge(volts: float, table: Sequence[tuple[float, float]] = OCV_SOC_FLOODED) -> float:
    """Percent, linear between the points of `table` (falling volts), held at its ends."""
    if volts >= table[0][0]:
        return table[0][1]
    for (upper_v, upper), (lower_v, lower) in pairwise(table):
        if volts >= lower_v:
            return lower + (upper - lower) * (volts - lower_v) / (upper_v - lower_v)
    return table[-1][1]
