"""Two ways to a proven fix: repair at once, the best order first, or check first. What each is expected to take.

Both are counted on the likeliest fault sets, with the same minutes of repairs, set-ups, trials and proofs and the same
last resort, so that they can be compared. *Repair first* tries repairs by chance over minutes; a repair that was not it
stays in the car. *Check first* makes the suggested check, then after each outcome whichever is shorter from there: the
best check, or to repair. It is counted by exact recursion over the outcomes of the best few checks, to a bounded depth;
behind that it repairs at once, so its minutes are rather too many than too few.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine.ahead import MOST_SECOND
from diagnostics.engine.case import Case
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.faults import Repair, repair_of
from diagnostics.engine.likely import Likely, bits_each, shares_of, shown, widths
from diagnostics.engine.offers import Offer
from diagnostics.engine.repair_order import by_ratio, expected, minutes_if
from diagnostics.engine.results import RepairStep, Ways
from diagnostics.engine.sitting import MINUTES, Sitting, minutes_of
from diagnostics.engine.system.model import SENSORS
from diagnostics.engine.words import _

LAST_RESORT_MINUTES = 240.0
"""If nothing on the list was it: the whole top gone through pin by pin and drive by drive. Common practice, no
source."""
KNOWN_REPAIRS, MOST_REPAIRS, LISTED = 16, 8, 0.02
"""Repairs that are reckoned with at all, and of these how many are put into one order, if their chance is worth it."""
WAYS_SETS, WAYS_MASS = 120, 0.97
DEPTH, RARE = 4, 0.03
"""Checks in a row that are looked through, and the chance of a branch below which it is repaired at once."""
TELLS = 0.02
"""A check that tells fewer bits than this is not made."""
ALIKE_MINUTES, ALIKE = 5.0, 0.1
"""Ways that differ by less than this, or by less than this share, are alike: usual minutes are no better than that."""
OUTER = (0.1, 0.9)


def ways_of(model: Compiled, case: Case, likely: Likely, sitting: Sitting, offers: Sequence[Offer]) -> Ways:
    """Both ways from here. `offers`: the checks worth making, best first. Without `words` where there is nothing to
    choose: no repair stands out, or most likely nothing is wrong."""
    few = likely.cut(WAYS_SETS, WAYS_MASS)
    weights = np.where((few.core < len(model.repair_names)).any(axis=1), few.weights, 0.0)
    if weights.sum() < 0.5:
        return Ways()
    shop = _shop(model, case, few, sitting)
    order = shop.order(weights, shop.reach(sitting), least=1)
    if not order.repairs:
        return Ways()
    steps, repair = shop.steps(order), _Spread.of([(weights, shop.spent(order))])
    if not offers:
        words = _(
            "No check is left that would tell more: about {minutes:.0f} min to a proven fix, repairing in this order."
        )
        return Ways(steps, repair.mean, repair.mean, words.format(minutes=repair.mean))
    offers = offers[:MOST_SECOND]
    check = _Spread.of(
        _Checks(few, shop, offers, [shown(model, few, offer) for offer in offers], sitting).first(weights)
    )
    return Ways(steps, repair.mean, check.mean, _words(repair, check))


@dataclass(frozen=True, slots=True)
class _Spread:
    """Minutes over the cars that it may be: mean, and the range of the middle eight in ten."""

    mean: float
    low: float
    high: float

    @classmethod
    def of(cls, branches: Sequence[tuple[Floats, Floats]]) -> "_Spread":
        weights = np.concatenate([weights for weights, _minutes in branches])
        minutes = np.concatenate([minutes for _weights, minutes in branches])
        order = np.argsort(minutes, kind="stable")
        share = np.cumsum(weights[order]) / weights.sum()
        low, high = (float(minutes[order][min(int(np.searchsorted(share, at)), len(order) - 1)]) for at in OUTER)
        return cls(float(weights @ minutes / weights.sum()), low, high)


def _span(spread: _Spread) -> str:
    """From … to in whole minutes; one number where both are the same."""
    low, high = f"{spread.low:.0f}", f"{spread.high:.0f}"
    return low if low == high else _("{low} to {high}").format(low=low, high=high)


def _words(repair: _Spread, check: _Spread) -> str:
    both = _(
        "Checks first: {check:.0f} min to a proven fix, in eight of ten cars {check_span}; "
        "repairs at once, in this order: {repair:.0f} min, in eight of ten {repair_span}."
    ).format(check=check.mean, check_span=_span(check), repair=repair.mean, repair_span=_span(repair))
    gap = repair.mean - check.mean
    if abs(gap) < max(ALIKE_MINUTES, ALIKE * max(repair.mean, check.mean)):
        return both + " " + _("There is little between them.")
    shorter = (
        _("Checks first is shorter by about {gap:.0f} min.")
        if gap > 0
        else _("Repairing at once is shorter by about {gap:.0f} min.")
    )
    return both + " " + shorter.format(gap=abs(gap))


@dataclass(frozen=True)
class _Shop:
    """The repairs that may be needed, and what they take.

    Of m likely sets and r repairs: `needed` (m, r), `other` (m,) whether something else is needed too; `hands` (r,)
    minutes of the repair itself with the trial after it, `proofs` (r,) of its proof; `opens` (r, r) minutes to reach
    the second once the first is done.
    """

    repairs: tuple[Repair, ...]
    keys: tuple[str, ...]
    needed: Floats
    other: NDArray[np.bool_]
    hands: Floats
    proofs: Floats
    opens: Floats

    def reach(self, sitting: Sitting) -> Floats:
        """(r,) minutes to reach each repair's position from here."""
        return np.array([sitting.reach(repair.position) for repair in self.repairs])

    def order(self, weights: Floats, reach: Floats, least: int = 0) -> "_Order":
        """The best order of the repairs that matter under these weights, and after how many (at least `least`) to call
        the last resort."""
        chances = weights @ self.needed
        listed = np.argsort(-chances, kind="stable")[:MOST_REPAIRS]
        listed = listed[chances[listed] >= LISTED * weights.sum()]
        alone = self.hands[listed] + reach[listed]
        order, tries = by_ratio(chances[listed], alone, self.hands[listed] + self.opens[np.ix_(listed, listed)])
        turn = np.full(len(self.repairs), len(order) + 1)
        turn[listed[order]] = np.arange(1, len(order) + 1)
        last = np.where(self.other, len(order) + 1, (self.needed * turn).max(axis=1, initial=0)).astype(np.int64)
        cost, until = expected(weights, last, tries, self.needed @ self.proofs, LAST_RESORT_MINUTES)
        most = least + int(cost[least:].argmin())
        return _Order([int(i) for i in listed[order]], tries, chances, most, float(cost[most]), last, until)

    def spent(self, order: "_Order") -> Floats:
        """(m,) minutes to a proven fix under each set."""
        return minutes_if(order.most, order.last, order.until, self.needed @ self.proofs, LAST_RESORT_MINUTES)

    def steps(self, order: "_Order") -> tuple[RepairStep, ...]:
        shown = zip(order.repairs[: order.most], order.tries, strict=False)
        return tuple(
            RepairStep(self.keys[i], self.repairs[i].words, float(order.chances[i]), round(minutes, 1))
            for i, minutes in shown
        )


@dataclass(frozen=True)
class _Order:
    """Repairs in order with the minutes of each in its turn and the chance of each repair; `most` of them are tried,
    for `cost` expected minutes (times the weight). `last`, `until`: as in repair_order.py."""

    repairs: list[int]
    tries: list[float]
    chances: Floats
    most: int
    cost: float
    last: Ints
    until: Floats


def _shop(model: Compiled, case: Case, few: Likely, sitting: Sitting) -> _Shop:
    system = model.system
    chances = shares_of(few.core, few.weights, len(model.repair_names))
    listed = [int(i) for i in np.argsort(-chances, kind="stable")[:KNOWN_REPAIRS] if chances[i] > 0.0]
    keys = tuple(model.repair_names[i] for i in listed)
    repairs = tuple(repair_of(system, model.faults[model.repairs.index(key)]) for key in keys)
    needed = np.stack([(few.core == i).any(axis=1) for i in listed], axis=1) if listed else np.zeros((len(few.core), 0))
    asked = (few.core < len(model.repair_names)).sum(axis=1)
    motion = case.complaint.motion if case.complaint is not None else "close"
    trial = minutes_of(sitting, "motion", motion)
    places = [repair.position for repair in repairs]
    done = [sitting.after("look", code).after("motion", motion) for code in places]
    return _Shop(
        repairs=repairs,
        keys=keys,
        needed=needed.astype(np.float64),
        other=asked > needed.sum(axis=1),
        hands=np.array([repair.minutes - system.positions[repair.position].minutes + trial for repair in repairs]),
        proofs=np.array([_proof(model, sitting, code) for code in places]),
        opens=np.array([[after.reach(code) for code in places] for after in done]),
    )


def _proof(model: Compiled, sitting: Sitting, code: str) -> float:
    """Minutes of proving a repair after its trial: a sensor seen made and released at the pin; else the way back."""
    if model.system.positions[code].kind in SENSORS:
        return MINUTES["pin-by-hand"] + sitting.uncover
    return min(minutes_of(sitting, "motion", motion) for motion in model.system.motions)


class _Checks:
    """The recursion of checking first. What a check leaves paid for the next ones is taken from pairs of checks."""

    def __init__(
        self, few: Likely, shop: _Shop, offers: Sequence[Offer], tables: list[Floats], sitting: Sitting
    ) -> None:
        self.few, self.shop, self.offers, self.tables = few, shop, offers, tables
        self.starts = widths(tables)
        self.side_by_side: Floats = np.concatenate(tables, axis=1)
        after = [sitting.after(offer.check, offer.subject) for offer in offers]
        self.costs: Floats = np.array([offer.minutes for offer in offers])
        self.then: Floats = np.array([_then(first, at, offers) for first, at in zip(offers, after, strict=True)])
        self.reach = shop.reach(sitting)
        self.opens: Floats = np.array([shop.reach(at) for at in after])

    def first(self, weights: Floats) -> list[tuple[Floats, Floats]]:
        """Branches (weights, minutes under each set) of making the suggested check now."""
        return self._made(0, weights, self.costs, self.reach, 1)[1]

    def _made(
        self, number: int, weights: Floats, costs: Floats, reach: Floats, depth: int
    ) -> tuple[float, list[tuple[Floats, Floats]]]:
        """Expected minutes (times the weight) and the branches of making a check, and of what is best after it.
        `costs` (checks,), `reach` (repairs,): minutes as things stand."""
        weighed = weights[:, None] * self.tables[number]
        frequent = weighed.sum(axis=0) >= RARE
        parts = [*weighed[:, frequent].T]
        if not frequent.all():
            parts.append(weighed[:, ~frequent].sum(axis=1))
        later = np.where(np.isinf(self.then[number]), np.inf, np.minimum(costs, self.then[number]))
        opened = np.minimum(reach, self.opens[number])
        found = [self._from(part, later, opened, depth) for part in parts]
        cost = float(costs[number])
        total = cost * float(weights.sum()) + sum(minutes for minutes, _branches in found)
        return total, [(part, minutes + cost) for _total, branches in found for part, minutes in branches]

    def _from(
        self, weights: Floats, costs: Floats, reach: Floats, depth: int
    ) -> tuple[float, list[tuple[Floats, Floats]]]:
        """The shorter of repairing now and of the best check."""
        order, total = self.shop.order(weights, reach), float(weights.sum())
        if depth < DEPTH and total >= RARE:
            told = bits_each(
                np.add.reduceat(weights[:, None] * self.side_by_side, self.few.starts, axis=0), self.starts
            )
            best = int((told / costs).argmax())
            if told[best] >= TELLS * total and np.isfinite(costs[best]):
                go_on = self._made(best, weights, costs, reach, depth + 1)
                if go_on[0] < order.cost:
                    return go_on
        return order.cost, [(weights, self.shop.spent(order))]


def _then(first: Offer, at: Sitting, offers: Sequence[Offer]) -> list[float]:
    """Minutes of each check once `first` is made; infinite for itself and where nobody can say."""
    minutes = [None if offer == first else offer.later(first, at) for offer in offers]
    return [np.inf if cost is None else cost for cost in minutes]
