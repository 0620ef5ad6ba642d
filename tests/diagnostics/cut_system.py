"""Smaller copies of the largest shipped system, sound by the validator: for sizes that no shipped system has."""

from collections.abc import Collection
from functools import cache

import yaml

from diagnostics.engine.system import TopSystem
from diagnostics.engine.system.load import load_system
from tests.diagnostics.systems import text_of

SHELF = ("shelf", "BG11", "MA1")
BY_HAND = ("divider", "BG12", "trunk", "BG13")
HEADER = ("header-latch", "BG1", "BG2", "MM6", "MB1")
TWINS = ("BG6", "MB3", "MM2", "MM4")


@cache
def twelve_switches() -> TopSystem:
    """Without shelf, divider and trunk: twelve switches (the two of the console with them), 127 faults."""
    return cut("rht-trio", {*SHELF, *BY_HAND})


@cache
def about_ninety_faults() -> TopSystem:
    """Without header latch and the right-hand twins as well: nine switches, 92 faults."""
    return cut("rht-trio", {*SHELF, *BY_HAND, *HEADER, *TWINS})


def cut(slug: str, gone: Collection[str]) -> TopSystem:
    """A shipped system without these axes and positions, and without the steps that move such an axis."""
    data = yaml.safe_load(text_of(slug))
    data.pop("drawing", None)
    data["system"] = f"{slug}-cut"
    data["axes"] = _left(data["axes"], gone)
    data["positions"] = _left(data["positions"], gone)
    data["poses"] = {name: _left(pose, gone) for name, pose in data["poses"].items()}
    for motion in data["motions"].values():
        motion["steps"] = [step for step in motion["steps"] if not set(step["moves"]) & set(gone)]
        for step in motion["steps"]:
            step["driven_by"] = [code for code in step["driven_by"] if code not in gone]
            for wanted in ("starts_when", "ends_when"):
                step[wanted] = _left(step[wanted], gone)
    return load_system(yaml.safe_dump(data, allow_unicode=True), "cut")


def _left(entries: dict, gone: Collection[str]) -> dict:
    return {key: value for key, value in entries.items() if key not in gone}
