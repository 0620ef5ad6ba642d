"""The shipped soft top whose latch switches are in series on one pin, for tests; what its pin shows, written apart from
the engine."""

from functools import cache
from itertools import product

from diagnostics.engine import effects, observe
from diagnostics.engine.case import parse_case
from diagnostics.engine.faults import MODES
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.systems import shipped, text_of

BOW = shipped("softbow-hydro")
FIRST, TWIN = "BG6", "BG7"
"""The left latch switch has the pin; the right one is in series with it."""
TOKENS = observe.CONTACT_TOKENS
SWITCH = tuple(mode.name for mode in MODES["switch"])
LATCHES_OPEN = {"cover-latch": "open"}
SUPPLY = 12.5


@cache
def apart() -> TopSystem:
    """The same top with the right switch at the lid itself: with the latches open and the lid shut they differ."""
    text = text_of("softbow-hydro")
    start = text.index("in_series_with")
    mended = text[start:].replace("{at: {cover-latch: locked}}", "{at: {cover: shut}}", 1)
    return load_system(text[:start] + mended, "apart")


def pin(share, pose="closed", code=FIRST, **more):
    volts = round(SUPPLY * share, 3)
    return {"check": "pin", "position": code, "pose": pose, "volts": volts, "supply_volts": SUPPLY} | more


def by_hand(code, pressed=0.01, released=0.99, **more):
    volts = {"pressed_volts": SUPPLY * pressed, "released_volts": SUPPLY * released, "supply_volts": SUPPLY}
    return {"check": "pin-by-hand", "position": code} | volts | more


def click(code, heard):
    return {"check": "click", "position": code, "heard": heard}


def case_of(*entries, **more):
    data = {"system": "softbow-hydro", "car": {"made_on": "2012-03"}, "seen_on": "2024-05-06"}
    return parse_case(data | {"observations": list(entries)} | more)


def contact(modes, state):
    """Distribution over TOKENS of one switch alone, straight from the table: written apart from the engine."""
    for mode in observe.PRECEDENCE:
        if mode in modes and mode == "shorted-to-ground":
            return observe.SHORTED_LOW
        if mode in modes:
            return observe.CONTACT_SHOWS[mode][("made", "released").index(state)]
    return observe.CONTACT_SOUND[state]


def both(first, second, due_first, due_second):
    """The pin, by walking all pairs of tokens; a main wire at ground is seen before either contact."""
    alone = contact(first, due_first)
    if "shorted-to-ground" in first:
        return dict(zip(TOKENS, alone, strict=True))
    found = dict.fromkeys(TOKENS, 0.0)
    second_shows = contact(second, due_second)
    for (one, p), (other, q) in product(zip(TOKENS, alone, strict=True), zip(TOKENS, second_shows, strict=True)):
        if one == other == "weak":
            found["weak"] += 0.213 * p * q
            found["between"] += 0.787 * p * q
        elif one == other == "between":
            found["between"] += 0.772 * p * q
            found["released"] += 0.228 * p * q
        else:
            found[max(one, other, key=TOKENS.index)] += p * q
    return found


def marked(first, second):
    return frozenset(first) | {effects.TWIN + mode for mode in second}
