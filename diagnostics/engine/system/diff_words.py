"""The words of a comparison of two system files: what each field is called and how a value reads in a sentence."""

import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from diagnostics.engine.poses import place_words, plain
from diagnostics.engine.system.model import Axis, Condition, Pin, Position, Step
from diagnostics.engine.words import _

_NAME = re.compile(r"[A-Z]{2,3}[0-9]*|[a-z0-9]+(-[a-z0-9]+)*|XG[0-9]+/[A-Z][0-9]+")


def group_words(group: str) -> str:
    """The heading over the changes of a part of the file."""
    return {
        "module": _("Module"),
        "axes": _("Axes"),
        "poses": _("Poses"),
        "positions": _("Positions"),
        "motions": _("Motions"),
        "hydraulics": _("Hydraulics"),
        "drawing": _("Drawing"),
        "inspection": _("Inspection"),
    }.get(group, _("System"))


def field_words(name: str) -> str:
    """What a field of the file is called; a field without words of its own goes by its name."""
    return (_of_system() | _of_positions() | _of_motions() | _of_fluid() | _of_drawing() | _of_inspection()).get(
        name, plain(name)
    )


def _of_system() -> dict[str, str]:
    return {
        "system": _("name of the system"),
        "title": _("title"),
        "kind": _("kind"),
        "revision": _("revision"),
        "supply_v": _("nominal supply in V"),
        "module": _("module"),
        "axes": _("axis"),
        "poses": _("pose"),
        "positions": _("position"),
        "motions": _("motion"),
        "hydraulics": _("hydraulics"),
        "drawing": _("drawing"),
        "inspection": _("inspection"),
        "position": _("position"),
        "minutes": _("minutes to reach"),
        "low_share": _("low up to this share of the supply"),
        "high_share": _("high from this share of the supply"),
        "pull_up_ohm": _("pull-up in Ω"),
        "places": _("places"),
        "moved": _("moved by"),
    }


def _of_positions() -> dict[str, str]:
    return {
        "name": _("name"),
        "place": _("place"),
        "part": _("part"),
        "pin": _("pin"),
        "connector": _("connector"),
        "row": _("row"),
        "number": _("number"),
        "colours": _("colours of the wire"),
        "area_mm2": _("area of the wire in mm²"),
        "length_m": _("length in m"),
        "made_reads": _("made reads"),
        "bands": _("band of"),
        "made_when": _("made when"),
        "watches": _("watches"),
        "in_series_with": _("in series with"),
        "bore_mm": _("bore in mm"),
        "rod_mm": _("rod in mm"),
        "stroke_mm": _("stroke in mm"),
        "cautions": _("cautions"),
    }


def _of_motions() -> dict[str, str]:
    return {
        "command": _("commanded by"),
        "start": _("begins in"),
        "end": _("ends in"),
        "steps": _("step"),
        "moves": _("moves"),
        "driven_by": _("driven by"),
        "starts_when": _("starts when"),
        "ends_when": _("ends when"),
        "seconds": _("usual seconds"),
        "limit_seconds": _("limit in seconds"),
        "lamp": _("lamp at a stall"),
    }


def _of_fluid() -> dict[str, str]:
    return {
        "fluid": _("fluid"),
        "pump": _("pump"),
        "lines": _("lines"),
        "hold": _("pressure hold"),
        "density_kg_m3": _("density in kg/m³"),
        "viscosity": _("viscosity (°C/mm²/s)"),
        "flow_l_min": _("flow in l/min"),
        "relief_bar": _("relief pressure in bar"),
        "test_bar": _("test pressure in bar"),
        "usual_loss_bar": _("usual loss in bar"),
    }


def _of_drawing() -> dict[str, str]:
    return {
        "body": _("outline of the car"),
        "parts": _("part"),
        "cloth": _("cloth"),
        "spots": _("spot"),
        "look": _("look"),
        "closed": _("closed outline"),
        "smooth": _("smooth line"),
        "points": _("points"),
        "turn": _("turn"),
        "shift": _("shift"),
        "away": _("taken out"),
        "axis": _("axis"),
        "hangs_on": _("hangs on"),
        "pivot": _("pivot"),
        "shapes": _("shape"),
        "at": _("where it sits"),
        "to": _("where its rod ends"),
        "to_hangs_on": _("what its rod hangs on"),
        "holds": _("hold"),
    }


def _of_inspection() -> dict[str, str]:
    return {
        "trials": _("trials of each motion"),
        "water_minutes": _("minutes of the water test"),
        "without": _("without"),
        "extra": _("item"),
        "area": _("area"),
        "wants": _("wants"),
        "weighty": _("weighty"),
    }


def value_words(value: Any, field: str = "") -> str:
    """A value of the file as it stands in a sentence."""
    if value is None:
        return _("nothing")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, (int, float)):
        return str(value).removesuffix(".0")
    if isinstance(value, str):
        return value if _NAME.fullmatch(value) else f"“{value}”"
    if isinstance(value, Condition):
        return condition_words(value)
    if isinstance(value, Pin):
        return value.label
    if isinstance(value, BaseModel):
        return value_words({name: getattr(value, name) for name in type(value).model_fields})
    if isinstance(value, Mapping):
        return ", ".join(f"{plain(key)} {value_words(one, field)}" for key, one in value.items()) or _("nothing")
    return _list_words(tuple(value), field)


def _list_words(values: tuple[Any, ...], field: str) -> str:
    if not values:
        return _("nothing")
    if all(isinstance(one, (int, float)) for one in values):
        return ("–" if field in ("seconds", "bands") else "/").join(value_words(one) for one in values)
    if field == "moves" and len(values) == 2:
        return _("from {start} to {end}").format(start=place_words(values[0]), end=place_words(values[1]))
    return ("/" if field == "colours" else ", ").join(value_words(one, field) for one in values)


def condition_words(condition: Condition) -> str:
    """A condition over axes: 'lid open and roof folded or raised'."""
    if condition.at is not None:
        held = (f"{plain(axis)} {_or(place_words(one) for one in places)}" for axis, places in condition.at.items())
        return _(" and ").join(held) or _("always")
    if condition.negated is not None:
        return _("not ({condition})").format(condition=condition_words(condition.negated))
    inner = [f"({condition_words(one)})" for one in condition.all or condition.any or ()]
    return _(" and ").join(inner) if condition.all else _or(inner)


def _or(words: Any) -> str:
    return _(" or ").join(words)


def about_words(entry: Any) -> str:
    """What a new entry is, in one line; '' where its name says it all."""
    if isinstance(entry, Position):
        said = [plain(entry.kind), entry.place]
        if entry.pin is not None:
            said.append(_("pin {pin}").format(pin=entry.pin.label))
        if entry.made_when is not None:
            said.append(_("made when {condition}").format(condition=condition_words(entry.made_when)))
        return ", ".join(said)
    if isinstance(entry, Step):
        return ", ".join(f"{plain(axis)} {value_words(pair, 'moves')}" for axis, pair in entry.moves.items())
    return value_words(entry.places) if isinstance(entry, Axis) else ""
