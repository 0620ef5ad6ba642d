"""The items that no reading answers: a person looks, feels or pours water, and judges. Common practice, no source."""

from collections.abc import Iterator

from diagnostics.engine.inspection.items import Grade, Item, Quantity, wrong
from diagnostics.engine.system.inspection import ExtraItem, InspectionRules
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _

ASKED = (
    "surroundings", "leaks", "latches", "linkage", "seals", "cover", "gaps", "emergency-closing", "module-seat",
    "water-traces", "earlier-repairs",
)  # fmt: skip
"""The names that a system file can leave out with a reason."""


def asked(system: TopSystem | None, rules: InspectionRules) -> Iterator[Item]:
    """The items of a system; of a car whose system nobody has declared (None), those of any top."""
    yield _surroundings()
    if system is None or system.hydraulics is not None:
        yield _leaks()
    yield _latches(system)
    yield _linkage()
    yield _seals(rules.water_minutes)
    if system is None or system.kind == "soft-top":
        yield _cover()
    if system is None or system.kind == "retractable-hardtop":
        yield _gaps()
    yield _emergency()
    yield _module()
    yield _traces()
    yield _repairs()
    yield from (_extra(key, one) for key, one in rules.extra.items())


def _surroundings() -> Item:
    return Item(
        "surroundings",
        "whole",
        _("Surroundings"),
        _("Where it was done, the temperature of the air, and whether the car had been standing in the wet or cold."),
        weighty=False,
        grades=(Grade("noted", _("Noted")),),
        quantity=Quantity(_("Air"), "°C", -40, 60, needed=True),
    )


def _leaks() -> Item:
    return Item(
        "leaks",
        "hydraulics",
        _("Leaks"),
        _("A look, with a lamp, at each cylinder, line, union and the pump after the motions. Never feel for a leak."),
        weighty=True,
        cautions=("prop", "pressure", "injection"),
        grades=(
            Grade("dry", _("Dry")),
            wrong("film", _("A film, no drop"), "minor", "film"),
            wrong("drops", _("Drops or runs"), "critical", "fluid"),
        ),
        picture=True,
    )


def _latches(system: TopSystem | None) -> Item:
    latches = [one.name for one in system.positions.values() if one.kind == "latch"] if system else []
    where = _(" Here: {latches}.").format(latches=", ".join(latches)) if latches else ""
    return Item(
        "latches",
        "mechanism",
        _("Latches"),
        _("Each latch engages fully on both sides, and holds when pulled by hand with the drive at rest.") + where,
        weighty=True,
        cautions=("spring", "pinch"),
        grades=(
            Grade("hold", _("Engage and hold")),
            wrong("stiff", _("Hold, unevenly or with force"), "minor", "latch-stiff"),
            wrong("loose", _("One does not hold"), "critical", "latch"),
        ),
    )


def _linkage() -> Item:
    return Item(
        "linkage",
        "mechanism",
        _("Play of the linkage"),
        _("Each main bearing moved by hand across its axis, with the top propped half way; the largest play in mm."),
        weighty=False,
        cautions=("prop", "spring", "pinch", "two-people"),
        grades=(
            Grade("none", _("No play felt")),
            wrong("felt", _("Play felt, not heard"), "minor", "play-felt"),
            wrong("heard", _("Play heard, or an arm bent or loose"), "major", "play"),
        ),
        quantity=Quantity(_("Largest play"), "mm", 0, 50),
    )


def _seals(minutes: float) -> Item:
    wants = _(
        "Water from above and from the sides, without pressure, for {minutes:g} minutes over the closed top; then a "
        "look and a dry hand along every seal, in the boot and in the foot wells, and the drains run."
    )
    return Item(
        "seals",
        "seals",
        _("Seals and drains, with water"),
        wants.format(minutes=minutes),
        weighty=True,
        grades=(
            Grade("dry", _("Dry, drains run")),
            wrong("damp", _("Damp at a seal"), "minor", "damp"),
            wrong("water", _("Water comes in, or a drain is blocked"), "major", "water"),
        ),
        quantity=Quantity(_("Water ran for"), "min", minutes, 600, needed=True),
        picture=True,
    )


def _cover() -> Item:
    return Item(
        "cover",
        "mechanism",
        _("Cloth, rear window, cover and trim"),
        _("The cloth at its folds and edges, stitching, the bond of the rear window, headlining, the cover and trim."),
        weighty=False,
        grades=(
            Grade("sound", _("Sound")),
            wrong("worn", _("Worn or marked"), "minor", "worn"),
            wrong("torn", _("Torn, loose, or catches in a motion"), "major", "cover"),
        ),
        picture=True,
    )


def _gaps() -> Item:
    return Item(
        "gaps",
        "mechanism",
        _("Gaps, cover and trim"),
        _("Gaps and height of the panels against each other and the body when closed; cover, flaps and trim."),
        weighty=False,
        grades=(
            Grade("even", _("Even, nothing loose")),
            wrong("uneven", _("Uneven, no contact"), "minor", "gaps-uneven"),
            wrong("touch", _("Touch, stand out, or trim is loose"), "major", "gaps"),
        ),
        quantity=Quantity(_("Smallest gap"), "mm", 0, 50),
        picture=True,
    )


def _emergency() -> Item:
    return Item(
        "emergency-closing",
        "mechanism",
        _("Emergency closing"),
        _("Closed and locked without the drive, as the vehicle’s own instructions say; the minutes that it took."),
        weighty=True,
        cautions=("prop", "pressure", "spring", "pinch", "two-people", "battery"),
        grades=(
            Grade("closes", _("Closes and locks")),
            wrong("hard", _("Only with force or a tool of the shop"), "minor", "emergency-hard"),
            wrong("fails", _("Cannot be closed so"), "major", "emergency"),
        ),
        quantity=Quantity(_("It took"), "min", 0, 600),
    )


def _module() -> Item:
    return Item(
        "module-seat",
        "electrical",
        _("Control module: seat, plug, damp"),
        _("The module uncovered: plugs seated and locked, pins bright, no water above or around it."),
        weighty=True,
        cautions=("battery",),
        grades=(
            Grade("dry", _("Dry and seated")),
            wrong("traces", _("Old, dry traces"), "minor", "module-traces"),
            wrong("wet", _("Wet, corroded, or a plug is loose"), "major", "module"),
        ),
        picture=True,
    )


def _traces() -> Item:
    return Item(
        "water-traces",
        "whole",
        _("Water traces"),
        _("Under the boot lining and carpets, in the well of the top, at the lowest point of each drain."),
        weighty=False,
        grades=(
            Grade("none", _("None")),
            wrong("dry", _("Dry traces"), "minor", "traces"),
            wrong("wet", _("Wet now"), "major", "wet"),
        ),
        picture=True,
    )


def _repairs() -> Item:
    return Item(
        "earlier-repairs",
        "whole",
        _("Earlier repairs"),
        _("Cut or joined wires, parts of other make, tool marks, sealant, paint on hinges; what the papers tell of."),
        weighty=False,
        grades=(
            Grade("none", _("None seen")),
            Grade("proper", _("Seen, properly done")),
            wrong("poor", _("Not properly done"), "minor", "repair-poor"),
            wrong("unsafe", _("Does not hold, and safety depends on it"), "major", "repair-unsafe"),
        ),
        picture=True,
    )


def _extra(key: str, one: ExtraItem) -> Item:
    return Item(
        key,
        one.area,
        one.title,
        one.wants,
        weighty=one.weighty,
        grades=(
            Grade("sound", _("In order")),
            wrong("worn", _("Worn, does its work"), "minor", "extra-worn"),
            wrong("fails", _("Does not do its work"), "major", "extra"),
        ),
        picture=True,
    )
