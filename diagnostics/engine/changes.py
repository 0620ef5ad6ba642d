"""What the last entry moved: which suspects, how far, and why.

The odds of a fault move by exactly the likelihood ratio of the entry, all others given: odds after = ratio × odds
before (Bayes). So the move of the log odds is the weight of the entry, and nothing else has to be computed. (The first
entry after work at a position moves more: with it the old state there is no longer what is judged.)
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log

from diagnostics.engine.faults import describe
from diagnostics.engine.inference import SHOWN_SUSPECT, Belief
from diagnostics.engine.reasons import TELLING
from diagnostics.engine.results import Diagnosis, Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _

WORTH_TELLING = 0.01
"""A suspect that was below this share before and after is not worth a word, however far its odds moved."""
MOST_EACH_WAY = 2
EXPECTED = 0.5
"""An entry that was at least this likely before it was made was expected."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What is believed at one moment: `shares` fault -> probability (those below SHOWN_SUSPECT may be missing);
    `evidence_log10`: log10 of the probability of all entries."""

    shares: Mapping[Fault, float]
    evidence_log10: float


@dataclass(frozen=True, slots=True)
class Move:
    """`before`, `after`: probabilities; `llr`: how far the log odds moved (nats), up where positive."""

    fault: Fault
    before: float
    after: float
    llr: float


@dataclass(frozen=True, slots=True)
class Change:
    """`moves`: those that rose first, each way the furthest first; empty when nothing moved. `lines`: the suspect of
    each with how far it went. `words`: all in one sentence, or why nothing moved; `why`: the entry behind it."""

    moves: tuple[Move, ...]
    lines: tuple[tuple[str, str], ...]
    words: str
    why: str


def standing_of(diagnosis: Diagnosis) -> Standing:
    return Standing({one.fault: one.probability for one in diagnosis.suspects}, diagnosis.evidence_log10)


def standing_of_belief(belief: Belief) -> Standing:
    shares = {fault: float(share) for fault, share in zip(belief.model.faults, belief.shares, strict=True)}
    return Standing(shares, belief.posterior.log_evidence / log(10.0))


def change_of(
    system: TopSystem, before: Standing, after: Standing, *, entry: str, counts: bool = True, undone: bool = False
) -> Change:
    """What moved between two moments that differ by one entry. `entry`: its own words; `counts`: it is evidence;
    `undone`: it was taken back, so `before` holds it and `after` does not."""
    moves = moves_between(before, after)
    if moves:
        lines = tuple((describe(system, move.fault).rstrip("."), _way_words(move)) for move in moves)
        told = "; ".join(f"{suspect} {way}" for suspect, way in lines)
        why = _("Because this was taken back: {entry}") if undone else _("Because: {entry}")
        return Change(moves, lines, f"{told}.", why.format(entry=entry))
    return Change((), (), _still(before, after, counts=counts, undone=undone), entry)


def moves_between(before: Standing, after: Standing) -> tuple[Move, ...]:
    """The suspects that moved: up to MOST_EACH_WAY that rose, then as many that fell, each way those first that went
    furthest in per cent: that is what a person sees on the bars. From under 1 % to 2 % is far in odds and of no use."""
    moves = []
    for fault in {**after.shares, **before.shares}:
        was, now = _share(before, fault), _share(after, fault)
        llr = _log_odds(now) - _log_odds(was)
        if max(was, now) >= WORTH_TELLING and abs(llr) >= TELLING and percent(was) != percent(now):
            moves.append(Move(fault, was, now, llr))
    moves.sort(key=lambda move: (-abs(move.after - move.before), move.fault))
    rose = [move for move in moves if move.llr > 0][:MOST_EACH_WAY]
    fell = [move for move in moves if move.llr < 0][:MOST_EACH_WAY]
    return (*rose, *fell)


def percent(share: float) -> str:
    """A probability for people: whole per cent, and never a certainty that nobody has."""
    whole = round(100 * share)
    if whole < 1:
        return _("under 1 %")
    return _("over 99 %") if whole > 99 else _("{percent} %").format(percent=whole)


def _way_words(move: Move) -> str:
    return _("{before} → {after}").format(before=percent(move.before), after=percent(move.after))


def _still(before: Standing, after: Standing, *, counts: bool, undone: bool) -> str:
    """Why nothing moved."""
    if not counts:
        return _("Nothing moved: the entry does not count.")
    if undone:
        return _("Nothing moved back: what was taken back had moved nothing.")
    if before.evidence_log10 == after.evidence_log10:
        return _("Nothing moved: this says nothing about any suspect.")
    if 10.0 ** (after.evidence_log10 - before.evidence_log10) >= EXPECTED:
        return _("Nothing moved: this was expected.")
    return _("Nothing moved: every suspect explains this alike.")


def _share(standing: Standing, fault: Fault) -> float:
    """One that is not named is somewhere below SHOWN_SUSPECT; odds need something above nothing and below all."""
    return min(max(standing.shares.get(fault, SHOWN_SUSPECT / 2), 1e-12), 1.0 - 1e-12)


def _log_odds(share: float) -> float:
    return log(share) - log(1.0 - share)
