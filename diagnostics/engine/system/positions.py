"""Rules of positions that need no motion: letter codes, what each kind of position has and has not, pins, bands."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from diagnostics.engine.system.model import KIND_LETTERS, SENSORS, Pin, Position, TopSystem
from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.words import _

_CONTACTS = frozenset({"switch", "hall-sensor"})
_ANGLE = frozenset({"angle-sensor"})
_CYLINDER = frozenset({"cylinder"})

KINDS_WITH: Mapping[str, frozenset[str]] = {
    "pin": SENSORS,
    "made_when": _CONTACTS,
    "watches": _ANGLE,
    "in_series_with": frozenset({"switch"}),
    "bore_mm": _CYLINDER,
    "rod_mm": _CYLINDER,
    "stroke_mm": _CYLINDER,
}
"""Field of a position -> the kinds of position that have it; every other kind must not."""

_NEEDED = ("pin", "made_when", "watches")


def missing_fields(system: TopSystem) -> Iterator[Finding]:
    """Fields without which a sensor of its kind sees nothing."""
    for code, position in system.positions.items():
        for name in _NEEDED:
            if name == "pin" and position.in_series_with is not None:
                continue  # read at the pin of the other one
            if position.kind in KINDS_WITH[name] and getattr(position, name) is None:
                words = _("A {kind} needs {field}, which is missing.")
                yield ("positions", code), words.format(kind=position.kind, field=name)


def series_findings(system: TopSystem) -> Iterator[Finding]:
    """Mistakes of switches in series: on one pin are exactly two, and one of them has it."""
    taken: dict[str, str] = {}
    for code, position in system.positions.items():
        first = position.in_series_with
        if first is None:
            continue
        at = ("positions", code, "in_series_with")
        other = system.positions.get(first)
        if position.pin is not None:
            words = _("{code} has a pin of its own; a switch in series with {first} is read at the pin of that one.")
            yield at, words.format(code=code, first=first)
        elif first == code:
            yield (
                at,
                _("{code} cannot be in series with itself; expected the switch that has the pin.").format(code=code),
            )
        elif other is None:
            yield at, _("The position {code} is not declared.").format(code=first)
        elif other.kind != "switch":
            words = _("{code} is of kind {kind}; only two switches can be in series on one pin.")
            yield at, words.format(code=first, kind=other.kind)
        elif other.in_series_with is not None:
            words = _("{first} has no pin of its own; expected the switch that has it. On one pin are two, not three.")
            yield at, words.format(first=first)
        elif taken.setdefault(first, code) != code:
            words = _("{twin} is in series with {first} already; on one pin are two switches, not three.")
            yield at, words.format(twin=taken[first], first=first)


def position_findings(system: TopSystem) -> Iterator[Finding]:
    for code, position in system.positions.items():
        at = ("positions", code)
        letters = KIND_LETTERS[position.kind]
        if not code.startswith(letters):
            words = _("A {kind} carries the letter code {letters} (IEC 81346-2), not {found}.")
            yield at, words.format(kind=position.kind, letters=letters, found=code[:2])
        yield from _fields(at, position)
        if position.pin is not None:
            yield from _pin(system, (*at, "pin"), position, position.pin)
    yield from _pins_used_twice(system)


def _fields(at: At, position: Position) -> Iterator[Finding]:
    for name, kinds in KINDS_WITH.items():
        given = getattr(position, name) is not None
        if given and position.kind not in kinds:
            words = _("A {kind} has no {field}; only these have one: {kinds}.")
            yield (*at, name), words.format(kind=position.kind, field=name, kinds=", ".join(sorted(kinds)))
    if position.bore_mm is not None and position.rod_mm is not None and position.rod_mm >= position.bore_mm:
        words = _("The rod ({rod} mm) is not thinner than the bore ({bore} mm).")
        yield (*at, "rod_mm"), words.format(rod=position.rod_mm, bore=position.bore_mm)


def _pin(system: TopSystem, at: At, position: Position, pin: Pin) -> Iterator[Finding]:
    if not pin.connector.startswith("XG"):
        words = _("A connector carries the letter code XG (IEC 81346-2), not {found}.")
        yield (*at, "connector"), words.format(found=pin.connector[:2])
    if position.kind not in _ANGLE:
        if pin.bands is not None:
            yield (*at, "bands"), _("A {kind} has no bands; only an angle-sensor has them.").format(kind=position.kind)
        return
    axis = system.axes.get(position.watches or "")
    if pin.bands is None:
        yield at, _("An angle-sensor needs bands, which are missing: a voltage band for every place of its axis.")
    elif axis is not None:
        yield from _bands(at, pin.bands, axis.places)


def _bands(at: At, bands: Mapping[str, tuple[float, float]], places: tuple[str, ...]) -> Iterator[Finding]:
    here = (*at, "bands")
    missing = [place for place in places if place not in bands]
    if missing:
        yield here, _("There is no band for: {places}.").format(places=", ".join(missing))
    for place, (low, high) in bands.items():
        if place not in places:
            words = _("The watched axis has no place {place}; expected one of: {known}.")
            yield (*here, place), words.format(place=shown(place), known=", ".join(places))
        if not 0 <= low < high <= 1:
            words = _("The band is {low} to {high}; expected two shares of the supply, 0 <= low < high <= 1.")
            yield (*here, place), words.format(low=low, high=high)
    by_low = sorted(bands.items(), key=lambda item: item[1])
    for (first, (_low, high)), (second, (low, _high)) in pairwise(by_low):
        if low <= high:
            words = _("The bands of {first} and {second} touch or overlap; a voltage must mean one place.")
            yield (*here, second), words.format(first=first, second=second)


def _pins_used_twice(system: TopSystem) -> Iterator[Finding]:
    taken: dict[str, str] = {}
    for code, position in system.positions.items():
        if position.pin is None:
            continue
        first = taken.setdefault(position.pin.label, code)
        if first != code:
            words = _("The pin {pin} is already that of {first}; every pin carries one sensor.")
            yield ("positions", code, "pin", "number"), words.format(pin=position.pin.label, first=first)
