"""A small top, made straight from the model, for tests of the engine: a lid over a roof, one pump, a Hall and an
angle sensor.

Closing: lid up, roof over, lid down. `divider` is moved by hand and must be shut before anything moves.
"""

from typing import Any

from diagnostics.engine.system.model import TopSystem


def _pin(number: int, **more: Any) -> dict[str, Any]:
    return {
        "connector": "XG1",
        "row": "A",
        "number": number,
        "colours": ["BN", "WH"],
        "area_mm2": 0.5,
        "length_m": 4.0,
    } | more


def _at(**places: str) -> dict[str, Any]:
    return {"at": places}


def _position(kind: str, name: str, place: str, minutes: float, **more: Any) -> dict[str, Any]:
    return {"kind": kind, "name": name, "place": place, "minutes": minutes, "part": "TW-TST-0001"} | more


POSITIONS: dict[str, Any] = {
    "SF1": _position("control-switch", "opening switch", "console", 3, pin=_pin(1)),
    "SF2": _position("control-switch", "closing switch", "console", 3, pin=_pin(2)),
    "BG1": _position("switch", "divider", "boot", 2, pin=_pin(3), made_when=_at(divider="shut")),
    "BG2": _position("switch", "lid down", "boot", 12, pin=_pin(4), made_when=_at(lid="down"), cautions=["prop"]),
    "BG3": _position("switch", "lid up", "boot", 12, pin=_pin(5), made_when=_at(lid="up"), cautions=["prop"]),
    "BG4": _position(
        "switch", "roof folded", "roof well", 20, pin=_pin(6, made_reads="high"), made_when=_at(roof="folded")
    ),
    "BG5": _position("hall-sensor", "roof on the header", "header", 15, pin=_pin(7), made_when=_at(roof="raised")),
    "BG6": _position(
        "angle-sensor",
        "roof angle",
        "roof well",
        25,
        pin=_pin(8, bands={"folded": [0.10, 0.30], "raised": [0.65, 0.90]}),
        watches="roof",
    ),
    "GP1": _position("pump", "pump", "boot", 15, cautions=["pressure"]),
    "MM1": _position("cylinder", "lid cylinder", "boot", 20, cautions=["pressure", "prop"]),
    "MM2": _position("cylinder", "roof cylinder", "roof well", 40, cautions=["pressure"]),
    "QM1": _position("valve", "roof valve", "boot", 20),
    "KF1": _position("module", "control module", "boot", 8),
    "GB1": _position("supply", "battery", "boot", 4, cautions=["battery"]),
}


def _step(
    name: str, moves: dict[str, Any], by: list[str], start: dict[str, str], end: dict[str, str]
) -> dict[str, Any]:
    return {
        "name": name,
        "title": name.replace("-", " "),
        "moves": moves,
        "driven_by": by,
        "starts_when": start,
        "ends_when": end,
        "seconds": [4.0, 6.0],
        "limit_seconds": 12.0,
    }


_LID_UP = _step(
    "lid-up",
    {"lid": ["down", "up"]},
    ["GP1", "MM1"],
    {"BG1": "made", "BG2": "made", "BG3": "released"},
    {"BG3": "made"},
)
_LID_DOWN = _step("lid-down", {"lid": ["up", "down"]}, ["GP1", "MM1"], {"BG3": "made"}, {"BG2": "made"})

DATA: dict[str, Any] = {
    "system": "small-top",
    "title": "Small top for tests",
    "kind": "retractable-hardtop",
    "revision": 1,
    "supply_v": 12.0,
    "module": {"position": "KF1", "minutes": 8, "pull_up_ohm": 1000},
    "axes": {
        "lid": {"title": "lid", "places": ["down", "up"]},
        "roof": {"title": "roof", "places": ["folded", "raised"]},
        "divider": {"title": "luggage divider", "places": ["shut", "lifted"], "moved": "by_hand"},
    },
    "poses": {
        "top-open": {"lid": "down", "roof": "folded", "divider": "shut"},
        "top-closed": {"lid": "down", "roof": "raised", "divider": "shut"},
    },
    "positions": POSITIONS,
    "motions": {
        "close": {
            "title": "Closing",
            "command": "SF2",
            "start": "top-open",
            "end": "top-closed",
            "steps": [
                _LID_UP,
                _step(
                    "roof-over",
                    {"roof": ["folded", "raised"]},
                    ["GP1", "MM2", "QM1"],
                    {"BG3": "made", "BG4": "made"},
                    {"BG5": "made", "BG6": "raised"},
                ),
                _LID_DOWN,
            ],
        },
        "open": {
            "title": "Opening",
            "command": "SF1",
            "start": "top-closed",
            "end": "top-open",
            "steps": [
                _LID_UP,
                _step(
                    "roof-back",
                    {"roof": ["raised", "folded"]},
                    ["GP1", "MM2", "QM1"],
                    {"BG3": "made", "BG5": "made"},
                    {"BG4": "made", "BG6": "folded"},
                ),
                _LID_DOWN,
            ],
        },
    },
}


def small_system(**changes: Any) -> TopSystem:
    return TopSystem.model_validate(DATA | changes)


def case_data(**more: Any) -> dict[str, Any]:
    """A case file's content for the small top."""
    return {"system": "small-top", "car": {"made_on": "2012-03"}, "seen_on": "2024-05-06"} | more


def pin(position: str, share: float, pose: Any = "top-open", **more: Any) -> dict[str, Any]:
    """A pin reading as a share of a supply of 12.5 V."""
    return {
        "check": "pin",
        "position": position,
        "pose": pose,
        "volts": round(12.5 * share, 3),
        "supply_volts": 12.5,
    } | more
