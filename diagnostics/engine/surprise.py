"""Whether all entries together are beyond belief, and which of them fits the others least.

Asked where the probability of all evidence falls below one in a million million. By itself that says little: the
product of thousands of fine readings is as small. So it is compared with what as many entries are expected to come to.
Expected is the mean of the log probability that the likeliest state gives to entries of these checks, with its standard
deviation; of a motion trial and of the complaint, whose answers have many parts, one nat below the best that any state
gives. Evidence is beyond belief if it is below 1e-12, and more than a million times and four standard deviations
below what is expected.

The most surprising entry is the one with the lowest probability given all the others: sum(w) / sum(w / L) over all
states, with the weights w given everything and its likelihood L.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from diagnostics.engine.case import Case
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.evidence import COMPLAINT, Factor, SiteFactor, outcome_table
from diagnostics.engine.hypotheses import weigh
from diagnostics.engine.reasons import Epoch, words_of
from diagnostics.engine.results import Judgement, Surprise
from diagnostics.engine.words import _

UNLIKELY_LOG = float(np.log(1e-12))
BELOW_LOG = float(np.log(1e-6))
DEVIATIONS = 4.0
LEAST_LIKELY = 1e-5
"""A motion trial or complaint is hardly less likely than this under any state."""
EXACT = 1e-6
"""Relative error allowed of the probability of an entry."""


class _Expected(NamedTuple):
    log: float
    variance: float


def surprise_of(
    model: Compiled, case: Case, judgements: Sequence[Judgement], epochs: Sequence[Epoch], log_evidence: float
) -> Surprise | None:
    """None where the evidence can be believed. `log_evidence`: natural log of the probability of all entries."""
    if log_evidence >= UNLIKELY_LOG:
        return None
    expected = [one for epoch in epochs for one in _expected_of(model, epoch)]
    slack = max(-BELOW_LOG, DEVIATIONS * float(np.sqrt(sum(one.variance for one in expected))))
    if log_evidence >= sum(one.log for one in expected) - slack:
        return None
    chance, entry = min(pair for epoch in epochs for pair in predictive(model, epoch))
    what = words_of(model, case, judgements, entry)
    where = _("the complaint") if entry == COMPLAINT else _("entry {number}").format(number=entry + 1)
    words = _(
        "All entries together are less likely than one in a million million. The most surprising is {where}: {what}"
    )
    return Surprise(entry, chance, words.format(where=where, what=what))


def predictive(model: Compiled, epoch: Epoch) -> Iterator[tuple[float, int]]:
    """(probability given all other entries of the epoch, entry); entries that say the same are counted once."""
    places = _that_count(epoch)
    weights = epoch.weights[places]
    at_site: dict[str, Floats] = {}
    seen = set()
    for factor in epoch.factors:
        if factor.key in seen:
            continue
        seen.add(factor.key)
        if isinstance(factor, SiteFactor):
            # What an entry says depends on the faults at its site alone, so their weights are enough.
            if factor.site not in at_site:
                n = len(model.sites[factor.site].sets)
                at_site[factor.site] = weigh(model.codes(factor.site, places), weights, n)
            without = (at_site[factor.site] / factor.table).sum()
        else:
            without = (weights / factor.likelihood(model, places)).sum()
        yield float(weights.sum() / without), factor.entry


def _that_count(epoch: Epoch) -> Ints:
    """Places of the states that can matter when one entry is left out: the others weigh next to nothing even then."""
    tables = [float(factor.table.min()) for factor in epoch.factors if isinstance(factor, SiteFactor)]
    least = min([*tables, LEAST_LIKELY]) * EXACT * float(epoch.weights.sum())
    for share in (1e-8, 1e-11, 1e-14):
        heavy = epoch.weights > share * epoch.weights.max()
        if float(epoch.weights[~heavy].sum()) <= least:
            return np.flatnonzero(heavy).astype(np.int32)
    return np.arange(len(epoch.weights), dtype=np.int32)


def _expected_of(model: Compiled, epoch: Epoch) -> Iterator[_Expected]:
    """Of each entry; entries that say the same are looked up once."""
    likeliest, known = int(epoch.weights.argmax()), {}
    for factor in epoch.factors:
        if factor.key not in known:
            known[factor.key] = _expected(model, factor, likeliest)
        yield known[factor.key]


def _expected(model: Compiled, factor: Factor, likeliest: int) -> _Expected:
    """Of an entry of this check where the likeliest state (its place) is true."""
    if not isinstance(factor, SiteFactor):
        best = float(factor.likelihood(model, np.arange(len(model.faults) + 1)).max())
        return _Expected(float(np.log(best)) - 1.0, 1.0)
    check, site, due = factor.key[:3]  # type: ignore[index]
    local = int(model.codes(site, np.array([likeliest]))[0])
    chances = outcome_table(model, check, site, due)[local]
    logs = np.log(chances[chances > 0.0])
    mean = float(chances[chances > 0.0] @ logs)
    return _Expected(mean, float(chances[chances > 0.0] @ (logs - mean) ** 2))
