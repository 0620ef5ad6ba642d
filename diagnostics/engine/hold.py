"""The pressure hold: a cylinder or the pump under pressure, shut off, and what the gauge loses in a while.

Made at one place: the gauge at the cylinder or at the pump, everything behind it shut off, the temperature settled.
A leak through a gap is laminar, so its flow goes with the pressure, and the pressure of a shut volume falls off
exponentially: a hold that was shorter, or began lower, than the usual one is compared with the share that the usual
one may lose in that time.
"""

from diagnostics.engine.case import PressureHold
from diagnostics.engine.hydraulics import BAR_PER_KELVIN, leak_ml_min, trapped_ml
from diagnostics.engine.results import Judgement
from diagnostics.engine.system.model import HoldTest, TopSystem
from diagnostics.engine.words import _

GUARD_BAR = 2.0
"""Two readings of one gauge, each to the nearest bar: common practice, no source. A loss beyond what is usual counts
only when it is beyond by more than this."""
LEAST_OF_TEST = 0.5
"""A hold says something from this share of the usual pressure and of the usual seconds on: common practice, no
source."""
ROUNDING = 1e-9
"""A loss that is just the limit holds, however its figure was rounded."""
DROPPED = 0.5
"""Share of the pressure whose loss is no sinking any more: the volume is open. Common practice, no source."""
ABOVE_RELIEF = 1.1
"""A pressure further above the relief valve's is a wrong gauge or another pump: common practice, no source."""


def usual_loss_bar(hold: HoldTest, bar_start: float, seconds: float) -> float:
    """What a sound volume may lose of `bar_start` in `seconds`."""
    kept = 1.0 - hold.usual_loss_bar / hold.test_bar
    return float(bar_start * (1.0 - kept ** (seconds / hold.seconds)))


def hold_token(system: TopSystem, seen: PressureHold) -> str | None:
    """holds | sinks | drops; None where the hold says nothing (too low, too short, above the relief valve)."""
    hydraulics = system.hydraulics
    if hydraulics is None or why_not(system, seen) or _why_little(hydraulics.hold, seen):
        return None
    lost = seen.bar_start - seen.bar_end
    if lost <= usual_loss_bar(hydraulics.hold, seen.bar_start, seen.seconds) + GUARD_BAR + ROUNDING:
        return "holds"
    return "sinks" if lost < DROPPED * seen.bar_start else "drops"


def why_not(system: TopSystem, seen: PressureHold) -> str:
    """Why the reading cannot be, or ''."""
    relief = system.hydraulics.pump.relief_bar if system.hydraulics is not None else 0.0
    if system.hydraulics is None or seen.bar_start <= ABOVE_RELIEF * relief:
        return ""
    words = _("{bar:g} bar is more than the relief valve of {relief:g} bar lets through: look at the gauge again.")
    return words.format(bar=seen.bar_start, relief=relief)


def _why_little(hold: HoldTest, seen: PressureHold) -> str:
    if seen.bar_start < LEAST_OF_TEST * hold.test_bar:
        words = _("begun at {bar:g} bar, too low to say much: {test:g} bar are usual")
        return words.format(bar=seen.bar_start, test=hold.test_bar)
    if seen.seconds < LEAST_OF_TEST * hold.seconds:
        words = _("held for {seconds:g} s, too short to say much: {usual:g} s are usual")
        return words.format(seconds=seen.seconds, usual=hold.seconds)
    return ""


def judge_hold(system: TopSystem, seen: PressureHold) -> Judgement:
    """The verdict against the usual hold, with the leak as a lower bound and what temperature can do to it."""
    refused = why_not(system, seen)
    if refused or system.hydraulics is None:
        return Judgement("refused", refused)
    told = _told(seen)
    little = _why_little(system.hydraulics.hold, seen)
    if little:
        return Judgement("note", _("{told}; {why}.").format(told=told, why=little))
    usual = usual_loss_bar(system.hydraulics.hold, seen.bar_start, seen.seconds)
    if hold_token(system, seen) == "holds":
        words = _("{told}: holds; up to {usual:.0f} bar are usual, ± {guard:g} bar of the gauge.")
        return Judgement("ok", words.format(told=told, usual=usual, guard=GUARD_BAR))
    words = _("{told}; only up to {usual:.0f} bar are usual, ± {guard:g} bar of the gauge.")
    parts = [words.format(told=told, usual=usual, guard=GUARD_BAR), _leak_words(system, seen), _settled_words(seen)]
    return Judgement("finding", " ".join(filter(None, parts)))


def _told(seen: PressureHold) -> str:
    words = _("{code} went from {start:g} to {end:g} bar in {seconds:g} s")
    return words.format(code=seen.position, start=seen.bar_start, end=seen.bar_end, seconds=seen.seconds)


def least_leak_ml_min(system: TopSystem, seen: PressureHold) -> float | None:
    """The least that left the shut volume by the minute; None where its size is not declared."""
    trapped = trapped_ml(system, seen.position)
    if trapped is None:
        return None
    return leak_ml_min(trapped, seen.bar_start - seen.bar_end, seen.seconds)


def _leak_words(system: TopSystem, seen: PressureHold) -> str:
    leak = least_leak_ml_min(system, seen)
    if leak is None:
        return ""
    words = _("At least {leak:.3f} ml a minute leave it by calculation; with air or hoses in it, several times that.")
    return words.format(leak=leak)


def _settled_words(seen: PressureHold) -> str:
    if seen.oil_c is None:
        words = _("Fluid that cools loses about {bar:.0f} bar a kelvin by itself: let it settle, then hold again.")
    else:
        words = _(
            "Fluid that cools loses about {bar:.0f} bar a kelvin by itself ({oil:g} °C when measured): hold again when "
            "it has settled."
        )
    return words.format(bar=BAR_PER_KELVIN, oil=seen.oil_c)
