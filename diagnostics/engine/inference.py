"""The suspects: the exact posterior over all sets of up to `max_faults` faults, given everything that is known of the
car.

Faults are independent a priori, given that there are no more than `max_faults` of them; what that leaves out is
stated (`left_out`, the prior weight of larger sets). Observations are independent given the faults. After work the
faults at the positions worked on are drawn anew: what was seen before speaks of the old state and only of the rest of
the car.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import observe
from diagnostics.engine.case import Case, check_case
from diagnostics.engine.compiled import Compiled, Floats, Ints, compiled
from diagnostics.engine.evidence import Factor, MotionFactor, SiteFactor, factors_of
from diagnostics.engine.faults import default_prior, describe, mode_of
from diagnostics.engine.hypotheses import count, fault_sets, marginals, project, rank, sums, weigh
from diagnostics.engine.minimal import minimal_diagnoses
from diagnostics.engine.planning import next_checks
from diagnostics.engine.proof import proof_from
from diagnostics.engine.reasons import Epoch, reasons_of
from diagnostics.engine.results import Diagnosis, Fault, Hypothesis, Judgement, Suspect
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.warnings import warnings_of

SHOWN_SUSPECT = 0.0005
SHOWN_HYPOTHESES, SHOWN_MASS = 50, 0.999
EXPLAINS = 0.05
"""A set of faults explains the evidence if no observation is less likely than this under it, so none has to be an
error."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """`weights` (H,) sum to 1. `epochs`: what was known before work and since, each with its own weights."""

    weights: Floats
    log_evidence: float
    epochs: tuple[Epoch, ...]


def priors_of(
    model: Compiled, case: Case, priors: Mapping[Fault, float] | None = None
) -> tuple[Floats, dict[Fault, float]]:
    """Prior chance of every fault with recent work counted, and the factor on the odds of each that it moved.

    `priors` replaces trade defaults, fault by fault. Raises ValueError for a chance that is not between 0 and 1.
    """
    system = model.system
    moved: dict[Fault, float] = {}
    chances = []
    places = {system.positions[code].place for code in case.recent_work}
    for fault in model.faults:
        chance = default_prior(system, fault) if priors is None else priors.get(fault, default_prior(system, fault))
        if not 0.0 < chance < 1.0:
            raise ValueError(f"prior of {fault}: expected between 0 and 1, got {chance}")
        if mode_of(system, fault).disturbed:
            here = fault.position in case.recent_work
            factor = observe.WORK_HERE if here else observe.WORK_BESIDE
            if here or system.positions[fault.position].place in places:
                moved[fault] = factor
                chance = factor * chance / (1.0 - chance + factor * chance)
        chances.append(chance)
    return np.array(chances), moved


def posterior(model: Compiled, chances: Floats, factors: Sequence[Factor], worked: frozenset[str]) -> Posterior:
    """The posterior of the car as it stands now. `worked`: positions whose faults were drawn anew by work."""
    log_prior = _log_sets(model, chances)
    if not worked:
        weights, log_evidence = _weigh(model, log_prior, factors)
        return Posterior(weights, log_evidence, (Epoch(tuple(factors), weights, frozenset()),))
    before = [factor for factor in factors if not factor.after_work]
    since = [factor for factor in factors if factor.after_work]
    old, old_evidence = _weigh(model, log_prior, before)
    weights, new_evidence = _weigh(model, _log_renewed(model, chances, old, worked), since)
    epochs = Epoch(tuple(before), old, worked), Epoch(tuple(since), weights, frozenset())
    return Posterior(weights, old_evidence + new_evidence, epochs)


def _log_sets(model: Compiled, chances: Floats) -> Floats:
    """(H,) log prior of each set, normalised over the sets that are kept."""
    odds = np.append(np.log(chances) - np.log1p(-chances), 0.0)
    return _normalised(sums(model.sets.members, odds))


def _normalised(log_weights: Floats) -> Floats:
    top = log_weights.max()
    result: Floats = log_weights - (top + np.log(np.exp(log_weights - top).sum()))
    return result


def _weigh(model: Compiled, log_prior: Floats, factors: Sequence[Factor]) -> tuple[Floats, float]:
    """Normalised weights and the log probability of the evidence."""
    log_weights = log_prior.copy()
    tables: dict[str, Floats] = {}
    for factor in factors:
        if isinstance(factor, SiteFactor):
            tables[factor.site] = tables.get(factor.site, 0.0) + np.log(factor.table)
        else:
            log_weights += np.log(factor.likelihood(model))
    for site, table in tables.items():
        log_weights += table[model.codes(site)]
    top = log_weights.max()
    weights = np.exp(log_weights - top)
    total = weights.sum()
    return weights / total, float(top + np.log(total))


def _log_renewed(model: Compiled, chances: Floats, old: Floats, worked: frozenset[str]) -> Floats:
    """(H,) log prior after work: outside the worked positions what is believed of the old state, there fresh faults."""
    inside = np.array([f.position in worked or f.input in worked for f in model.faults])
    n_out = int((~inside).sum())
    keep = np.where(inside, n_out, np.cumsum(~inside) - 1)
    part: Ints = project(model.sets, keep, n_out)
    outside = weigh(part, old, count(n_out, model.sets.k))
    fresh = chances.copy()
    for i, fault in enumerate(model.faults):
        if inside[i] and mode_of(model.system, fault).disturbed:
            fresh[i] = observe.WORK_HERE * fresh[i] / (1.0 + (observe.WORK_HERE - 1.0) * fresh[i])
    odds = np.append(np.where(inside, np.log(fresh) - np.log1p(-fresh), 0.0), 0.0)
    with np.errstate(divide="ignore"):
        return _normalised(np.log(outside)[part] + sums(model.sets.members, odds))


def worked_positions(case: Case, factors: Sequence[Factor]) -> frozenset[str]:
    """Positions that work has renewed: those with evidence after work, and with a motion after work the recent work
    too. An entry that is no evidence clears no suspect: nothing has been seen of the new state."""
    after = [factor for factor in factors if factor.after_work]
    found: set[str] = set()
    for factor in after:
        if isinstance(factor, SiteFactor):
            # Of two switches on the pin those that were worked on, where the case says which.
            found |= set(factor.speaks_of) & set(case.recent_work) or set(factor.speaks_of)
    if any(isinstance(factor, MotionFactor) for factor in after):
        found |= set(case.recent_work)
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of one car: `shares` (n,) of the faults, `repairs` (r,) that each repair is needed."""

    model: Compiled
    judgements: tuple[Judgement, ...]
    posterior: Posterior
    chances: Floats
    moved: Mapping[Fault, float]
    shares: Floats
    repairs: Floats


def believe(
    system: TopSystem, case: Case, *, priors: Mapping[Fault, float] | None = None, max_faults: int = 2
) -> Belief:
    """The posterior alone, without reasons, plans and words. Arguments and errors as for `diagnose`."""
    check_case(system, case)
    model = compiled(system, max_faults)
    judgements = tuple(judge(system, observation) for observation in case.observations)
    chances, moved = priors_of(model, case, priors)
    factors = factors_of(model, case, judgements)
    found = posterior(model, chances, factors, worked_positions(case, factors))
    shares = marginals(model.sets.members, found.weights, len(model.faults))
    repairs = marginals(model.repair_members, found.weights, len(model.repair_names))
    return Belief(model, judgements, found, chances, moved, shares, repairs)


def diagnose(
    system: TopSystem, case: Case, *, priors: Mapping[Fault, float] | None = None, max_faults: int = 2
) -> Diagnosis:
    """Suspects with reasons, hypotheses, next checks, proof and warnings for one car.

    `priors`: chance of each fault before anything was observed (trade defaults where missing). `max_faults` 1 to 3.
    Raises CaseError for a case that cannot be, ValueError for an impossible prior or `max_faults`.
    """
    belief = believe(system, case, priors=priors, max_faults=max_faults)
    model, found, judgements = belief.model, belief.posterior, belief.judgements
    repairs = zip(model.repair_names, belief.repairs, strict=True)
    return Diagnosis(
        suspects=_suspects(belief, case),
        hypotheses=_hypotheses(model, found),
        nothing_wrong=float(found.weights[0]),
        next_checks=next_checks(model, case, judgements, found.weights, belief.shares, belief.chances),
        proof=proof_from(system, list(zip(case.observations, judgements, strict=True))),
        judgements=judgements,
        warnings=warnings_of(model, case, judgements, found.epochs, found.log_evidence),
        evidence_log10=found.log_evidence / float(np.log(10.0)),
        left_out=_left_out(belief.chances, max_faults),
        repairs={name: float(p) for name, p in repairs if p >= SHOWN_SUSPECT},
    )


def _suspects(belief: Belief, case: Case) -> tuple[Suspect, ...]:
    model, shares = belief.model, belief.shares
    order = [int(i) for i in np.argsort(-shares, kind="stable") if shares[i] >= SHOWN_SUSPECT]
    reasons = reasons_of(model, case, belief.judgements, belief.posterior.epochs, order, belief.moved)
    return tuple(
        Suspect(
            fault=model.faults[i],
            probability=float(shares[i]),
            words=describe(model.system, model.faults[i]),
            reasons_for=reasons[i][0],
            reasons_against=reasons[i][1],
        )
        for i in order
    )


def _hypotheses(model: Compiled, found: Posterior) -> tuple[Hypothesis, ...]:
    weights = found.weights
    n = min(SHOWN_HYPOTHESES, len(weights))
    top = np.argpartition(-weights, n - 1)[:n]
    top = top[np.lexsort((top, -weights[top]))]
    enough = int(np.searchsorted(np.cumsum(weights[top]), SHOWN_MASS)) + 1
    shown = [_members(model, int(h)) for h in top[:enough]]
    minimal = _minimal(model, found, shown)
    return tuple(
        Hypothesis(tuple(model.faults[i] for i in members), float(weights[h]), frozenset(members) in minimal)
        for h, members in zip(top, shown, strict=False)
    )


def _members(model: Compiled, hypothesis: int) -> tuple[int, ...]:
    return tuple(int(i) for i in model.sets.members[hypothesis] if i < model.sets.n)


def _minimal(model: Compiled, found: Posterior, shown: list[tuple[int, ...]]) -> set[frozenset[int]]:
    """Those of the sets shown that explain all evidence of the car as it is now and of which no smaller set does."""
    parts = sorted({fault for members in shown for fault in members})
    factors = {factor.key: factor for factor in found.epochs[-1].factors}.values()

    local = fault_sets(len(parts), model.sets.k)
    lookup = np.array([*parts, model.sets.n], dtype=np.int32)
    places = rank(lookup[local.members], model.sets.n)
    explains = np.ones(len(local), dtype=bool)
    for factor in factors:
        explains &= factor.likelihood(model, places) >= EXPLAINS
    verdicts = {
        frozenset(lookup[row[row < len(parts)]].tolist()): bool(e)
        for row, e in zip(local.members, explains, strict=True)
    }
    return set(minimal_diagnoses(parts, verdicts.__getitem__, model.sets.k))


def _left_out(chances: Floats, max_faults: int) -> float:
    """Prior chance of more than `max_faults` faults (Poisson-binomial)."""
    numbers = np.zeros(max_faults + 1)
    numbers[0] = 1.0
    for chance in chances:
        numbers[1:] = numbers[1:] * (1.0 - chance) + numbers[:-1] * chance
        numbers[0] *= 1.0 - chance
    return float(max(0.0, 1.0 - numbers.sum()))
