"""Two steps ahead: a check is worth what it tells together with the best check after it, by the minutes of both.

One step alone misjudges a check that pays a set-up for others, or that tells little by itself and much with another.
After each outcome of the first check the second one is chosen anew, or none where it would lower the rate. So the rate
of both is never below that of the first alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.likely import Likely, bits_each, shown, widths
from diagnostics.engine.offers import Offer
from diagnostics.engine.sitting import MINUTES, Sitting

CLOSE = 0.5
"""A check is looked ahead from if its rate is at least this share of the best one's …"""
MOST_FIRST, MOST_SECOND = 6, 12
AHEAD_SETS, AHEAD_MASS = 200, 0.98
RARE = 0.005
"""After an outcome less likely than this nothing more is counted: what is said of both checks is rather too little."""


@dataclass(frozen=True, slots=True)
class Rated:
    """An offer with the bits that it tells, and bits and minutes of it with the best check after it."""

    offer: Offer
    bits: float
    ahead_bits: float
    ahead_minutes: float

    @property
    def rate(self) -> float:
        return self.ahead_bits / self.ahead_minutes


def rated(
    model: Compiled, likely: Likely, sitting: Sitting, offers: Sequence[Offer], gains: Sequence[float]
) -> list[Rated]:
    """Every offer with `gains` (bits of each alone), looked ahead from where it may pay."""
    found = [Rated(offer, gain, gain, offer.minutes) for offer, gain in zip(offers, gains, strict=True)]
    firsts = _firsts(found, sitting)
    seconds = sorted(found, key=lambda one: -one.bits / MINUTES[one.offer.check])[:MOST_SECOND]
    if len(seconds) < 2:
        return found
    few = likely.cut(AHEAD_SETS, AHEAD_MASS)
    then = _Seconds(model, few, [one.offer for one in seconds])
    for place in firsts:
        found[place] = _ahead(found[place], then, few, sitting, few.mass / likely.mass)
    return found


def _firsts(found: Sequence[Rated], sitting: Sitting) -> list[int]:
    """Where looking ahead may pay: the rate is close to the best, or it would be were its set-up paid."""
    best = max((one.rate for one in found), default=0.0)
    order = sorted(range(len(found)), key=lambda i: -found[i].rate)
    close = [i for i in order if found[i].rate >= CLOSE * best]
    paying = [
        i
        for i in order
        if i not in close and found[i].offer.pays(sitting) and found[i].bits / MINUTES[found[i].offer.check] >= best
    ]
    return [*close[: MOST_FIRST - min(len(paying), MOST_FIRST // 2)], *paying][:MOST_FIRST]


class _Seconds:
    """The checks that may come second, with what each shows under the likely sets, side by side."""

    def __init__(self, model: Compiled, likely: Likely, offers: Sequence[Offer]) -> None:
        self.model, self.likely, self.offers = model, likely, offers
        tables = [shown(model, likely, offer) for offer in offers]
        self.first = widths(tables)
        self.shows: Floats = np.concatenate(tables, axis=1)

    def bits(self, weights: Floats) -> Floats:
        """(offers,) what each tells under these unnormalised weights (m,) of the likely sets, times their sum."""
        return bits_each(np.add.reduceat(weights[:, None] * self.shows, self.likely.starts, axis=0), self.first)


def _ahead(one: Rated, then: _Seconds, likely: Likely, sitting: Sitting, share: float) -> Rated:
    """`share`: weight of the few sets looked at here among those that the gains were counted on."""
    after = sitting.after(one.offer.check, one.offer.subject)
    minutes = np.array([np.nan if o == one.offer else _or_nan(o.later(one.offer, after)) for o in then.offers])
    usable = np.flatnonzero(~np.isnan(minutes))
    if not len(usable):
        return one
    weights = likely.weights[:, None] * shown(then.model, likely, one.offer)
    chances = weights.sum(axis=0)
    outcomes = np.flatnonzero(chances >= RARE)
    told = share * np.array([then.bits(weights[:, outcome])[usable] for outcome in outcomes])
    cost = np.outer(chances[outcomes], minutes[usable])
    bits, spent = best_rate(one.bits, one.offer.minutes, told, cost)
    return Rated(one.offer, one.bits, bits, spent)


def _or_nan(minutes: float | None) -> float:
    return float("nan") if minutes is None else minutes


def best_rate(bits: float, minutes: float, told: Floats, cost: Floats) -> tuple[float, float]:
    """The most bits a minute of a first check and, after each of its outcomes, one more or none.

    `bits`, `minutes` of the first; `told`, `cost` (outcomes, checks) bits and minutes of each second one, times the
    chance of the outcome. Returns bits and minutes of both (Dinkelbach's iteration on their ratio: it only rises).
    """
    both, spent = bits, minutes
    rows = np.arange(len(told))
    while True:
        surplus = told - both / spent * cost
        choice = surplus.argmax(axis=1)
        taken = surplus[rows, choice] > 1e-12
        new_both = bits + float(told[rows, choice][taken].sum())
        new_spent = minutes + float(cost[rows, choice][taken].sum())
        if new_both / new_spent <= both / spent * (1.0 + 1e-12):
            return both, spent
        both, spent = new_both, new_spent
