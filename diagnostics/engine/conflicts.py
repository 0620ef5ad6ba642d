"""Entries that contradict each other: which two, and which of them to make again. Nothing is averaged away.

Two entries can be in conflict only if they speak against each other: both together are clearly less likely than if they
had nothing to do with one another. That is the conflict measure log(P(a)·P(b) / P(a and b)) (Jensen, Chamberlain,
Nordahl and Jensen, Analysis in HUGIN of data conflict, 1990, as the manual of that program gives it), here over the
states of a car with at most one fault, whatever was seen besides.

They are in conflict if the suspects, given all entries, then say that one of the two is more likely wrong than not: no
state that is believed explains both without calling one an error. Where a fault that comes and goes explains both,
they are none, and that is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine.case import Case, MotionTrial, PinReading
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.evidence import Factor, SiteFactor
from diagnostics.engine.reasons import Epoch
from diagnostics.engine.results import Conflict, Judgement
from diagnostics.engine.sitting import MINUTES, motion_minutes
from diagnostics.engine.words import _

AGAINST = float(np.log(2.0))
"""Entries at most half as likely together as apart speak against each other. Above 0 is a possible conflict; a factor
of two leaves out what mere rounding of the rates brings about."""
ODDS = 0.01
"""Odds of each single fault in that measure: high enough that a contradiction shows whatever the car's age."""
ERROR = 0.05
"""An entry is an error under a state that makes it at most this many times as likely as the best state does."""
IN_DOUBT = 0.5
"""From this chance on that one of two entries is an error they are in conflict: it is then likelier than not."""
FLICKERS = 0.1
"""From this chance on it is said that a fault that comes and goes would explain both."""
BELIEVED, MOST_STATES = 1e-5, 4000
"""States below this share of the likeliest one are left out, and all but so many of the likeliest. Of a car of which
little is known that can be some per cent of the weight, spread over so many states that they favour no entry."""
MOST_CONFLICTS = 20


@dataclass(frozen=True, slots=True)
class Contradictions:
    """Conflicts, the surest first, and what comes and goes in their place, as sentences."""

    conflicts: tuple[Conflict, ...] = ()
    flickers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Views:
    """What is thought of K different entries: `factors`; (K, K) `against` each other, `doubt` that one of two is an
    error, `flickers` that something comes and goes and neither is; (K,) `wrong` each one by itself."""

    factors: tuple[Factor, ...]
    against: Floats
    doubt: Floats
    flickers: Floats
    wrong: Floats


def contradictions(
    model: Compiled, case: Case, judgements: Sequence[Judgement], epochs: Sequence[Epoch]
) -> Contradictions:
    """Of the entries that can still be made again as they were. Entries that say the same count once, the newest."""
    conflicts: list[Conflict] = []
    flickers: list[str] = []
    for epoch in epochs:
        factors = _repeatable(epoch)
        if len(factors) < 2:
            continue
        views = _views(model, epoch.weights, factors)
        conflicts += _conflicts(model, case, judgements, views)
        flickers += _flickers(views)
    return Contradictions(tuple(conflicts[:MOST_CONFLICTS]), tuple(flickers[:MOST_CONFLICTS]))


def _repeatable(epoch: Epoch) -> tuple[Factor, ...]:
    """The newest of each different entry, without what work has overtaken."""
    found: dict[object, Factor] = {}
    for factor in epoch.factors:
        still = not epoch.renewed or (isinstance(factor, SiteFactor) and not epoch.renewed & set(factor.speaks_of))
        if factor.entry >= 0 and still:
            found[factor.key] = factor
    return tuple(found.values())


def _views(model: Compiled, weights: Floats, factors: tuple[Factor, ...]) -> _Views:
    n = len(model.faults)
    single = np.arange(n + 1)  # the empty set and every fault alone stand first
    odds = np.full(n + 1, ODDS)
    odds[0] = 1.0
    odds /= odds.sum()
    alone = np.array([factor.likelihood(model, single) for factor in factors])
    each = alone @ odds
    together = (alone * odds) @ alone.T
    places = np.flatnonzero(weights > BELIEVED * weights.max())
    if len(places) > MOST_STATES:
        places = places[np.argpartition(-weights[places], MOST_STATES)[:MOST_STATES]]
    now = np.array([factor.likelihood(model, places) for factor in factors])
    best = np.maximum(alone.max(axis=1), now.max(axis=1))
    right = (now > ERROR * best[:, None]).astype(float)
    believed = weights[places] / weights[places].sum()
    both = (right * believed) @ right.T
    come_and_go = _come_and_go(model, factors, places) * right
    flickers = np.maximum((come_and_go * believed) @ right.T, (right * believed) @ come_and_go.T)
    return _Views(factors, np.log(np.outer(each, each) / together), 1.0 - both, flickers, 1.0 - right @ believed)


def _come_and_go(model: Compiled, factors: tuple[Factor, ...], places: NDArray[np.integer]) -> Floats:
    """(K, m) whether under each state something comes and goes at the place that an entry speaks of."""
    members = model.sets.members[places]
    known: dict[tuple[str, ...], Floats] = {}
    for where in {_speaks_of(factor) for factor in factors}:
        there = [fault.mode == "comes-and-goes" and fault.position in where for fault in model.faults]
        known[where] = np.array([*there, False])[members].any(axis=1).astype(float)
    return np.array([known[_speaks_of(factor)] for factor in factors])


def _speaks_of(factor: Factor) -> tuple[str, ...]:
    return factor.speaks_of if isinstance(factor, SiteFactor) else ()


def _pairs(views: _Views) -> list[tuple[int, int]]:
    """Entries that speak against each other: the same check at the same place first, then those that do so most."""
    rows, columns = np.nonzero(np.triu(views.against >= AGAINST, 1))
    pairs = zip(rows.tolist(), columns.tolist(), strict=True)
    kinds = [_kind(factor) for factor in views.factors]
    return sorted(
        pairs, key=lambda pair: (kinds[pair[0]] != kinds[pair[1]], -round(float(views.against[pair]), 6), pair)
    )


def _conflicts(model: Compiled, case: Case, judgements: Sequence[Judgement], views: _Views) -> list[Conflict]:
    """Each entry in doubt once, with the one that speaks most against it."""
    found, told = [], set()
    for pair in _pairs(views):
        doubtful = max(pair, key=lambda one: views.wrong[one])
        if views.doubt[pair] < IN_DOUBT or doubtful in told:
            continue
        told.add(doubtful)
        again = max(pair, key=lambda one: (views.wrong[one] / _minutes(model, case, views.factors[one]), one))
        first, second = sorted(views.factors[one].entry for one in pair)
        repeat = views.factors[again].entry
        words = [_disagree(model, case, judgements, (first, second)), _again(repeat, again == doubtful)]
        if views.flickers[pair] >= FLICKERS:
            words.append(_("If it comes out the same, something there comes and goes."))
        found.append(Conflict((first, second), repeat, " ".join(words)))
    return found


def _minutes(model: Compiled, case: Case, factor: Factor) -> float:
    observation = case.observations[factor.entry]
    more = motion_minutes(model.system, observation.motion) if isinstance(observation, MotionTrial) else 0.0
    return MINUTES[observation.check] + more


def _disagree(model: Compiled, case: Case, judgements: Sequence[Judgement], entries: tuple[int, int]) -> str:
    first, second = entries
    one, other = case.observations[first], case.observations[second]
    names = {"first": first + 1, "second": second + 1}
    if isinstance(one, PinReading) and isinstance(other, PinReading) and one.position == other.position:
        words = _("Entries {first} and {second} contradict each other: {position} read {one}, then {other}.")
        states = (judgements[entry].reads or _("neither one nor the other") for entry in entries)
    else:
        words = _("Entries {first} and {second} contradict each other: “{one}” and “{other}”")
        states = (_said(model, case, judgements, entry) for entry in entries)
    return words.format(
        **names, position=getattr(one, "position", ""), **dict(zip(("one", "other"), states, strict=True))
    )


def _again(repeat: int, doubtful: bool) -> str:
    if doubtful:
        return _("Make entry {repeat} again: it is the likelier error.").format(repeat=repeat + 1)
    return _("Make entry {repeat} again: it is the quicker to repeat.").format(repeat=repeat + 1)


def _said(model: Compiled, case: Case, judgements: Sequence[Judgement], entry: int) -> str:
    """An entry in short."""
    observation = case.observations[entry]
    if not isinstance(observation, MotionTrial):
        return judgements[entry].words
    motion = model.system.motions[observation.motion]
    if observation.stops_at is None:
        return _("{motion} ran to its end.").format(motion=motion.title)
    step = next(step.title for step in motion.steps if step.name == observation.stops_at)
    return _("{motion} stops at “{step}”.").format(motion=motion.title, step=step)


def _flickers(views: _Views) -> list[str]:
    found = []
    for one, other in _pairs(views):
        doubt, flickers = float(views.doubt[one, other]), float(views.flickers[one, other])
        factors = views.factors[one], views.factors[other]
        if doubt >= IN_DOUBT or flickers < IN_DOUBT * (1.0 - doubt) or _place(factors[0]) != _place(factors[1]):
            continue
        first, second = sorted(factor.entry for factor in factors)
        words = _("Entries {first} and {second} differ: {position} comes and goes would explain both.")
        position = next(factor.site for factor in factors if isinstance(factor, SiteFactor))
        found.append(words.format(first=first + 1, second=second + 1, position=position))
    return found


def _kind(factor: Factor) -> tuple[str, str]:
    return str(factor.key[0]), _place(factor)  # type: ignore[index]


def _place(factor: Factor) -> str:
    return factor.site if isinstance(factor, SiteFactor) else f"motion {factor.entry}"
