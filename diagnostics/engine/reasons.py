"""Why a suspect is suspected: what each observation says for and against it, all others given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.case import Case
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.evidence import COMPLAINT, RECENT_WORK, Factor, SiteFactor
from diagnostics.engine.hypotheses import marginals
from diagnostics.engine.joint import Joint
from diagnostics.engine.results import Fault, Judgement, Reason
from diagnostics.engine.told import complaint_sentences
from diagnostics.engine.words import _

TELLING = 0.2
"""Reasons below this many nats either way are not worth a sentence."""
MOST_REASONS, MOST_SUSPECTS = 6, 25


@dataclass(frozen=True, slots=True)
class Epoch:
    """The factors between two pieces of work, the weights given all up to then, and the positions renewed
    afterwards."""

    factors: tuple[Factor, ...]
    weights: Floats
    renewed: frozenset[str]


Reasons = tuple[tuple[Reason, ...], tuple[Reason, ...]]


def without_each(model: Compiled, epoch: Epoch) -> list[tuple[Factor, float, Floats]]:
    """For each factor: it, its log chance given all others, and (n,) its log-likelihood ratio for each fault.

    With w the weights given everything and L the factor, the weights without it are w/L. So the chance of the factor
    with a fault f, all else given, is sum(w, f) / sum(w/L, f), and the same without f; the ratio is their quotient.
    """
    joint = Joint(model, epoch.weights)
    known: dict[object, tuple[float, Floats]] = {}
    for factor in epoch.factors:
        if factor.key in known:
            continue
        whole, left = _without(joint, factor)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.log(joint.shares / left) - np.log((1.0 - joint.shares) / (whole - left))
        known[factor.key] = -float(np.log(whole)), np.nan_to_num(ratio, nan=0.0, posinf=50.0, neginf=-50.0)
    return [(factor, *known[factor.key]) for factor in epoch.factors]


def _without(joint: Joint, factor: Factor) -> tuple[float, Floats]:
    """sum(w/L), of all sets and (n,) of those with each fault."""
    if isinstance(factor, SiteFactor):
        whole, with_fault = joint.at(factor.site)
        return float((whole / factor.table).sum()), (1.0 / factor.table) @ with_fault
    without = joint.weights / factor.likelihood(joint.model)
    return float(without.sum()), marginals(joint.model.sets, without)


def reasons_of(
    model: Compiled,
    case: Case,
    judgements: Sequence[Judgement],
    epochs: Sequence[Epoch],
    suspects: Sequence[int],
    moved: Mapping[Fault, float],
) -> dict[int, Reasons]:
    """Reasons for and against each suspect (index of the fault), the strongest first; none for those far down the
    list."""
    found: dict[int, list[Reason]] = {suspect: [] for suspect in suspects}
    told: dict[int, set[str]] = {suspect: set() for suspect in suspects}
    for suspect in suspects[:MOST_SUSPECTS]:
        odds = moved.get(model.faults[suspect])
        if odds is not None:
            found[suspect].append(Reason(RECENT_WORK, float(np.log(odds)), _("There was work here or beside it.")))
    for epoch in epochs:
        for factor, _chance, ratios in without_each(model, epoch):
            words = ""
            for suspect in suspects[:MOST_SUSPECTS]:
                ratio = float(ratios[suspect])
                if abs(ratio) < TELLING or model.faults[suspect].position in epoch.renewed:
                    continue
                words = words or words_of(model, case, judgements, factor.entry)
                if words not in told[suspect]:  # the same reading twice is one reason in words
                    told[suspect].add(words)
                    found[suspect].append(Reason(factor.entry, ratio, words))
    return {suspect: _split(reasons) for suspect, reasons in found.items()}


def _split(reasons: list[Reason]) -> Reasons:
    ordered = sorted(reasons, key=lambda reason: (-abs(reason.llr), reason.observation))
    speaks_for = tuple(reason for reason in ordered if reason.llr > 0)[:MOST_REASONS]
    against = tuple(reason for reason in ordered if reason.llr < 0)[:MOST_REASONS]
    return speaks_for, against


def words_of(model: Compiled, case: Case, judgements: Sequence[Judgement], entry: int) -> str:
    """An entry as a sentence: the complaint, or what was judged of an observation."""
    if entry != COMPLAINT or case.complaint is None:
        return judgements[entry].words
    return _("The complaint: {words}").format(words=" ".join(complaint_sentences(model.system, case.complaint)))
