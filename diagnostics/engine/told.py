"""What a customer tells as evidence: which step stops the top, the lamp, what was heard, whether it comes and goes.

One likelihood over all hypotheses. What was heard belongs to the way in which the step stopped: a step that is not
released is silent, one that never ends is heard running, unless its drive is dead.
"""

import numpy as np

from diagnostics.engine import effects, observe, trials
from diagnostics.engine.alike import Alike, Look, Part, alike, spread
from diagnostics.engine.case import Complaint
from diagnostics.engine.compiled import ALL, Compiled, Floats, Ints, Subset
from diagnostics.engine.system.model import Step, TopSystem
from diagnostics.engine.words import _

HEARD = frozenset({"pump", "motor"})
"""Kinds of drive that a layman hears."""


def told_likelihood(compiled: Compiled, told: Complaint, subset: Subset = ALL) -> Floats:
    """(m,) chance of the complaint under each hypothesis."""
    return spread(told_parts(compiled, told), subset)


def told_parts(compiled: Compiled, told: Complaint) -> tuple[Part, ...]:
    """What the complaint says, each part by itself: its chance is their product."""
    key = ("told", told.motion, told.stops_at, told.lamp, told.sound)
    table = compiled.lately(key, lambda: _stop_told(compiled, told))
    found = [Part(trials.classes(compiled, told.motion), key, table)]
    if told.neither_way:
        other = "open" if told.motion == "close" else "close"
        runs = trials.class_outcomes(compiled, other)[-1]
        right = observe.OTHER_MOTION_RIGHT
        table = right * (1.0 - runs) + (1.0 - right) * runs
        found.append(Part(trials.classes(compiled, other), "told-neither-way", table))
    for said, part in ((told.comes_and_goes, _comes_and_goes), (told.battery_weak, _battery_weak)):
        if said is not None:
            yes = part(compiled)
            found.append(yes if said else Part(yes.which, (yes.key, False), 1.0 - yes.table))
    return tuple(found)


def _stop_told(compiled: Compiled, told: Complaint) -> Floats:
    motion = compiled.system.motions[told.motion]
    weights = trials.told_weights(motion, told.stops_at, told.lamp, layman=True)
    outcomes = trials.class_outcomes(compiled, told.motion)
    if told.sound is not None:
        silent = silent_outcomes(compiled, told.motion)
        said = silent if told.sound == "silent" else outcomes - silent
        outcomes = observe.HEARD_RIGHT * said + (1.0 - observe.HEARD_RIGHT) * (outcomes - said)
    result: Floats = weights @ outcomes
    return result


def silent_outcomes(compiled: Compiled, motion: str) -> Floats:
    """(S + 2, C) chance of each outcome of `trials.class_outcomes` together with silence where the motion stopped."""
    return compiled.kept(("silent", motion), lambda: _silent_outcomes(compiled, motion))


def _silent_outcomes(compiled: Compiled, motion: str) -> Floats:
    places = trials.classes(compiled, motion).places
    stops, _runs = trials.ways_to_stop(compiled, motion, places)
    steps = compiled.system.motions[motion].steps  # type: ignore[index]
    rows = np.zeros((len(stops) + 2, len(places)))
    rows[trials.NO_START] = trials.class_outcomes(compiled, motion)[trials.NO_START]
    for k, (step, stop) in enumerate(zip(steps, stops, strict=True)):
        rows[k + 1] += stop.not_started + stop.not_ended * _silent(compiled, step, places)
        rows[min(k + 1, len(stops) - 1) + 1] += stop.early * observe.SILENT_AFTER_EARLY_END
    return np.clip(rows, 0.0, 1.0)


def _silent(compiled: Compiled, step: Step, places: Ints) -> Floats:
    """(C,) chance that nothing is heard of a step that is commanded."""
    positions = compiled.system.positions
    if not any(positions[code].kind in HEARD for code in step.driven_by):
        return np.full(len(places), observe.SILENT_ANYWAY)
    heard = np.ones(len(places))
    for code in trials.needed(compiled, step):
        heard *= trials.site_table(compiled, code, effects.heard)[compiled.codes(code, places)]
    return 1.0 - heard


def _comes_and_goes(compiled: Compiled) -> Part:
    """Chance of “not every time”: of several faults the steadiest decides, for it stops the top every time."""

    def make() -> Part:
        modes = [observe.TOLD_COMES_AND_GOES.get(fault.mode, observe.TOLD_ALWAYS) for fault in compiled.faults]
        steadiest = np.array([*modes, 1.0])[compiled.sets.members].min(axis=1)
        steadiest[0] = observe.TOLD_OF_NOTHING
        table, places, codes = np.unique(steadiest, return_index=True, return_inverse=True)
        return Part(Alike(codes.astype(np.int8), places.astype(np.int32)), "told-comes-and-goes", table)

    return compiled.kept("told-comes-and-goes", make)


def _battery_weak(compiled: Compiled) -> Part:
    def make() -> Part:
        supplies = [code for code, p in compiled.system.positions.items() if p.kind == "supply"]
        tables = [(code, compiled.sites[code].table(lambda modes: float("low" in modes))) for code in supplies]
        which = alike(compiled, [Look([one]) for one in tables])
        low = np.zeros(len(which.places))
        for code, table in tables:
            low = np.maximum(low, table[compiled.codes(code, which.places)])
        weak = np.where(low > 0.0, observe.TOLD_BATTERY_LOW, observe.TOLD_BATTERY_FIT)
        return Part(which, "told-battery-weak", weak)

    return compiled.kept("told-battery-weak", make)


def complaint_sentences(system: TopSystem, told: Complaint) -> tuple[str, ...]:
    """The complaint in words: where it stops first, then what else was told."""
    motion = system.motions[told.motion]
    step = next(step.title for step in motion.steps if step.name == told.stops_at)
    said = [_("{motion} stops at “{step}”.").format(motion=motion.title, step=step)]
    if told.neither_way:
        said.append(_("It goes neither way."))
    if told.sound is not None:
        said.append(_("Nothing is heard.") if told.sound == "silent" else _("A pump or motor is heard."))
    if told.comes_and_goes is not None:
        said.append(_("It comes and goes.") if told.comes_and_goes else _("It is so every time."))
    if told.battery_weak is not None:
        said.append(_("The battery is weak.") if told.battery_weak else _("The battery is strong."))
    if told.lamp is not None:
        lamps = {
            "flashing": _("The lamp flashes."),
            "steady": _("The lamp stays lit."),
            "off": _("The lamp stays dark."),
        }
        said.append(lamps[told.lamp])
    return tuple(said)
