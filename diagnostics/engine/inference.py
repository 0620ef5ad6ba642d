"""The suspects: the exact posterior over all sets of up to `max_faults` faults, given everything that is known of the
car.

Faults are independent a priori, given that there are no more than `max_faults` of them; what that leaves out is
stated (`left_out`, the prior weight of larger sets). Observations are independent given the faults. After work the
faults at the positions worked on are drawn anew: what was seen before speaks of the old state and only of the rest of
the car.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from diagnostics.engine import observe
from diagnostics.engine.case import Case, check_case
from diagnostics.engine.compiled import Compiled, Floats, compiled
from diagnostics.engine.conflicts import contradictions
from diagnostics.engine.evidence import Factor, MotionFactor, SiteFactor, factors_of
from diagnostics.engine.faults import default_prior, describe, mode_of
from diagnostics.engine.hypotheses import heaviest, marginals, rank, weigh
from diagnostics.engine.leftout import left_out_most
from diagnostics.engine.minimal import minimal_diagnoses
from diagnostics.engine.planning import plan_of
from diagnostics.engine.proof import proof_from
from diagnostics.engine.reasons import Epoch, reasons_of
from diagnostics.engine.results import Diagnosis, Fault, Hypothesis, Judgement, Suspect
from diagnostics.engine.signals import judge
from diagnostics.engine.surprise import surprise_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.timing import NO_TIMES, References, beside_own_cars
from diagnostics.engine.warnings import warnings_of
from diagnostics.engine.weighing import prior_of, renewed, weigh_evidence

SHOWN_SUSPECT = 0.0005
SHOWN_HYPOTHESES, SHOWN_MASS = 50, 0.999
EXPLAINS = 0.05
"""A set of faults explains the evidence if no observation is less likely than this under it, so none has to be an
error."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """`weights` (H,) sum to 1. `epochs`: what was known before work and since, each with its own weights. `unweighed`:
    the most that sets can weigh which the size of the system did not allow to weigh."""

    weights: Floats
    log_evidence: float
    epochs: tuple[Epoch, ...]
    unweighed: float


def priors_of(
    model: Compiled,
    case: Case,
    priors: Mapping[Fault, float] | None = None,
    worked: frozenset[str] = frozenset(),
) -> tuple[Floats, dict[Fault, float]]:
    """Prior chance of every fault with recent work counted, and the factor on the odds of each that it moved.

    `priors` replaces trade defaults, fault by fault. `worked`: positions that work has renewed since the entries before
    it; it could not have broken them before it was done, so there the factor counts for the renewed state alone
    (`renewed`). Raises ValueError for a chance that is not between 0 and 1.
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
                if fault.position not in worked:
                    chance = factor * chance / (1.0 - chance + factor * chance)
        chances.append(chance)
    return np.array(chances), moved


def posterior(model: Compiled, chances: Floats, factors: Sequence[Factor], worked: frozenset[str]) -> Posterior:
    """The posterior of the car as it stands now. `worked`: positions whose faults were drawn anew by work."""
    prior = prior_of(model, chances)
    if not worked:
        weights, log_evidence = weigh_evidence(model, prior, factors)
        left_out = left_out_most(model, chances, factors, worked, log_evidence)
        return Posterior(weights, log_evidence, (Epoch(tuple(factors), weights, frozenset()),), left_out)
    before = [factor for factor in factors if not factor.after_work]
    since = [factor for factor in factors if factor.after_work]
    old, old_evidence = weigh_evidence(model, prior, before)
    fresh, log_fresh = renewed(model, chances, old, worked)
    weights, new_evidence = weigh_evidence(model, fresh, since)
    log_evidence = old_evidence + new_evidence
    epochs = Epoch(tuple(before), old, worked), Epoch(tuple(since), weights, frozenset())
    left_out = left_out_most(model, chances, factors, worked, log_evidence + log_fresh)
    return Posterior(weights, log_evidence, epochs, left_out)


def worked_positions(case: Case, factors: Sequence[Factor]) -> frozenset[str]:
    """Positions that work has renewed: those with evidence after work, and with a motion after work all that was worked
    on between entries. An entry that is no evidence clears no suspect: nothing has been seen of the new state."""
    after = [factor for factor in factors if factor.after_work]
    done = set(case.recent_work if case.renewed is None else case.renewed)
    found: set[str] = set()
    for factor in after:
        if isinstance(factor, SiteFactor):
            # Of two switches on the pin those that were worked on, where the case says which.
            found |= set(factor.speaks_of) & done or set(factor.speaks_of)
    if any(isinstance(factor, MotionFactor) for factor in after):
        found |= done
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
    system: TopSystem,
    case: Case,
    *,
    priors: Mapping[Fault, float] | None = None,
    max_faults: int = 3,
    step_times: References = NO_TIMES,
) -> Belief:
    """The posterior alone, without reasons, plans and words. Arguments and errors as for `diagnose`."""
    check_case(system, case)
    model = compiled(system, max_faults)
    judgements = tuple(beside_own_cars(system, one, judge(system, one), step_times) for one in case.observations)
    factors = factors_of(model, case, judgements, step_times)
    worked = worked_positions(case, factors)
    chances, moved = priors_of(model, case, priors, worked)
    found = posterior(model, chances, factors, worked)
    shares = marginals(model.sets, found.weights)
    repairs = _repairs(model, found.weights, shares)
    return Belief(model, judgements, found, chances, moved, shares, repairs)


def _repairs(model: Compiled, weights: Floats, shares: Floats) -> Floats:
    """(r,) that each repair is needed: the shares of its faults, less what has several of them."""
    number = {name: i for i, name in enumerate(model.repair_names)}
    found = weigh(np.array([number[name] for name in model.repairs]), shares, len(number))
    places, repairs, beyond = model.repair_twice
    return found - weigh(repairs, weights[places] * beyond, len(number))


def diagnose(
    system: TopSystem,
    case: Case,
    *,
    priors: Mapping[Fault, float] | None = None,
    max_faults: int = 3,
    step_times: References = NO_TIMES,
) -> Diagnosis:
    """Suspects with reasons, hypotheses, next checks, proof and warnings for one car.

    `priors`: chance of each fault before anything was observed (trade defaults where missing). `max_faults` 1 to 3.
    `step_times`: what the steps take in the shop's own cars; the system's usual seconds where missing.
    Raises CaseError for a case that cannot be, ValueError for an impossible prior or `max_faults`.
    """
    belief = believe(system, case, priors=priors, max_faults=max_faults, step_times=step_times)
    model, found, judgements = belief.model, belief.posterior, belief.judgements
    repairs = zip(model.repair_names, belief.repairs, strict=True)
    plan = plan_of(model, case, judgements, found.weights, belief.shares, belief.chances)
    disagree = contradictions(model, case, judgements, found.epochs)
    return Diagnosis(
        suspects=_suspects(belief, case),
        hypotheses=_hypotheses(model, found),
        nothing_wrong=float(found.weights[0]),
        next_checks=plan.next_checks,
        ways=plan.ways,
        proof=proof_from(system, list(zip(case.observations, judgements, strict=True))),
        judgements=judgements,
        warnings=(*warnings_of(model, case, judgements, found.unweighed), *disagree.flickers),
        conflicts=disagree.conflicts,
        surprise=surprise_of(model, case, judgements, found.epochs, found.log_evidence),
        evidence_log10=found.log_evidence / float(np.log(10.0)),
        left_out=_left_out(belief.chances, max_faults),
        unweighed=found.unweighed,
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
    top = heaviest(weights, SHOWN_HYPOTHESES)
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
    k, n = model.sets.k, model.sets.n
    parts = {part for members in shown for size in range(len(members) + 1) for part in combinations(members, size)}
    candidates = sorted(parts)
    places = rank(np.array([[*part, *[n] * (k - len(part))] for part in candidates]), n)
    explains = np.ones(len(places), dtype=bool)
    for factor in {factor.key: factor for factor in found.epochs[-1].factors}.values():
        explains &= factor.likelihood(model, places) >= EXPLAINS
    verdicts = {frozenset(part): bool(verdict) for part, verdict in zip(candidates, explains, strict=True)}
    minimal: set[frozenset[int]] = set()
    for members in shown:
        minimal |= {frozenset(members)} & set(minimal_diagnoses(members, verdicts.__getitem__, k))
    return minimal


def _left_out(chances: Floats, max_faults: int) -> float:
    """Prior chance of more than `max_faults` faults (Poisson-binomial)."""
    numbers = np.zeros(max_faults + 1)
    numbers[0] = 1.0
    for chance in chances:
        numbers[1:] = numbers[1:] * (1.0 - chance) + numbers[:-1] * chance
        numbers[0] *= 1.0 - chance
    return float(max(0.0, 1.0 - numbers.sum()))
