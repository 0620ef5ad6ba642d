"""Guard-banded decisions on measured limits.

The rule is that of ILAC-G8:09/2019, 4.2.3, with the guard band equal to the expanded uncertainty (w = U, coverage 95
%), as a statement with four outcomes: the risk of accepting what is outside the limit is below 2.5 % for `pass`, and
up to 50 % for `conditional pass`. The rule is fixed before measuring and printed in the document.
"""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt
from typing import Literal

from diagnostics.engine.electrics import meter_tolerance

Outcome = Literal["pass", "conditional pass", "conditional fail", "fail"]
ORDER: tuple[Outcome, ...] = ("pass", "conditional pass", "conditional fail", "fail")

STOPWATCH_U_S = 0.5
"""Expanded uncertainty of step seconds taken by hand, reaction at both ends: common practice, no source."""


def decide(value: float, upper: float, uncertainty: float) -> Outcome:
    """The outcome for `value` against the upper limit `upper`, both in one unit with the expanded `uncertainty` (k =
    2).

    Raises ValueError where a figure is not finite or the uncertainty is negative. ILAC-G8:09/2019, 4.2.3.
    """
    if not (isfinite(value) and isfinite(upper) and isfinite(uncertainty)) or uncertainty < 0:
        raise ValueError(
            f"a decision needs finite figures and an uncertainty of 0 or more, got {value}, {upper}, {uncertainty}"
        )
    if value <= upper - uncertainty:
        return "pass"
    if value <= upper:
        return "conditional pass"
    return "conditional fail" if value <= upper + uncertainty else "fail"


def worst(outcomes: list[Outcome]) -> Outcome | None:
    return max(outcomes, key=ORDER.index) if outcomes else None


@dataclass(frozen=True, slots=True)
class Share:
    """A reading as a share of the supply, with its expanded uncertainty (both without unit)."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Meter:
    """A voltmeter that was named for an inspection.

    `percent` of the reading + `volts`: the half-width that its maker states; None where nobody looked it up, and the
    usual meter's allowance stands for it. `expanded_volts`: expanded uncertainty (k = 2) of its calibration; None where
    the certificate states none. `valid`: whether a calibration was valid on every day of the inspection. `words`: which
    meter it is, for people.
    """

    percent: float | None = None
    volts: float = 0.0
    expanded_volts: float | None = None
    valid: bool = False
    words: str = ""


def meter_uncertainty(volts: float, meter: Meter | None = None) -> float:
    """Expanded uncertainty (k = 2) of a reading in volts.

    Without a named meter it is the usual meter's allowance as a rectangular half-width, 2·a/√3 (GUM, 4.3.7). With one,
    its maker's accuracy takes the place of the allowance, combined with the U of its calibration as root sum of squares
    (GUM, 5.1.2).

    What a maker states holds for a meter whose calibration is valid. Where it was not, on one day of the inspection or
    on all, nobody knows what the meter showed: U is then never smaller than the usual meter's, so that a meter whose
    calibration has expired decides nothing more surely than one that nobody named, and a poor one keeps its own U.
    """
    usual = 2 * meter_tolerance(volts) / sqrt(3)
    if meter is None:
        return usual
    stated = usual if meter.percent is None else 2 * (abs(volts) * meter.percent / 100.0 + meter.volts) / sqrt(3)
    own = hypot(stated, meter.expanded_volts or 0.0)
    return own if meter.valid else max(own, usual)


def share_of_supply(volts: float, supply: float, meter: Meter | None = None) -> Share:
    """volts / supply, the uncertainties of both readings combined in first order as if independent (GUM, 5.1.2). What
    both readings of one meter share would make it smaller, never larger: it is left in."""
    if supply <= 0:
        raise ValueError(f"the supply must be above 0 V, got {supply}")
    value = volts / supply
    part, whole = meter_uncertainty(volts, meter) / supply, value * meter_uncertainty(supply, meter) / supply
    return Share(value, sqrt(part**2 + whole**2))
