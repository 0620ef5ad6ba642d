"""What was measured with, in the same words on paper and on the page of the certificate."""

from diagnostics.engine.words import _
from diagnostics.paper.kit import day
from reports.document.compose.instruments import lapse_words
from reports.document.content import Certificate, Instrument, InstrumentKind


def instrument_words(one: Instrument) -> str:
    """Name, serial number and calibration, and plainly where none was valid."""
    name = f"{one.name} ({one.serial})" if one.serial else one.name
    if one.calibrated_on is None:
        return _("{name}; no calibration is claimed").format(name=name)
    words = _("{name}; calibrated on {day}").format(name=name, day=day(one.calibrated_on))
    if one.certificate:
        paper = _("certificate {number} of {laboratory}")
        words += ", " + paper.format(number=one.certificate, laboratory=one.laboratory)
    if one.not_valid_on:
        return f"{words}. {lapse_words(one)}."
    if one.valid_until is not None:
        words += ", " + _("valid until {day}").format(day=day(one.valid_until))
    return words + (", " + _("and before that by an earlier one") if one.earlier else "")


def measured_with(content: Certificate, kind: InstrumentKind) -> str:
    """The instrument of a kind in a sentence; '' where none is named."""
    return "".join(f"{instrument_words(one)}." for one in content.instruments if one.kind == kind).replace("..", ".")
