"""Why a suspect is suspected: what each observation says for and against it, all others given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.case import Case
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.evidence import COMPLAINT, RECENT_WORK, Factor
from diagnostics.engine.hypotheses import marginals
from diagnostics.engine.results import Fault, Judgement, Reason
from diagnostics.engine.told import complaint_sentences
from diagnostics.engine.words import _

TELLING = 0.2
"""Reasons below this many nats either way are not worth a sentence."""
MOST_REASONS, MOST_SUSPECTS = 6, 25
NEGLIGIBLE = 1e-8
"""Hypotheses below this share of the best one are left out of the reasons. A factor is rarely below 1e-3 (its slip),
so they cannot return when one observation is left out."""


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
    n = len(model.faults)
    subset = np.flatnonzero(epoch.weights > NEGLIGIBLE * epoch.weights.max())
    members, weights = model.sets.members[subset], epoch.weights[subset]
    total, with_fault = weights.sum(), marginals(members, weights, n)
    known: dict[object, tuple[float, Floats]] = {}
    for factor in epoch.factors:
        if factor.key in known:
            continue
        without = weights / factor.likelihood(model, subset)
        left = marginals(members, without, n)
        whole = without.sum()
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.log(with_fault / left) - np.log((total - with_fault) / (whole - left))
        known[factor.key] = float(np.log(total / whole)), np.nan_to_num(ratio, nan=0.0, posinf=50.0, neginf=-50.0)
    return [(factor, *known[factor.key]) for factor in epoch.factors]


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
