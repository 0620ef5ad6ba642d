"""What one row of a table of checks says, as an observation of a case file: without the books, and before any system
takes it."""

import re
from typing import Any

from django.utils.translation import gettext as _

from diagnostics.models import CheckKind
from reports.bring.base import Cells
from reports.records.values import number, text
from shop.errors import ShopError

_KINDS = {
    "pin": CheckKind.PIN, "volts": CheckKind.PIN, "voltage": CheckKind.PIN, "spannung": CheckKind.PIN,
    "pin-by-hand": CheckKind.PIN_BY_HAND, "by hand": CheckKind.PIN_BY_HAND, "von hand": CheckKind.PIN_BY_HAND,
    "click": CheckKind.CLICK, "klick": CheckKind.CLICK, "klicken": CheckKind.CLICK,
    "wiggle": CheckKind.WIGGLE, "wackeln": CheckKind.WIGGLE, "wackelprobe": CheckKind.WIGGLE,
    "continuity": CheckKind.CONTINUITY, "ohms": CheckKind.CONTINUITY, "durchgang": CheckKind.CONTINUITY,
    "motion": CheckKind.MOTION, "trial": CheckKind.MOTION, "bewegung": CheckKind.MOTION, "probelauf": CheckKind.MOTION,
    "look": CheckKind.LOOK, "visual": CheckKind.LOOK, "sicht": CheckKind.LOOK, "sichtprüfung": CheckKind.LOOK,
    "pressure-hold": CheckKind.PRESSURE_HOLD, "hold": CheckKind.PRESSURE_HOLD, "druck": CheckKind.PRESSURE_HOLD,
    "battery": CheckKind.BATTERY, "batterie": CheckKind.BATTERY,
}  # fmt: skip
_YES = frozenset({"yes", "ok", "good", "heard", "steady", "ran", "ja", "i.o.", "io", "gut", "stabil", "1", "true"})
_NO = frozenset({"no", "failed", "bad", "silent", "not steady", "nein", "n.i.o.", "nio", "defekt", "0", "false"})
_NOTHING = frozenset({"nothing", "ok", "good", "nichts", "i.o.", "io", "gut"})
_OPEN = frozenset({"open", "offen", "ol"})
_MOTIONS = {
    "open": "open", "opening": "open", "öffnen": "open", "oeffnen": "open", "auf": "open",
    "close": "close", "closing": "close", "schließen": "close", "schliessen": "close", "zu": "close",
}  # fmt: skip
_LAMPS = {
    "flashing": "flashing", "blinkt": "flashing", "steady": "steady", "on": "steady", "an": "steady",
    "off": "off", "aus": "off",
}  # fmt: skip
_STEP_TIME = re.compile(r"(.+?)[ :=]+([\d.,]+)(?: ?s)?", re.ASCII)


def said_of(cells: Cells) -> dict[str, Any]:
    """The observation as far as the row says it. ShopError where something is missing, ValueRefused for no number."""
    what = cells.needed("what", _("kind of check")).casefold()
    kind = _KINDS.get(what)
    if kind is None:
        told = _("“{what}” is no kind of check that can be brought; expected one of: {kinds}.")
        raise ShopError(told.format(what=what[:40], kinds=", ".join(dict.fromkeys(_KINDS.values()))))
    return {"check": kind.value, **_said(kind, cells)}


def _said(kind: CheckKind, cells: Cells) -> dict[str, Any]:
    if kind == CheckKind.BATTERY:
        return {"volts": _volts(cells)}
    if kind == CheckKind.MOTION:
        return _trial(cells)
    said: dict[str, Any] = {"position": cells.needed("position", _("position")).upper()}
    if kind == CheckKind.PIN:
        said |= {"volts": _volts(cells), "supply_volts": number(cells.get("supply_volts"))}
        pose = cells.text("pose")
        return said | ({"pose": pose} if pose else {})
    if kind == CheckKind.PIN_BY_HAND:
        pressed = _number(cells, "pressed_volts", _("The volts while it was pressed are missing."))
        released = _number(cells, "released_volts", _("The volts while it was let go are missing."))
        supply = number(cells.get("supply_volts"))
        return said | {"pressed_volts": pressed, "released_volts": released, "supply_volts": supply}
    if kind == CheckKind.PRESSURE_HOLD:
        return said | {
            "bar_start": _number(cells, "bar_start", _("The bar at the start are missing.")),
            "bar_end": _number(cells, "bar_end", _("The bar at the end are missing.")),
            "seconds": _number(cells, "seconds", _("The seconds of the hold are missing.")),
            "oil_c": number(cells.get("oil_c")),
        }
    if kind == CheckKind.CONTINUITY:
        is_open = _OPEN & {cells.text("ohms").casefold(), cells.text("outcome").casefold()}
        ohms = None if is_open else _number(cells, "ohms", _("The ohms are missing; expected a number, or “open”."))
        return said | {"ohms": ohms}
    outcome = cells.needed("outcome", _("outcome"))
    if kind == CheckKind.LOOK:
        return said | {"found": "nothing" if outcome.casefold() in _NOTHING else outcome}
    return said | {"heard" if kind == CheckKind.CLICK else "steady": _yes(outcome)}


def _trial(cells: Cells) -> dict[str, Any]:
    """A whole motion tried. That it ran must be said: an empty cell may as well mean that nobody wrote it down."""
    motion, lamp = cells.needed("motion", _("motion")).casefold(), cells.text("lamp").casefold()
    if motion not in _MOTIONS:
        raise ShopError(_("“{word}” is no motion; expected open or close.").format(word=motion[:40]))
    if lamp and lamp not in _LAMPS:
        raise ShopError(_("“{word}” is no lamp; expected flashing, steady or off.").format(word=lamp[:40]))
    stops_at, outcome = cells.text("stops_at"), cells.text("outcome")
    ran = _yes(outcome) if outcome else False
    if ran == bool(stops_at):
        raise ShopError(
            _("Say either that the motion ran (outcome yes) or the step at which it stopped, and not both.")
        )
    return {
        "motion": _MOTIONS[motion],
        "stops_at": stops_at or None,
        "lamp": _LAMPS.get(lamp),
        "seconds": _step_times(cells),
        "oil_c": number(cells.get("oil_c")),
    }


def _step_times(cells: Cells) -> dict[str, float]:
    """Seconds by step from one cell, such as `raise-lid 3.1; clear-shelf 2,4`."""
    times: dict[str, float] = {}
    for part in filter(None, (part.strip() for part in cells.text("seconds").split(";"))):
        match = _STEP_TIME.fullmatch(part)
        seconds = number(match[2]) if match else None
        if match is None or seconds is None or match[1] in times:
            told = _("“{words}” is no time of a step; expected each step once, such as: raise-lid 3.1; clear-shelf 2.4")
            raise ShopError(told.format(words=part[:60]))
        times[match[1]] = seconds
    return times


def _number(cells: Cells, name: str, missing: str) -> float:
    found = number(cells.get(name))
    if found is None:
        raise ShopError(missing)
    return found


def _volts(cells: Cells) -> float:
    return _number(cells, "volts", _("The volts are missing."))


def _yes(outcome: str) -> bool:
    word = text(outcome).casefold()
    if word not in _YES | _NO:
        raise ShopError(_("“{word}” is no outcome; expected yes or no.").format(word=outcome[:40]))
    return word in _YES
