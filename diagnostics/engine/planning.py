"""The next check: for each one still possible, the expected bits about which repairs are right, per minute it takes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import trials
from diagnostics.engine.case import Case, checks_of
from diagnostics.engine.cautions import caution_for
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.evidence import outcome_table
from diagnostics.engine.hypotheses import count, rank, sorted_rows, weigh
from diagnostics.engine.motion import pose_of, sensor_state
from diagnostics.engine.results import Judgement, NextCheck
from diagnostics.engine.sitting import AT_MODULE, AT_POSITION, Sitting, motion_minutes, seen_by, sitting_of
from diagnostics.engine.whys import why_of

MINUTES: Mapping[str, float] = {
    "pin": 1.0,
    "pin-by-hand": 3.0,
    "click": 1.0,
    "wiggle": 3.0,
    "continuity": 6.0,
    "look": 2.0,
    "battery": 2.0,
    "motion": 0.5,
}
"""Minutes of the check itself, without uncovering, reaching or moving: common practice, no source."""
PLANNED_MASS, PLANNED_SETS = 0.995, 1500
"""Planning looks at the likeliest fault sets up to this mass; what is left out can change no gain by more than its
own share."""
SPOKEN_FOR = 3.0
"""A fault counts as spoken for where the evidence makes it at least this much likelier beside the others of its set."""
WORTH_BITS = 1e-3
TINY = 1e-300
"""Keeps a quotient of vanished weights finite."""
MOST_CHECKS = 40
REPEATS = 0.1
"""A check is made again in the same pose only if its sensor comes and goes with at least this chance."""


@dataclass(frozen=True, slots=True)
class Likely:
    """The likeliest hypotheses: their places, weights (summing to 1), and number of their repair set (0 … sets−1)."""

    places: Ints
    weights: Floats
    repairs: Ints
    sets: int


def likely_of(model: Compiled, weights: Floats, chances: Floats) -> Likely:
    n = min(PLANNED_SETS, len(weights))
    top: Ints = np.argpartition(-weights, n - 1)[:n].astype(np.int32)
    top = top[np.argsort(-weights[top], kind="stable")]
    top = top[: int(np.searchsorted(np.cumsum(weights[top]), PLANNED_MASS)) + 1]
    core = spoken_for(model, weights, chances, top)
    kept, number = _numbered(model.repair_sets[core], count(len(model.repair_names), model.sets.k))
    return Likely(top, weights[top] / weights[top].sum(), number, len(kept))


def spoken_for(model: Compiled, weights: Floats, chances: Floats, places: Ints) -> Ints:
    """(m,) the place of that part of each set which the evidence speaks for.

    A fault that may be there beside the real one, and explains nothing of what was seen, is no question of which
    repair is right now: it is left to the proof afterwards. Without this, every pin not read yet would be worth its
    minute, however clear the fault. Where nothing is spoken for, a set stays whole.
    """
    odds = np.append(chances / (1.0 - chances), 1.0)
    core = places.copy()
    for _fault in range(1, model.sets.k):
        members = model.sets.members[core]
        for column in range(model.sets.k):
            without = members.copy()
            without[:, column] = model.sets.n
            smaller = rank(sorted_rows(without), model.sets.n)
            lift = weights[core] / (weights[smaller] * odds[members[:, column]] + TINY)
            rest = weights[smaller] / (weights[0] * np.prod(odds[without], axis=1) + TINY)
            idle = (members[:, column] < model.sets.n) & (smaller > 0) & (lift < SPOKEN_FOR) & (rest >= SPOKEN_FOR)
            core = np.where(idle, smaller, core)
            members = model.sets.members[core]
    return core


def _numbered(codes: Ints, n: int) -> tuple[Ints, Ints]:
    """The different codes (below n) in rising order, and for each entry the number of its code among them."""
    present = np.flatnonzero(np.bincount(codes, minlength=n)).astype(np.int32)
    number = np.empty(n, dtype=np.int32)
    number[present] = np.arange(len(present), dtype=np.int32)
    return present, number[codes]


def bits(joint: Floats) -> float:
    """Mutual information of a joint distribution (repair sets, outcomes), in bits."""
    outer = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(joint > 0.0, joint * np.log2(joint / outer), 0.0)
    return max(0.0, float(terms.sum()))


@dataclass(frozen=True, slots=True)
class _Offer:
    check: str
    position: str
    minutes: float
    pose: str | dict[str, str] | None = None
    motion: str | None = None
    due: str = ""


def next_checks(
    model: Compiled,
    case: Case,
    judgements: Sequence[Judgement],
    weights: Floats,
    shares: Floats,
    chances: Floats,
) -> tuple[NextCheck, ...]:
    """Checks worth making now, most bits a minute first. `weights` (H,) of the fault sets; of the faults (n,) the
    `shares` now and the `chances` before anything was seen."""
    likely = likely_of(model, weights, chances)
    sitting = sitting_of(model, case, judgements, weights)
    gains = _Gains(model, likely)
    rated = [(gains.of(offer), offer) for offer in _offers(model, sitting, _flickering(model, shares))]
    worth = [(gain, offer) for gain, offer in rated if gain >= WORTH_BITS]
    worth.sort(key=lambda item: (-item[0] / item[1].minutes, item[1].check, item[1].position, str(item[1].pose)))
    return tuple(_next(model, shares, gain, offer) for gain, offer in worth[:MOST_CHECKS])


def _next(model: Compiled, shares: Floats, gain: float, offer: _Offer) -> NextCheck:
    touched: tuple[str, ...] = (offer.position,) if offer.position else ()
    if offer.motion is not None:
        declared = model.system.motions[offer.motion]  # type: ignore[index]
        touched = tuple(dict.fromkeys(code for step in declared.steps for code in step.driven_by))
    return NextCheck(
        check=offer.check,
        position=offer.position,
        pose=offer.pose,
        motion=offer.motion,
        minutes=round(offer.minutes, 2),
        bits=gain,
        bits_per_minute=gain / offer.minutes,
        why=why_of(model, shares, offer.check, offer.position, offer.due, offer.motion),
        caution=caution_for(model.system, offer.check, touched),
    )


class _Gains:
    """Expected bits of offers under one posterior; what fault sets and repairs share at a site is counted once per
    site."""

    def __init__(self, model: Compiled, likely: Likely) -> None:
        self.model, self.likely = model, likely
        self._joint: dict[str, tuple[Floats, Ints]] = {}

    def of(self, offer: _Offer) -> float:
        if offer.motion is not None:
            return self._motion(offer.motion)
        joint, present = self._at(offer.position)
        return bits(joint @ outcome_table(self.model, offer.check, offer.position, offer.due)[present])

    def _at(self, site: str) -> tuple[Floats, Ints]:
        """(repair sets, local sets) joint weight, of those local sets that are present, and which these are."""
        if site not in self._joint:
            likely = self.likely
            codes = self.model.codes(site)[likely.places]
            present, local = _numbered(codes, len(self.model.sites[site].sets))
            cells = likely.repairs.astype(np.int64) * len(present) + local
            joint = weigh(cells, likely.weights, likely.sets * len(present))
            self._joint[site] = joint.reshape(likely.sets, len(present)), present
        return self._joint[site]

    def _motion(self, motion: str) -> float:
        likely = self.likely
        chances = trials.outcomes(self.model, motion)[:, likely.places]
        declared = self.model.system.motions[motion]  # type: ignore[index]
        joint = np.zeros((likely.sets, len(declared.steps) + 1))
        for told, name in enumerate([*(step.name for step in declared.steps), None]):
            seen = trials.told_weights(declared, name, None, layman=False) @ chances
            joint[:, told] = weigh(likely.repairs, likely.weights * seen, likely.sets)
        return bits(joint)


def _flickering(model: Compiled, shares: Floats) -> frozenset[str]:
    """Sensors that come and go with some chance: there, and in motions, a repeated check is worth its minutes."""
    return frozenset(
        fault.position
        for fault, share in zip(model.faults, shares, strict=True)
        if fault.mode == "comes-and-goes" and share >= REPEATS
    )


def _offers(model: Compiled, sitting: Sitting, flickering: frozenset[str]) -> Iterator[_Offer]:
    system, sensors = model.system, model.sensors
    for code in model.sites:
        if not model.sites[code].faults:
            continue
        if code in sensors:
            yield from _pin_offers(model, sitting, code, flickering)
        for check in sorted(checks_of(system, code) - {"pin"}):
            if check == "wiggle" or code in flickering or not sitting.made(check, code):
                yield _Offer(check, code, minutes_of(sitting, check, code))
        if system.positions[code].kind == "supply" and not sitting.made("battery", code):
            yield _Offer("battery", code, minutes_of(sitting, "battery", code))
    for name, motion in system.motions.items():
        moving = sitting.minutes_to(motion.start)
        if moving is not None and (flickering or not sitting.made("motion", name)):
            yield _Offer("motion", "", minutes_of(sitting, "motion", name, moving), motion=name)


def _pin_offers(model: Compiled, sitting: Sitting, code: str, flickering: frozenset[str]) -> Iterator[_Offer]:
    position = model.system.positions[code]
    offered = set()
    for pose, moving in sitting.poses:  # the nearest first: what looks alike to the sensor is offered once
        view = seen_by(model.system, code, pose)
        if view not in offered and (code in flickering or not sitting.made("pin", code, pose)):
            offered.add(view)
            due = sensor_state(position, pose_of(model.system, pose))
            yield _Offer("pin", code, minutes_of(sitting, "pin", code, moving), pose=pose, due=due)


def minutes_of(sitting: Sitting, check: str, code: str, moving: float = 0.0) -> float:
    """Minutes of a check as things stand: what is uncovered and reached already is not paid again.

    `code`: the position, or the motion's name; `moving`: minutes to bring the top into the pose for it.
    """
    if check == "motion":
        return MINUTES[check] + moving + motion_minutes(sitting.system, code)
    uncover = sitting.uncover if check in AT_MODULE else 0.0
    return MINUTES[check] + moving + uncover + (sitting.reach(code) if check in AT_POSITION else 0.0)
