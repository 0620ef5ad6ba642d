"""The next check: for each one still possible, the expected bits about which repairs are right, per minute it takes,
with the best check after it counted where that may pay."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.ahead import Rated, rated
from diagnostics.engine.case import Case
from diagnostics.engine.cautions import caution_for
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.evidence import outcome_table
from diagnostics.engine.hypotheses import weigh
from diagnostics.engine.likely import Likely, bits_each, likely_of, shown, widths
from diagnostics.engine.offers import Offer, offers_of
from diagnostics.engine.results import Judgement, NextCheck, Ways
from diagnostics.engine.sitting import Sitting, sitting_of
from diagnostics.engine.system.series import path_of
from diagnostics.engine.ways import ways_of
from diagnostics.engine.whys import Whys

WORTH_BITS = 1e-3
MOST_CHECKS = 40


@dataclass(frozen=True, slots=True)
class Plan:
    """What to do next: checks worth making, best first, and the two ways to a proven fix."""

    next_checks: tuple[NextCheck, ...]
    ways: Ways


def plan_of(
    model: Compiled,
    case: Case,
    judgements: Sequence[Judgement],
    weights: Floats,
    shares: Floats,
    chances: Floats,
) -> Plan:
    """`weights` (H,) of the fault sets; of the faults (n,) the `shares` now and the `chances` before anything was
    seen."""
    likely, sitting, ranked = _ranked(model, case, judgements, weights, shares, chances)
    whys = Whys(model, likely)
    checks = tuple(_next(model, whys, one) for one in ranked[:MOST_CHECKS])
    return Plan(checks, ways_of(model, case, likely, sitting, [one.offer for one in ranked]))


def choice_of(
    model: Compiled,
    case: Case,
    judgements: Sequence[Judgement],
    weights: Floats,
    shares: Floats,
    chances: Floats,
) -> tuple[Offer | None, Ways]:
    """The next check, and whether to make it or to repair; without its sentence. Arguments as for `plan_of`."""
    likely, sitting, ranked = _ranked(model, case, judgements, weights, shares, chances)
    offers = [one.offer for one in ranked]
    return offers[0] if offers else None, ways_of(model, case, likely, sitting, offers)


def _ranked(
    model: Compiled,
    case: Case,
    judgements: Sequence[Judgement],
    weights: Floats,
    shares: Floats,
    chances: Floats,
) -> tuple[Likely, Sitting, list[Rated]]:
    """The likely sets, how things stand, and the checks worth making, most bits a minute first."""
    likely = likely_of(model, weights, chances)
    sitting = sitting_of(model, case, judgements, likely.places, likely.weights)
    offers = offers_of(model, sitting, shares)
    gains = gains_of(model, likely, offers)
    worth = [(offer, gain) for offer, gain in zip(offers, gains, strict=True) if gain >= WORTH_BITS]
    if not worth:
        return likely, sitting, []
    found = rated(model, likely, sitting, *zip(*worth, strict=True))
    found.sort(key=lambda one: (-one.rate, one.offer.check, one.offer.position, str(one.offer.pose)))
    return likely, sitting, found


def _next(model: Compiled, whys: Whys, one: Rated) -> NextCheck:
    offer = one.offer
    touched: tuple[str, ...] = (offer.position,) if offer.position else ()
    if offer.check == "pin-by-hand":
        touched = path_of(model.system, offer.position)
    if offer.motion is not None:
        declared = model.system.motions[offer.motion]  # type: ignore[index]
        touched = tuple(dict.fromkeys(code for step in declared.steps for code in step.driven_by))
    return NextCheck(
        check=offer.check,
        position=offer.position,
        pose=offer.pose,
        motion=offer.motion,
        minutes=round(offer.minutes, 2),
        bits=one.bits,
        bits_per_minute=one.bits / offer.minutes,
        why=whys.of(offer),
        caution=caution_for(model.system, offer.check, touched),
        ahead_bits=one.ahead_bits,
        ahead_minutes=round(one.ahead_minutes, 2),
    )


def gains_of(model: Compiled, likely: Likely, offers: Sequence[Offer]) -> list[float]:
    """Expected bits of each offer alone about which repairs are right."""
    if not offers:
        return []
    sizes = np.diff(np.append(likely.starts, len(likely.weights)))
    group = np.repeat(np.arange(len(sizes)), sizes)
    sites: dict[str, tuple[Floats, Ints]] = {}
    joints = []
    for offer in offers:
        if offer.motion is not None:
            joint = likely.weights[:, None] * shown(model, likely, offer)
            joints.append(np.add.reduceat(joint, likely.starts, axis=0))
            continue
        if offer.position not in sites:
            sites[offer.position] = _at(model, likely, offer.position, group)
        joint, present = sites[offer.position]
        joints.append(joint @ outcome_table(model, offer.check, offer.position, offer.due)[present])
    return [float(gain) for gain in bits_each(np.concatenate(joints, axis=1), widths(joints))]


def _at(model: Compiled, likely: Likely, site: str, group: Ints) -> tuple[Floats, Ints]:
    """(repair sets, local sets) joint weight, of those local sets that are present at a site, and which these are."""
    codes = model.codes(site, likely.places)
    present = np.flatnonzero(np.bincount(codes))
    number = np.zeros(present[-1] + 1, dtype=np.int64)
    number[present] = np.arange(len(present))
    cells = group * len(present) + number[codes]
    joint = weigh(cells, likely.weights, len(likely.starts) * len(present))
    return joint.reshape(len(likely.starts), len(present)), present
