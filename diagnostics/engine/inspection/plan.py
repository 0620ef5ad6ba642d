"""The plan of a system: what the bench sheet answers, position by position, and what a person judges.

ISO/IEC 17020:2012, 7.4.2, wants the results of what was inspected and lets nothing be said of the rest; what belongs
to a top is common practice, no source. A published revision never changes, so the plan of a revision does not either.
"""

from collections.abc import Iterator

from diagnostics.engine.case import HELD
from diagnostics.engine.inspection.asked import asked
from diagnostics.engine.inspection.items import Item
from diagnostics.engine.system.inspection import InspectionRules
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _


def plan_for(system: TopSystem | None) -> tuple[Item, ...]:
    """The items in the order in which a technician meets them. Of a system that nobody has declared (None) only what
    holds for every top: nothing there can be measured against anything."""
    rules = (system.inspection if system else None) or InspectionRules()
    people = [one for one in asked(system, rules) if one.key not in rules.without]
    if system is None:
        return tuple(people)
    first = [one for one in people if one.key == "surroundings"]
    return (*first, *_measured(system, rules), *(one for one in people if one.key != "surroundings"))


def left_out(system: TopSystem | None) -> tuple[tuple[Item, str], ...]:
    """Items that the system file leaves out, each with its reason."""
    rules = system.inspection if system else None
    if rules is None:
        return ()
    return tuple((one, rules.without[one.key]) for one in asked(system, rules) if one.key in rules.without)


def _measured(system: TopSystem, rules: InspectionRules) -> Iterator[Item]:
    yield Item(
        "battery",
        "electrical",
        _("Battery at rest"),
        _("Volts of the battery with nothing switched on."),
        weighty=False,
        cautions=("battery",),
        measured="battery",
    )
    yield Item(
        "supply",
        "electrical",
        _("Supply at the module"),
        _("Volts of the supply beside a reading at a pin, with the module awake."),
        weighty=True,
        cautions=("ignition",),
        measured="supply",
    )
    for code, position in system.wired().items():
        yield Item(
            f"sensor:{code}",
            "electrical",
            f"{code} {position.name}",
            _("Seen both made and released at its pin since the last work on its path."),
            weighty=True,
            cautions=position.cautions,
            measured="sensor",
            subject=code,
        )
    for name, motion in system.motions.items():
        wants = _("{n} whole trials since the last work, each with the seconds of every step.")
        yield Item(
            f"motion:{name}",
            "motion",
            motion.title,
            wants.format(n=rules.trials),
            weighty=True,
            cautions=("pinch", "ignition"),
            measured="motion",
            subject=name,
            times=rules.trials,
        )
    if system.hydraulics is not None:
        yield from _held(system)


def _held(system: TopSystem) -> Iterator[Item]:
    for code, position in system.positions.items():
        if position.kind in HELD:
            yield Item(
                f"hold:{code}",
                "hydraulics",
                _("Holding of pressure: {where}").format(where=f"{code} {position.name}"),
                _("A pressure hold since the last work there, with bar at its start and end."),
                weighty=False,
                cautions=("pressure", "injection", "pinch"),
                measured="hold",
                subject=code,
            )
