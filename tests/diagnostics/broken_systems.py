"""Broken copies of the shipped systems, one for each rule of the validator, and what must be said about each."""

from dataclasses import dataclass

from tests.diagnostics.systems import text_of

TRIO, BOW, LINE = "rht-trio", "softbow-hydro", "softline-electro"


@dataclass(frozen=True)
class Broken:
    """In `slug`, `old` (the first one after `after`) becomes `new`; `words` are said of `path`, in `seen`'s line."""

    slug: str
    old: str
    new: str
    path: str
    words: str
    after: str = ""
    seen: str = ""

    def text(self) -> str:
        text = text_of(self.slug)
        start = text.index(self.old, text.index(self.after))
        return text[:start] + self.new + text[start + len(self.old) :]

    def line(self) -> int:
        """The line of `seen` (looked for from `after` on), or where the change begins."""
        text = self.text()
        start = text.index(self.after)
        found = text.index(self.seen, start) if self.seen else text_of(self.slug).index(self.old, start)
        return text.count("\n", 0, found) + 1


SHAPE = {
    "missing field": Broken(
        TRIO, "  pull_up_ohm: 1000\n", "", "module.pull_up_ohm", "“pull_up_ohm” is missing.", seen="module:"
    ),
    "unknown field": Broken(
        TRIO, "made_when", "made_wen", "positions.BG1.made_wen",
        "“made_wen” is not known here; did you mean “made_when”?"
    ),
    "unknown field, nothing like it": Broken(
        BOW, "watches: top", "wheel: 4", "positions.BG8.wheel", "“wheel” is not known here; expected only: kind, name,"
    ),
    "unknown field of a step": Broken(
        TRIO, "lamp:", "lamps:", "motions.open.steps.0.lamps", "did you mean “lamp”?", after="unlock-header"
    ),
    "colour": Broken(
        TRIO, "[BN, WH]", "[BL, WH]", "positions.BG1.pin.colours.0",
        "“BL” is no colour code of IEC 60757; expected one of BK,"
    ),
    "kind": Broken(
        TRIO, "kind: switch", "kind: swich", "positions.BG1.kind", "“swich” is not known here; expected one of: switch,"
    ),
    "number as text": Broken(
        TRIO, "minutes: 25", "minutes: long", "positions.KF1.minutes", "“long” was found; expected a number."
    ),
    "bound": Broken(
        TRIO, "number: 1,", "number: 0,", "positions.SF1.pin.number", "“0” was found; expected at least 1."
    ),
    "not a number": Broken(
        TRIO, "[1.2, 2.2]", "[nan, 2.2]", "motions.open.steps.0.seconds.0", "“nan” was found; expected a number."
    ),
    "code": Broken(
        TRIO, "  BG1:\n", "  Bg1:\n", "positions.Bg1", "“Bg1” was found; expected a reference designation: two capital"
    ),
    "slug": Broken(
        TRIO, "name: unlock-header", "name: Unlock it", "motions.open.steps.0.name",
        "expected small letters and digits, words joined"
    ),
    "nothing": Broken(
        TRIO, "ends_when: {BG4: made}", "ends_when:", "motions.open.steps.2.ends_when",
        "Nothing was found; expected a group of named entries.",
    ),
    "group for text": Broken(
        TRIO, "name: Header latch locked", "name: {a: b}", "positions.BG1.name",
        "A group of entries was found; expected text"
    ),
    "half a move": Broken(
        TRIO, "[locked, open]}\n        driven", "[locked]}\n        driven",
        "motions.open.steps.0.moves.header-latch.1",
        "An entry of this list is missing; expected one more.", after="motions:",
    ),
    "one place": Broken(
        LINE, "places: [extended, stowed]", "places: [extended]", "axes.top.places",
        "A list of 1 was found; expected at least 2."
    ),
    "third motion": Broken(
        TRIO, "  open:\n    title", "  half:\n    title", "motions.half",
        "“half” is not known here; expected one of: open, close."
    ),
}  # fmt: skip

SENSE = {
    "place twice": Broken(
        BOW, "[extended, upright, stowed]", "[extended, upright, stowed, upright]", "axes.top.places.3",
        "The place “upright” is named twice.",
    ),
    "kept word": Broken(
        LINE, "[taken-out, fitted]", "[taken-out, fitted, between]", "axes.deflector.places.2",
        "“between” is kept for what a sensor reports; choose another name for this place.",
    ),
    "pose without an axis": Broken(
        LINE, "stow-latch: open, ", "", "poses.closed",
        "A resting pose says where every axis stands; missing: stow-latch.",
    ),
    "pose, unknown axis": Broken(
        LINE, "deflector: taken-out}", "deflector: taken-out, roof: up}", "poses.closed.roof",
        "The axis “roof” is not declared",
    ),
    "pose, unknown place": Broken(
        LINE, "{header-latch: locked, top", "{header-latch: half, top", "poses.closed.header-latch",
        "The axis header-latch has no place “half”; expected one of: locked, open.",
    ),
    "condition, unknown axis": Broken(
        TRIO, "at: {lid: shut}", "at: {lidd: shut}", "positions.BG3.made_when.at.lidd",
        "The axis “lidd” is not declared",
    ),
    "condition, unknown place": Broken(
        TRIO, "at: {lid: shut}", "any: [{at: {lid: ajar}}]", "positions.BG3.made_when.any.0.at.lid",
        "has no place “ajar”",
    ),
    "condition, unknown place under not": Broken(
        LINE, "{deflector: fitted}", "{deflector: lost}", "positions.BG6.made_when.not.at.deflector",
        "has no place “lost”",
    ),
    "condition of two kinds": Broken(
        TRIO, "{at: {lid: shut}}", "{at: {lid: shut}, not: {at: {lid: open}}}", "positions.BG3.made_when",
        "A condition says exactly one of at, any, all, not; 2 were found.",
    ),
    "condition of no kind": Broken(
        TRIO, "{at: {lid: shut}}", "{}", "positions.BG3.made_when", "exactly one of at, any, all, not; 0 were found.",
    ),
    "empty condition": Broken(
        TRIO, "{at: {lid: shut}}", "{all: []}", "positions.BG3.made_when.all", "The condition is empty",
    ),
    "condition of no place": Broken(
        TRIO, "at: {lid: shut}", "at: {lid: []}", "positions.BG3.made_when.at.lid", "No place is named",
    ),
    "watched axis": Broken(
        BOW, "watches: top", "watches: roof", "positions.BG8.watches", "The axis “roof” is not declared",
    ),
    "module not declared": Broken(
        TRIO, "position: KF1", "position: KF2", "module.position", "The position KF2 is not declared.",
    ),
    "module of another kind": Broken(
        TRIO, "position: KF1", "position: GB1", "module.position", "GB1 is of kind supply; expected one of: module.",
    ),
    "thresholds": Broken(
        TRIO, "low_share: 0.30", "low_share: 0.70", "module.low_share", "expected low_share to be the smaller one.",
    ),
    "letters of a position": Broken(
        TRIO, "  MA1:\n", "  MM7:\n", "positions.MM7", "A motor carries the letter code MA (IEC 81346-2), not MM.",
    ),
    "letters of a connector": Broken(
        TRIO, "connector: XG2", "connector: WG2", "positions.SF1.pin.connector",
        "A connector carries the letter code XG",
    ),
    "sensor without pin": Broken(
        LINE, "    pin: {connector: XG1, row: A, number: 9, colours: [TQ, WH], area_mm2: 0.35, length_m: 1.4}\n", "",
        "positions.BG6", "A switch needs pin, which is missing.", seen="  BG6:\n    kind",
    ),
    "switch without condition": Broken(
        LINE, "    made_when: {at: {top: stowed}}\n", "", "positions.BG4",
        "A switch needs made_when, which is missing.",
        seen="  BG4:\n    kind",
    ),
    "condition of a cylinder": Broken(
        BOW, "    bore_mm: 20\n", "    bore_mm: 20\n    made_when: {at: {top: stowed}}\n", "positions.MM1.made_when",
        "A cylinder has no made_when; only these have one: hall-sensor, switch.", after="  MM1:", seen="made_when",
    ),
    "bore of a motor": Broken(
        LINE, "    cautions: [pinch, spring, battery]\n", "    bore_mm: 3\n", "positions.MA1.bore_mm",
        "A motor has no bore_mm",
    ),
    "rod and bore": Broken(
        BOW, "rod_mm: 10", "rod_mm: 20", "positions.MM1.rod_mm",
        "The rod (20.0 mm) is not thinner than the bore (20.0 mm).",
    ),
    "pin twice": Broken(
        TRIO, "XG1, row: A, number: 4", "XG1, row: A, number: 3", "positions.BG4.pin.number",
        "The pin XG1/A3 is already that of BG3; every pin carries one sensor.",
    ),
    "bands of a switch": Broken(
        LINE, "length_m: 0.9}", "length_m: 0.9, bands: {open: [0.1, 0.2]}}", "positions.BG5.pin.bands",
        "A switch has no bands",
    ),
    "no bands": Broken(
        BOW, "      bands: {extended: [0.10, 0.22], upright: [0.44, 0.56], stowed: [0.78, 0.90]}\n", "",
        "positions.BG8.pin",
        "An angle-sensor needs bands, which are missing", after="  BG8:", seen="pin:",
    ),
    "band of a place missing": Broken(
        BOW, "upright: [0.44, 0.56], ", "", "positions.BG8.pin.bands", "There is no band for: upright.",
    ),
    "band of an unknown place": Broken(
        BOW, "upright: [0.44, 0.56]", "upright: [0.44, 0.56], lost: [0.6, 0.7]", "positions.BG8.pin.bands.lost",
        "The watched axis has no place “lost”",
    ),
    "band inverted": Broken(
        BOW, "upright: [0.44, 0.56]", "upright: [0.56, 0.44]", "positions.BG8.pin.bands.upright",
        "The band is 0.56 to 0.44",
    ),
    "bands overlap": Broken(
        BOW, "upright: [0.44, 0.56]", "upright: [0.22, 0.56]", "positions.BG8.pin.bands.upright",
        "The bands of extended and upright touch or overlap",
    ),
    "command": Broken(
        TRIO, "command: SF2", "command: BG1", "motions.open.command",
        "BG1 is of kind switch; expected one of: control-switch.",
    ),
    "start pose": Broken(
        TRIO, "start: closed", "start: ajar", "motions.open.start",
        "The pose “ajar” is not declared; expected one of: closed, open.",
    ),
    "ends where it starts": Broken(
        LINE, "end: open", "end: closed", "motions.open.end", "The motion ends in the pose in which it starts.",
        after="motions:",
    ),
    "step name twice": Broken(
        TRIO, "name: raise-lid", "name: release-lid", "motions.open.steps.2.name",
        "The step name “release-lid” stands 2 times",
    ),
    "moves, unknown axis": Broken(
        TRIO, "moves: {lid: [shut, open]}", "moves: {hood: [shut, open]}", "motions.open.steps.2.moves.hood",
        "is not declared",
    ),
    "moves, unknown place": Broken(
        TRIO, "moves: {lid: [shut, open]}", "moves: {lid: [shut, ajar]}", "motions.open.steps.2.moves.lid",
        "has no place “ajar”",
    ),
    "moves by hand": Broken(
        TRIO, "moves: {lid: [shut, open]}", "moves: {lid: [shut, open], divider: [in-place, lifted]}",
        "motions.open.steps.2.moves.divider", "The axis divider is moved by hand; no step can move it.",
    ),
    "moves nowhere": Broken(
        TRIO, "moves: {lid: [shut, open]}", "moves: {lid: [shut, shut]}", "motions.open.steps.2.moves.lid",
        "The step moves lid from shut to shut; expected another place.",
    ),
    "driven by a switch": Broken(
        TRIO, "driven_by: [MA1]", "driven_by: [BG1]", "motions.open.steps.3.driven_by.0",
        "BG1 is of kind switch; expected one of:",
    ),
    "driven by nobody known": Broken(
        TRIO, "driven_by: [MA1]", "driven_by: [MA9]", "motions.open.steps.3.driven_by.0",
        "The position MA9 is not declared.",
    ),
    "waits for a pump": Broken(
        TRIO, "starts_when: {BG4: made}", "starts_when: {GP1: made}", "motions.open.steps.3.starts_when.GP1",
        "GP1 is of kind pump",
    ),
    "waits for what a switch cannot say": Broken(
        TRIO, "starts_when: {BG4: made}", "starts_when: {BG4: open}", "motions.open.steps.3.starts_when.BG4",
        "BG4 cannot report “open”; expected one of: made, released.",
    ),
    "waits for what an angle sensor cannot say": Broken(
        BOW, "ends_when: {BG8: stowed}", "ends_when: {BG8: made}", "motions.open.steps.4.ends_when.BG8",
        "BG8 cannot report “made”; expected one of: extended, upright, stowed.",
    ),
    "seconds inverted": Broken(
        TRIO, "seconds: [4.0, 5.5]", "seconds: [5.5, 4.0]", "motions.open.steps.4.seconds",
        "The usual seconds are 5.5 to 4.0",
    ),
    "seconds above the limit": Broken(
        TRIO, "limit_seconds: 11", "limit_seconds: 5", "motions.open.steps.4.limit_seconds",
        "up to 5.5 s, but the limit is 5.0 s",
    ),
}  # fmt: skip

RUN = {
    "motion missing": Broken(
        LINE, text_of(LINE)[text_of(LINE).index("  close:\n    title") :], "", "motions",
        "The motion “close” is missing",
        seen="motions:",
    ),
    "not the way back": Broken(
        LINE, "end: closed", "end: half", "motions.close.end", "expected the way back of opening, open to closed.",
    ),
    "starts elsewhere": Broken(
        TRIO, "moves: {stack: [up, stowed]}", "moves: {stack: [stowed, up]}", "motions.open.steps.5.moves.stack",
        "The step stow-stack moves stack from stowed, but the run stands at up then.",
    ),
    "never starts": Broken(
        TRIO, "starts_when: {BG10: made, BG4: made}", "starts_when: {BG9: made, BG4: made}",
        "motions.open.steps.6.starts_when.BG9",
        "The step lay-shelf never starts: it waits for BG9 made, which is released in a sound top then.",
    ),
    "waits for the other control switch": Broken(
        TRIO, "SF2: made, SF1: released", "SF2: made, SF1: made", "motions.open.steps.0.starts_when.SF1",
        "it waits for SF1 made, which is released in a sound top then.",
    ),
    "never ends": Broken(
        TRIO, "ends_when: {BG11: made}", "ends_when: {BG11: made, BG10: made}", "motions.open.steps.3.ends_when.BG10",
        "The step clear-shelf never ends: it waits for BG10 made, which is released after its moves.",
    ),
    "ends at once": Broken(
        TRIO, "ends_when: {BG11: made}", "ends_when: {BG4: made}", "motions.open.steps.3.ends_when",
        "The step clear-shelf would end at once",
    ),
    "does not lead to the end pose": Broken(
        LINE, "moves: {stow-latch: [open, locked]}", "moves: {stow-latch: [open, held]}", "motions.open.end",
        "The motion does not end in the pose open; after the last step these differ: stow-latch: held.",
        seen="end: open", after="motions:",
    ),
    "never exercised": Broken(
        TRIO, "made_when: {at: {trunk: closed}}", "made_when: {any: [{at: {trunk: closed}}, {at: {trunk: open}}]}",
        "positions.BG13", "BG13 only ever reports made: no motion and no axis moved by hand changes it.",
        seen="  BG13:\n",
    ),
}  # fmt: skip

ALL = SHAPE | SENSE | RUN


def text_broken(name: str, broken: Broken) -> str:
    """The broken copy; two cases need a second, sound change so that only the rule in question is broken."""
    text = broken.text()
    if name == "not the way back":
        half = "  half: {header-latch: open, top: extended, stow-latch: open, deflector: taken-out}\n"
        return text.replace("\npositions:", half + "\npositions:")
    if name == "does not lead to the end pose":
        return text.replace("places: [open, locked]}", "places: [open, locked, held]}")
    return text
