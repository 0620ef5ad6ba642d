"""Faults as data: one table of modes by kind of position, with prior, repair and words.

Every prior is a trade default: **common practice, no source**. It is the chance that the fault is there in a car that
comes in for its top, in no particular age, and gives way to the learned failure model. What matters is their order
and rough ratio; the reason of each stands beside it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import SENSORS, Kind, TopSystem
from diagnostics.engine.words import _


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which a kind of position fails.

    `where`: sensor | path | trigger | unit (an actuator, the module, the supply). `repair` a value of WorkKind.
    `disturbed`: work beside the position can cause it.
    """

    name: str
    prior: float
    repair: str
    reason: str
    where: str = "unit"
    disturbed: bool = False


@dataclass(frozen=True, slots=True)
class Repair:
    position: str
    kind: str
    words: str
    minutes: float

    @property
    def key(self) -> str:
        """`position kind`, as in Diagnosis.repairs."""
        return f"{self.position} {self.kind}"


_PATH = (
    Mode("open", 0.0025, "mend-wire", "wires break at the flexing point beside a hinge", "path", disturbed=True),
    Mode("shorted-to-ground", 0.0008, "mend-wire", "a chafed wire mostly breaks before it shorts", "path"),
    Mode("unplugged", 0.0015, "plug-in", "left off after work nearby, hardly ever by itself", "path", disturbed=True),
)
_CONTACT = (
    Mode("stays-made", 0.0040, "replace", "plunger or boot stiffens and keeps the contact closed", "sensor"),
    Mode("never-makes", 0.0040, "replace", "worn mechanism or burnt contact", "sensor"),
    Mode("comes-and-goes", 0.0050, "replace", "worn contacts flicker before they fail for good", "sensor"),
    Mode("high-resistance", 0.0030, "replace", "films and corrosion on contacts that carry milliamperes", "sensor"),
)
_TRIGGER = Mode(
    "out-of-adjustment", 0.0040, "adjust", "cam or latch shifted; as common as a worn switch", "trigger", True
)

MODES: Mapping[Kind, tuple[Mode, ...]] = {
    "switch": (*_CONTACT, *_PATH, _TRIGGER),
    "control-switch": (*_CONTACT, *_PATH),
    "hall-sensor": (
        Mode("stays-made", 0.0008, "replace", "no moving part; the output stage sometimes shorts", "sensor"),
        Mode("never-makes", 0.0020, "replace", "water in the housing kills the element", "sensor"),
        Mode("comes-and-goes", 0.0020, "replace", "cracked solder joints, heat", "sensor"),
        *_PATH,
        Mode("out-of-adjustment", 0.0030, "adjust", "magnet lost or shifted", "trigger", True),
    ),
    "angle-sensor": (
        Mode("dead", 0.0030, "replace", "worn track or dead element: one value wherever it stands", "sensor"),
        Mode("comes-and-goes", 0.0030, "replace", "worn track: jumps on the way", "sensor"),
        *_PATH,
        Mode("out-of-adjustment", 0.0030, "adjust", "lever or teaching shifted after work", "trigger", True),
    ),
    "cylinder": (
        Mode("leaks", 0.0080, "replace", "rod seals are what wears in a cylinder"),
        Mode("binds", 0.0030, "trim", "bent rod or dry bearing", disturbed=True),
    ),
    "pump": (
        Mode("dead", 0.0030, "replace", "brushes or seized gears"),
        Mode("weak", 0.0060, "refill", "low level, air or worn gears; level and air come first"),
    ),
    "valve": (Mode("stuck", 0.0030, "replace", "dirt in the seat, dead coil"),),
    "motor": (Mode("dead", 0.0060, "replace", "brushes, gear or its own cut-out"),),
    "latch": (Mode("binds", 0.0060, "trim", "dry or out of line, common after body work", disturbed=True),),
    "module": (
        Mode("input-dead", 0.0003, "replace", "one input stage dies rarely, mostly after a short"),
        Mode("output-dead", 0.0015, "replace", "relay or driver of the outputs"),
    ),
    "supply": (Mode("low", 0.0200, "charge", "tops are tried with the engine off until the battery is down"),),
}
PER_INPUT = "input-dead"
"""The mode of the module that exists once for each sensor which it reads."""

MODE_BITS: Mapping[str, int] = {
    "stays-made": 1 << 0,
    "never-makes": 1 << 1,
    "comes-and-goes": 1 << 2,
    "high-resistance": 1 << 3,
    "open": 1 << 4,
    "shorted-to-ground": 1 << 5,
    "unplugged": 1 << 6,
    "out-of-adjustment": 1 << 7,
    "dead": 1 << 8,
    "leaks": 1 << 9,
    "binds": 1 << 10,
    "weak": 1 << 11,
    "stuck": 1 << 12,
    "input-dead": 1 << 13,
    "output-dead": 1 << 14,
    "low": 1 << 15,
}
"""Sets of modes as whole numbers of 31 bits. Stored with every sighting: a bit never changes its meaning, a new mode
takes the next one."""

REPAIR_MINUTES: Mapping[str, float] = {
    "adjust": 25.0,  # loosen, set by the reading at the pin, tighten, read again
    "plug-in": 5.0,
    "mend-wire": 45.0,  # find the spot in the sleeve, splice, seal, bind again
    "trim": 40.0,  # dry parts freed and greased, or a latch brought into line in several tries
    "refill": 45.0,  # level, then bleeding takes a few whole motions
    "charge": 30.0,  # a charger that carries a motion; the battery itself charges while others work
}
REPLACE_MINUTES: Mapping[str, float] = {
    "switch": 20.0,  # clips or two screws, then set to its trigger
    "hall-sensor": 20.0,
    "control-switch": 15.0,  # lies in a panel that only clips
    "angle-sensor": 40.0,  # has to be taught the places afterwards
    "cylinder": 75.0,  # lines off and closed, two bolts, filled and bled
    "pump": 90.0,  # all lines, filled and bled
    "valve": 60.0,  # out of the block, clean, bled
    "motor": 60.0,  # often with its gear and a setting
    "module": 45.0,  # plugs in quickly, then has to be coded and taught
}
"""Hands-on minutes at the place, without reaching it, by kind of repair and for a new part by kind of position: common
practice, no source."""


def modes_of(system: TopSystem, position: str) -> tuple[str, ...]:
    """Names of the modes that a position can have."""
    return tuple(mode.name for mode in MODES[system.positions[position].kind])


def mode_of(system: TopSystem, fault: Fault) -> Mode:
    """The row of MODES behind a fault. Raises KeyError where the system has no such fault."""
    for mode in MODES[system.positions[fault.position].kind]:
        if mode.name == fault.mode:
            return mode
    raise KeyError(fault)


def bits_of(modes: Iterable[str]) -> int:
    """A set of modes as MODE_BITS."""
    return sum(MODE_BITS[mode] for mode in set(modes))


def modes_in(bits: int) -> frozenset[str]:
    """The modes whose bits are set."""
    return frozenset(mode for mode, bit in MODE_BITS.items() if bits & bit)


def faults_of(system: TopSystem) -> tuple[Fault, ...]:
    """Every fault that the system can have, in the order of its positions. Order is stable for one system."""
    return tuple(_faults(system))


def _faults(system: TopSystem) -> Iterator[Fault]:
    sensors, wired = system.sensors(), system.wired()
    for code, position in system.positions.items():
        if position.kind in SENSORS and code not in wired:
            continue  # a sensor that no pin reads can neither stop the top nor be measured
        for mode in MODES[position.kind]:
            if mode.name != PER_INPUT:
                yield Fault(code, mode.name)
            else:
                yield from (Fault(code, mode.name, sensor) for sensor in sensors)


def default_prior(system: TopSystem, fault: Fault) -> float:
    """Trade default of the chance that the fault is there (common practice, no source)."""
    return mode_of(system, fault).prior


def repair_of(system: TopSystem, fault: Fault) -> Repair:
    """The repair that takes this fault away. Minutes include reaching the position from outside."""
    position = system.positions[fault.position]
    kind = mode_of(system, fault).repair
    words = _repair_words()[kind].format(code=fault.position, name=position.name)
    hands_on = REPLACE_MINUTES[position.kind] if kind == "replace" else REPAIR_MINUTES[kind]
    return Repair(fault.position, kind, words, hands_on + position.minutes)


def cured_by(system: TopSystem, position: str, kind: str) -> tuple[str, ...]:
    """The modes that work of this kind takes away at the position, those first whose repair it is. A new unit takes
    away whatever was wrong with the old one, also what is mostly trimmed or refilled (a cylinder bent beyond that)."""
    modes = MODES[system.positions[position].kind]
    own = [mode.name for mode in modes if mode.repair == kind]
    besides = [mode.name for mode in modes if kind == "replace" and mode.where in ("unit", "sensor")]
    return tuple(dict.fromkeys([*own, *besides]))


def _repair_words() -> dict[str, str]:
    return {
        "replace": _("Replace {code} ({name})"),
        "adjust": _("Adjust the trigger of {code} ({name})"),
        "plug-in": _("Plug in {code} ({name})"),
        "mend-wire": _("Mend the wire of {code} ({name})"),
        "trim": _("Trim or free {code} ({name})"),
        "refill": _("Check level at {code} ({name}), refill and bleed"),
        "charge": _("Charge or supply {code} ({name})"),
    }


def mode_words(mode: str) -> str:
    """A mode in words, to stand after a position's name."""
    return {
        "stays-made": _("stays made"),
        "never-makes": _("never makes"),
        "comes-and-goes": _("comes and goes"),
        "high-resistance": _("has a high contact resistance"),
        "open": _("wire is open"),
        "shorted-to-ground": _("wire is shorted to ground"),
        "unplugged": _("is unplugged"),
        "out-of-adjustment": _("trigger is out of adjustment"),
        "leaks": _("leaks"),
        "binds": _("binds"),
        "dead": _("is dead"),
        "weak": _("is weak"),
        "stuck": _("is stuck"),
        "low": _("is low"),
        "input-dead": _("has a dead input"),
        "output-dead": _("has dead outputs"),
    }[mode]


def describe(system: TopSystem, fault: Fault) -> str:
    """A fault as a colleague would say it: 'BG3 header left stays made'."""
    name = system.positions[fault.position].name
    if fault.input:
        words = _("{code} {name}: input of {sensor} is dead")
        return words.format(code=fault.position, name=name, sensor=fault.input)
    return _("{code} {name}: {what}").format(code=fault.position, name=name, what=mode_words(fault.mode))
