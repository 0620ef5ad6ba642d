"""What is thought of a car before anybody has seen it: suspects, likely repairs, parts and minutes from what was told.

Two grains. For the shop every suspect by position; for the public groups only, a sort of thing with what it watches or
moves, because what a layman tells cannot carry more.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.case import Case
from diagnostics.engine.cautions import owner_cautions
from diagnostics.engine.faults import Repair, describe, repair_of
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.interview import MAX_FAULTS
from diagnostics.engine.questions import WORKS, Answers, Told, case_of, motion_of, told_of
from diagnostics.engine.sitting import MINUTES, motion_minutes
from diagnostics.engine.system.model import Kind, Position, TopSystem
from diagnostics.engine.words import _

SHOWN, SHOWN_SUSPECTS = 5, 8
WORTH_SAYING = 0.04
"""Groups and parts below this chance are not named, single suspects below half of it."""
COVERED = 0.8
"""The minutes span the likeliest repairs up to this share of all."""
ROUNDED_TO = 15
"""Minutes, up to a quarter of an hour: what is told carries no more."""


@dataclass(frozen=True, slots=True)
class LikelyPart:
    number: str
    name: str
    probability: float


@dataclass(frozen=True, slots=True)
class Group:
    """`words` such as “A switch or its wiring. It watches: Trunk lid”, `chance` in words, `parts` what it may need."""

    words: str
    chance: str
    probability: float
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LikelySuspect:
    words: str
    probability: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """`minutes`: of finding and repair together, from … to, in quarters of an hour; None without a complaint.
    `nothing_wrong`: chance that nothing is found."""

    told: Told
    cautions: tuple[str, ...]
    groups: tuple[Group, ...] = ()
    suspects: tuple[LikelySuspect, ...] = ()
    parts: tuple[LikelyPart, ...] = ()
    minutes: tuple[int, int] | None = None
    nothing_wrong: float = 0.0


def outlook(system: TopSystem, answers: Answers, *, made_on: str, climate: str, seen_on: str) -> Outlook:
    """`answers` as `questions.checked` gives them. Without a step at which the top stops nothing is ranked."""
    told = told_of(system, answers)
    cautions = owner_cautions(half_way=_half_way(system, answers))
    if told.complaint is None:
        return Outlook(told, cautions)
    case = case_of(system, answers, made_on=made_on, climate=climate, seen_on=seen_on)
    return _ranked(system, case, told, cautions)


def _half_way(system: TopSystem, answers: Answers) -> bool:
    """Whether the top may stand between its resting places: unless nothing moved, or it still works."""
    if answers.get("fails") == WORKS:
        return False
    motion = motion_of(answers)
    return not motion or answers.get("stops") != system.step_names(motion)[0]


def _ranked(system: TopSystem, case: Case, told: Told, cautions: tuple[str, ...]) -> Outlook:
    belief = believe(system, case, max_faults=MAX_FAULTS)
    weights, faults = belief.posterior.weights, belief.model.faults
    order = [int(i) for i in np.argsort(-belief.shares, kind="stable")[:SHOWN_SUSPECTS]]
    suspects = [LikelySuspect(describe(system, faults[i]), float(belief.shares[i])) for i in order]
    repairs = _repairs(belief)
    return Outlook(
        told=told,
        cautions=cautions,
        groups=_groups(belief),
        suspects=tuple(one for one in suspects if one.probability >= WORTH_SAYING / 2),
        parts=_parts(belief),
        minutes=_minutes(system, case, repairs),
        nothing_wrong=float(weights[0]),
    )


Rated = list[tuple[Repair, float]]


def _repairs(belief: Belief) -> Rated:
    """Every repair with its chance to be needed, the likeliest first."""
    by_key = {repair.key: repair for repair in (repair_of(belief.model.system, f) for f in belief.model.faults)}
    rated = zip(belief.model.repair_names, belief.repairs, strict=True)
    return sorted(((by_key[key], float(chance)) for key, chance in rated), key=lambda item: -item[1])


def _parts(belief: Belief) -> tuple[LikelyPart, ...]:
    """Parts that a replacement would take, each named after the likeliest place that it is fitted at; twins share a
    part, so either of them needs it."""
    model = belief.model
    wanted: dict[str, list[int]] = {}
    for index, fault in enumerate(model.faults):
        if repair_of(model.system, fault).kind == "replace":
            wanted.setdefault(model.system.positions[fault.position].part, []).append(index)
    rated = sorted(((_any_of(belief, faults), number) for number, faults in wanted.items()), key=lambda one: -one[0])
    shown = [(chance, number) for chance, number in rated[:SHOWN] if chance >= WORTH_SAYING]
    likeliest = {number: max(wanted[number], key=lambda index: belief.shares[index]) for _chance, number in shown}
    return tuple(
        LikelyPart(number, part_words(model.system.positions[model.faults[likeliest[number]].position]), chance)
        for chance, number in shown
    )


def part_words(position: Position) -> str:
    """A part by what it is and where: the name of a sensor's position says what it reports."""
    kinds = {"switch": _("Switch: {name}"), "hall-sensor": _("Sensor: {name}"), "angle-sensor": _("Sensor: {name}")}
    return kinds.get(position.kind, "{name}").format(name=position.name)


def _minutes(system: TopSystem, case: Case, repairs: Rated) -> tuple[int, int]:
    """From: the module uncovered, a trial, one reading, the shortest likely repair. To: every pin read once, and the
    longest."""
    total, covered, spans = sum(chance for _repair, chance in repairs), 0.0, []
    for repair, chance in repairs:
        spans.append(repair.minutes)
        covered += chance
        if covered >= COVERED * total:
            break
    motion = case.complaint.motion if case.complaint else "close"
    start = system.module.minutes + MINUTES["motion"] + motion_minutes(system, motion)
    least = start + MINUTES["pin"] + min(spans)
    most = start + MINUTES["pin"] * len(system.sensors()) + max(spans)
    quarters = max(1, int(least // ROUNDED_TO)), int(-(-most // ROUNDED_TO))
    return quarters[0] * ROUNDED_TO, quarters[1] * ROUNDED_TO


def _groups(belief: Belief) -> tuple[Group, ...]:
    model = belief.model
    members: dict[tuple[str, str], list[int]] = {}
    for index, fault in enumerate(model.faults):
        members.setdefault(_group_of(model.system, fault.position), []).append(index)
    rated = sorted(((_any_of(belief, faults), key) for key, faults in members.items()), key=lambda item: -item[0])
    return tuple(
        Group(_group_words(*key), chance_words(chance), chance, _part_names(belief, members[key]))
        for chance, key in rated[:SHOWN]
        if chance >= WORTH_SAYING
    )


def _group_of(system: TopSystem, code: str) -> tuple[str, str]:
    """(sort of thing, what it watches or moves); the sort alone for what serves the whole top."""
    position = system.positions[code]
    sort = _SORTS[position.kind]
    if sort in _FOR_ALL:
        return sort, ""
    if position.watches is not None:
        axes = frozenset({position.watches})
    elif position.made_when is not None:
        axes = position.made_when.axes()
    else:
        steps = (step for motion in system.motions.values() for step in motion.steps if code in step.driven_by)
        axes = frozenset(next((step.moves for step in steps), {}))
    return sort, next((declared.title for axis, declared in system.axes.items() if axis in axes), "")


def _any_of(belief: Belief, faults: list[int]) -> float:
    """Chance that at least one of the faults is there."""
    sets = belief.model.sets
    there = np.zeros(sets.n + 1, dtype=bool)
    there[faults] = True
    return float(belief.posterior.weights[there[sets.members].any(axis=1)].sum())


def _part_names(belief: Belief, faults: list[int]) -> tuple[str, ...]:
    """Parts of the likeliest faults of a group that a replacement mends."""
    system = belief.model.system
    names = [
        part_words(system.positions[belief.model.faults[i].position])
        for i in sorted(faults, key=lambda i: -belief.shares[i])
        if belief.shares[i] >= WORTH_SAYING / 2 and repair_of(system, belief.model.faults[i]).kind == "replace"
    ]
    return tuple(dict.fromkeys(names))[:2]


_SORTS: Mapping[Kind, str] = {
    "switch": "sensor",
    "hall-sensor": "sensor",
    "angle-sensor": "sensor",
    "control-switch": "control",
    "cylinder": "hydraulics",
    "pump": "pump",
    "valve": "hydraulics",
    "motor": "motor",
    "latch": "latch",
    "module": "module",
    "supply": "supply",
}
_FOR_ALL = frozenset({"control", "pump", "module", "supply"})


def _group_words(sort: str, thing: str) -> str:
    words = {
        "sensor": _("A switch or its wiring. It watches: {thing}"),
        "control": _("The switch that you press, or its wiring"),
        "hydraulics": _("A hydraulic cylinder or its valve. It moves: {thing}"),
        "pump": _("The pump or its fluid"),
        "motor": _("A motor. It moves: {thing}"),
        "latch": _("A latch that binds: {thing}"),
        "module": _("The control module"),
        "supply": _("The battery or its supply to the top"),
    }
    return words[sort].format(thing=thing)


def chance_words(probability: float) -> str:
    """A chance in words; nothing is promised."""
    if probability >= 0.5:
        return _("more likely than not")
    if probability >= 0.25:
        return _("likely")
    if probability >= 0.1:
        return _("possible")
    return _("less likely")
