"""What an inspection was measured with: which calibration counted, what the uncertainty rests on, and what is said
where none was valid."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from diagnostics.engine.words import _
from diagnostics.paper.kit import day
from reports.document.content import Area, Instrument, InstrumentKind, NotTested, Results
from reports.document.decide import Meter

_AREAS: Final[Mapping[InstrumentKind, Area]] = {
    "multimeter": "electrical",
    "stopwatch": "motion",
    "pressure-gauge": "hydraulics",
    "thermometer": "hydraulics",
}


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A calibration that counts, from `on` to `until`, both included. `expanded_volts`: see Meter."""

    on: date
    until: date
    certificate: str
    laboratory: str
    expanded_volts: float | None = None

    def covers(self, when: date) -> bool:
        return self.on <= when <= self.until


@dataclass(frozen=True, slots=True)
class Used:
    """An instrument that somebody said was used. `percent`, `volts`: a multimeter's accuracy, see Meter."""

    kind: InstrumentKind
    name: str
    serial: str
    calibrations: tuple[Calibrated, ...] = ()
    percent: float | None = None
    volts: float = 0.0


def counted(calibrations: Sequence[Calibrated], days: Sequence[date]) -> Calibrated | None:
    """The calibration to name for an inspection on `days`: the latest that covers all of them, else the latest that was
    made by the last of them; None where there was none by then."""
    whole = [one for one in calibrations if all(one.covers(when) for when in days)]
    made = whole or [one for one in calibrations if days and one.on <= max(days)]
    return max(made, key=lambda one: (one.on, one.until), default=None)


def named(used: Used, days: Sequence[date]) -> Instrument:
    """As the certificate of an inspection on `days` names it."""
    bare = Instrument(used.name, used.serial, kind=used.kind)
    one = counted(used.calibrations, days)
    if one is None:
        return bare
    without = tuple(when for when in sorted(set(days)) if not any(other.covers(when) for other in used.calibrations))
    return replace(
        bare,
        calibrated_on=one.on,
        valid_until=one.until,
        certificate=one.certificate,
        laboratory=one.laboratory,
        not_valid_on=without,
        earlier=any(when < one.on and when not in without for when in days),
    )


def meter_of(used: Iterable[Used], days: Sequence[date]) -> Meter | None:
    """The multimeter among what was used. Where several of its calibrations counted, the largest of their
    uncertainties."""
    one = next((row for row in used if row.kind == "multimeter"), None)
    if one is None:
        return None
    says = named(one, days)
    counting = [row for row in one.calibrations if any(row.covers(when) for when in days)]
    counting = counting or [row for row in [counted(one.calibrations, days)] if row is not None]
    expanded = max((row.expanded_volts for row in counting if row.expanded_volts is not None), default=None)
    return Meter(one.percent, one.volts, expanded, says.valid, f"{one.name} ({one.serial})")


def uncertainty_words(meter: Meter | None) -> str:
    """What the uncertainty of a voltage rests on, to stand after “U from”; '' where no meter is named."""
    if meter is None:
        return ""
    words = _("the usual meter’s allowance, taken as rectangular")
    if meter.percent is not None:
        words = _("the accuracy that its maker states, ±({percent:g} % of reading + {volts:g} V), taken as rectangular")
        words = words.format(percent=meter.percent, volts=meter.volts)
    if meter.expanded_volts is not None:
        more = _("combined with the U of its calibration, {u:g} V, as root sum of squares")
        words = f"{words}, {more.format(u=meter.expanded_volts)}"
    if not meter.valid:
        less = _("never smaller than the usual meter’s, since no calibration of it was valid on every day")
        words = f"{words}; {less}"
    return f"{meter.words}: {words}"


def untraced(results: Results, instruments: Iterable[Instrument]) -> Iterator[NotTested]:
    """A row for each instrument that something was measured with while its calibration was not valid."""
    kinds = _measured(results)
    for one in instruments:
        if one.kind in kinds and one.not_valid_on:
            why = _("{lapse}: what was measured with it stands, but rests on no valid calibration.")
            what = _("Calibration of {name} ({serial})").format(name=one.name, serial=one.serial)
            yield NotTested(_AREAS[one.kind], what, why.format(lapse=lapse_words(one)))


def remarks(results: Results, instruments: Iterable[Instrument]) -> Iterator[str]:
    """What the statement says of limits that were decided with an instrument whose calibration was not valid."""
    units = {row.unit for row in results.limits}
    decided = {"multimeter": (_("Voltages"), "share of supply"), "stopwatch": (_("Step times"), "s")}
    for one in instruments:
        what, unit = decided.get(one.kind, ("", ""))
        if one.not_valid_on and unit in units:
            words = _("{what} were decided with {name} ({serial}). {lapse}.")
            yield words.format(what=what, name=one.name, serial=one.serial, lapse=lapse_words(one))


def lapse_words(one: Instrument) -> str:
    """Since when, or on which days, no calibration was valid."""
    if one.valid_until is not None and one.not_valid_on and one.valid_until < one.not_valid_on[0]:
        return _("Its calibration expired on {day}").format(day=day(one.valid_until))
    days = ", ".join(day(on) for on in one.not_valid_on)
    return _("No calibration of it was valid on {days}").format(days=days)


def _measured(results: Results) -> frozenset[InstrumentKind]:
    """The kinds with which something of `results` was measured."""
    kinds: set[InstrumentKind] = set()
    if results.readings or any(row.area == "electrical" for row in results.observed):
        kinds.add("multimeter")
    if any(step.seconds is not None for trial in results.trials for step in trial.steps):
        kinds.add("stopwatch")
    if results.holds:
        kinds.add("pressure-gauge")
    if any(oil is not None for oil in [row.oil_c for row in results.holds] + [row.oil_c for row in results.trials]):
        kinds.add("thermometer")
    return frozenset(kinds)
