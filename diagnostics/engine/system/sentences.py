"""The shape checker's complaints as sentences of ours: what stands there, and what was expected."""

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel

from diagnostics.engine.system.drawn import Cloth, Drawing, DrawnPart, Hold, Move, Shape, Spot
from diagnostics.engine.system.model import (
    Axis,
    Colour,
    Condition,
    Fluid,
    HoldTest,
    Hydraulics,
    Lines,
    Module,
    Motion,
    Pin,
    Position,
    Pump,
    Step,
    TopSystem,
)
from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.words import _

_COLOURS = get_args(Colour)


def finding_of(error: Mapping[str, Any]) -> Finding:
    """One of pydantic's error entries (`ValidationError.errors()`) as a path and a sentence."""
    path = tuple(str(part) for part in error["loc"] if part != "[key]")
    return path, _unknown_field(path) if error["type"] == "extra_forbidden" else words_of(error, path)


def words_of(error: Mapping[str, Any], path: At) -> str:
    """The sentence for one of pydantic's error entries at `path`, of whatever file."""
    kind, value, limits = str(error["type"]), error.get("input"), error.get("ctx") or {}
    name = path[-1] if path else ""
    if kind == "missing":
        if name.isdigit():
            return _("An entry of this list is missing; expected one more.")
        return _("{name} is missing.").format(name=shown(name))
    if kind == "extra_forbidden":
        return _("{name} is not known here.").format(name=shown(name))
    if kind == "literal_error":
        return _not_in_list(value, str(limits["expected"]))
    if kind == "union_tag_invalid":
        return _not_in_list(limits["tag"], str(limits["expected_tags"]))
    if kind == "union_tag_not_found":
        return _("{name} is missing.").format(name=shown(str(limits["discriminator"]).strip("'")))
    if kind == "string_pattern_mismatch":
        expected = _patterns().get(str(limits["pattern"]), _("another spelling"))
        return _("{value} was found; expected {expected}.").format(value=shown(value), expected=expected)
    found = _("Nothing") if value is None else _kind_of(value)
    return _("{found} was found; expected {expected}.").format(found=found, expected=_expected(kind, limits))


def _patterns() -> dict[str, str]:
    return {
        r"^[A-Z]{2}[0-9]{1,2}$": _("a reference designation: two capital letters and a number, such as BG3"),
        r"^[a-z0-9]+(-[a-z0-9]+)*$": _("small letters and digits, words joined by hyphens, such as raise-lid"),
        r"^[A-Z]$": _("the row of the connector as one capital letter"),
        r"^\d{4}-(0[1-9]|1[0-2])$": _("a month as YYYY-MM"),
        r"^\d{4}-\d{2}-\d{2}$": _("a day as YYYY-MM-DD"),
    }


def _kind_of(value: object) -> str:
    if isinstance(value, dict):
        return _("A group of entries")
    if isinstance(value, (list, tuple)):
        return _("A list of {count}").format(count=len(value))
    return shown(value)


def _expected(kind: str, limits: Mapping[str, Any]) -> str:
    """What the failed rule wanted, by pydantic's name for the rule."""
    table = {
        "string_type": _("text (a number that is meant as text goes in quotes)"),
        "string_too_short": _("some text"),
        "string_too_long": _("at most {max_length} characters"),
        "int_type": _("a whole number"),
        "int_parsing": _("a whole number"),
        "int_from_float": _("a whole number"),
        "float_type": _("a number"),
        "float_parsing": _("a number"),
        "finite_number": _("a number"),
        "bool_type": _("true or false"),
        "bool_parsing": _("true or false"),
        "greater_than": _("more than {gt}"),
        "greater_than_equal": _("at least {ge}"),
        "less_than": _("less than {lt}"),
        "less_than_equal": _("at most {le}"),
        "too_short": _("at least {min_length}"),
        "too_long": _("at most {max_length}"),
        "tuple_type": _("a list"),
        "dict_type": _("a group of named entries"),
        "model_type": _("a group of named entries"),
    }
    return table.get(kind, _("another value")).format(**limits)


def _not_in_list(value: object, expected: str) -> str:
    if expected.startswith("'BK'"):
        words = _("{value} is no colour code of IEC 60757; expected one of {codes}.")
        return words.format(value=shown(value), codes=", ".join(_COLOURS))
    known = expected.replace(" or ", ", ").replace("'", "")
    return _("{value} is not known here; expected one of: {known}.").format(value=shown(value), known=known)


def _unknown_field(path: At) -> str:
    model = _model_at(path[:-1])
    fields = [field.alias or name for name, field in model.model_fields.items()]
    close = get_close_matches(path[-1][:60], fields, n=1)
    if close:
        words = _("{name} is not known here; did you mean {close}?")
        return words.format(name=shown(path[-1]), close=shown(close[0]))
    words = _("{name} is not known here; expected only: {known}.")
    return words.format(name=shown(path[-1]), known=", ".join(fields))


def _model_at(path: At) -> type[BaseModel]:
    """The model that describes the entry at `path`."""
    if not path:
        return TopSystem
    if path == ("module",):
        return Module
    if path[0] == "drawing":
        return _drawn_at(path[1:])
    if path[0] == "hydraulics":
        parts: dict[str, type[BaseModel]] = {"fluid": Fluid, "pump": Pump, "lines": Lines, "hold": HoldTest}
        return parts.get(path[-1], Hydraulics)
    if len(path) == 2:
        named: dict[str, type[BaseModel]] = {"axes": Axis, "positions": Position, "motions": Motion}
        return named.get(path[0], Condition)
    if path[0] == "positions" and path[2:] == ("pin",):
        return Pin
    return Step if path[0] == "motions" else Condition


def _drawn_at(path: At) -> type[BaseModel]:
    """The model of the entry at `path` below `drawing`."""
    if not path:
        return Drawing
    if path[0] == "parts":
        return {2: DrawnPart, 4: Move if path[2:3] == ("places",) else Shape}.get(len(path), DrawnPart)
    if path[0] == "cloth":
        return Cloth if len(path) == 2 else Hold
    return Spot if path[0] == "spots" else Shape
