"""Demand over a random lead time and the review period after it.

A month's demand is given as a distribution of how often the part is asked for; each asking falls on any day of the
month alike (binomial thinning: of n askings, each lies in a stretch of f months with chance f) and takes a number of
pieces of its own, so that two cylinders for one car are asked for on one day. Stretches of all lead times are mixed as
matrices over askings, which parts of one supplier share; whole months multiply and sizes replace z as generating
functions on the unit circle; one inverse Fourier transform gives the distribution, without approximation.

Deliveries come in the order in which they were sent for: then stock at a delivery is the position at the order less the
demand over that order's own lead time (Hadley & Whitin, Analysis of Inventory Systems, 1963; MEM). Where months scatter
more than Poisson's, all of a short stretch lies in one month here, in life sometimes in two: what is served is then
told up to two points too low (tests/parts/test_plan_kept.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from parts.planning.counts import CELLS, Floats

MONTH = 365.25 / 12
"""Days of a month."""
NOTHING = 1e-13
"""What is left of a tail below this is cut off."""
ONE_AT_A_TIME = np.array([0.0, 1.0])
_Kind = tuple[bytes, int, float, int, int]
"""Lead times, review days, days of a month, entries of a month's and of the sizes' distribution."""


@dataclass(frozen=True, slots=True, eq=False)
class ProtectedDemand:
    """Demand in pieces as an order sees it: `lead` from the order to its delivery, `protected` from the order to the
    delivery of the order that the next review may make, `review` between two reviews. Each is a distribution over
    0, 1, … pieces; all have the same length. `lead_days`: mean lead time; `review_days`: days between two reviews."""

    lead: Floats
    protected: Floats
    review: Floats
    lead_days: float
    review_days: int

    @property
    def a_month(self) -> float:
        """Mean pieces asked for in a month of the time that an order protects."""
        return mean(self.protected) * MONTH / (self.lead_days + self.review_days)


def mean(pmf: Floats) -> float:
    return float(pmf @ np.arange(len(pmf)))


def checked(pmf: Floats, what: str) -> Floats:
    """`pmf` as an array without a tail of nothing; raises ValueError that names `what`."""
    found = np.asarray(pmf, dtype=np.float64)
    if found.ndim != 1 or not len(found) or not np.all(np.isfinite(found)) or found.min() < 0:
        raise ValueError(f"{what}: expected probabilities of 0, 1, 2, … with none below 0")
    total = found.sum()
    if abs(total - 1.0) > 1e-6:
        raise ValueError(f"{what}: expected probabilities that sum to 1, they sum to {total:.6g}")
    found = found / total
    left = np.cumsum(found[::-1])[::-1]
    return np.asarray(found[: max(int(np.count_nonzero(left > NOTHING)), 1)])


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What the demand for a part is expected to be. `months`: for each month from now on the distribution of the number
    of askings (0, 1, …); what lies beyond the last is like the last. `lead`: chance of 0, 1, … days from order to
    delivery. `sizes`: chance that an asking takes 0, 1, … pieces. `month_days`: how long each of `months` is.

    Months are taken as independent. Where what is not known of a part is wrong for all months alike, give their demand
    as a whole, as one long month that covers lead time and review: thinned, it stays as uncertain as it is.
    """

    months: Sequence[Floats]
    lead: Floats
    review_days: int
    sizes: Floats = field(default_factory=lambda: ONE_AT_A_TIME)
    month_days: float = MONTH


def protected_demand(outlook: Outlook) -> ProtectedDemand:
    return protected_demands([outlook])[0]


def protected_demands(outlooks: Sequence[Outlook]) -> list[ProtectedDemand]:
    """In the order of `outlooks`; those of one supplier, review period and size of numbers are computed together.

    Raises ValueError: something is no distribution, no month, a month or review period below one day.
    """
    alike: dict[_Kind, list[int]] = {}
    askings: list[list[Floats]] = []
    pieces: list[Floats] = []
    sound: dict[tuple[int, str], Floats] = {}  # many parts share one array of lead times or sizes

    def once(pmf: Floats, what: str) -> Floats:
        if (id(pmf), what) not in sound:
            sound[id(pmf), what] = checked(pmf, what)
        return sound[id(pmf), what]

    for row, outlook in enumerate(outlooks):
        if outlook.review_days < 1 or outlook.month_days < 1 or not outlook.months:
            raise ValueError("expected at least one month of demand, and months and review of at least one day")
        askings.append([checked(month, f"demand of month {at}") for at, month in enumerate(outlook.months, start=1)])
        pieces.append(once(outlook.sizes, "pieces of one asking"))
        lead = once(outlook.lead, "lead time")
        width = 1 << (max(map(len, askings[row])) - 1).bit_length()
        alike.setdefault((lead.tobytes(), outlook.review_days, outlook.month_days, width, len(pieces[row])), []).append(
            row
        )
    found: dict[int, ProtectedDemand] = {}
    for kind, rows in alike.items():
        step = max(CELLS // kind[3] ** 2 // kind[4], 1)
        for first in range(0, len(rows), step):
            some = rows[first : first + step]
            together = _together(kind, [askings[row] for row in some], np.stack([pieces[row] for row in some]))
            found.update(zip(some, together, strict=True))
    return [found[row] for row in range(len(outlooks))]


def _together(kind: _Kind, askings: Sequence[Sequence[Floats]], pieces: Floats) -> list[ProtectedDemand]:
    """Parts of one kind; `pieces` (parts × sizes)."""
    lead, review_days, month_days, width, sizes = kind
    mixed = _mixed(lead, review_days, month_days, width)
    count = len(mixed)
    table = np.zeros((len(askings), count, width))
    for row, months in enumerate(askings):
        for number in range(count):
            month = months[min(number, len(months) - 1)]
            table[row, number, : len(month)] = month
    length = 1 + (sizes - 1) * count * (width - 1)
    size = 1 << max(length - 1, 1).bit_length()  # holds the largest demand: nothing wraps around
    if (pieces == pieces[0]).all():
        pieces = pieces[:1]
    powers = np.ones((len(pieces), width, size // 2 + 1), dtype=np.complex128)
    powers[:, 1:] = np.fft.rfft(pieces, size)[:, None]
    np.cumprod(powers, axis=1, out=powers)
    whole = np.ones((len(askings), count, 1, size // 2 + 1), dtype=np.complex128)
    whole[:, 1:, 0] = np.cumprod(table @ powers, axis=1)[:, :-1]
    begun = (table[:, :, None, None] @ mixed)[:, :, :, 0] @ powers[:, None]
    pmfs = np.clip(np.fft.irfft((whole * begun).sum(axis=1), size)[:, :, :length], 0.0, None)
    pmfs /= pmfs.sum(axis=2, keepdims=True)
    beyond = np.cumsum(pmfs[:, 1, ::-1], axis=1)[:, ::-1].max(axis=0)
    keep = max(int(np.count_nonzero(beyond > NOTHING)), 2)
    days = mean(np.frombuffer(lead))
    return [ProtectedDemand(row[0], row[1], row[2], days, review_days) for row in pmfs[:, :, :keep]]


@lru_cache(maxsize=64)
def _mixed(lead: bytes, review_days: int, month_days: float, width: int) -> Floats:
    """(months × 3 × width × width) chance that n askings of a month, begun when the months before it are over, leave k
    within the stretch: from the order to its delivery, to the delivery after the next review, to the next review.
    Stretches that end in other months weigh nothing."""
    days = np.frombuffer(lead)
    weights = np.zeros((3, len(days) + review_days))
    weights[0, : len(days)] = days
    weights[1, review_days:] = days
    weights[2, review_days] = 1.0
    stretches = np.arange(weights.shape[1]) / month_days
    month = np.floor(stretches).astype(int)
    share = (stretches - month)[:, None]
    ends_in = (month == np.arange(month[-1] + 1)[:, None])[:, None] * weights
    found = np.empty((*ends_in.shape[:2], width, width))
    left = np.zeros((len(share), width))  # of so many askings, as many within the stretch: a row more of Pascal's rule
    left[:, 0] = 1.0
    for count in range(width):
        found[:, :, count] = ends_in @ left
        left[:, 1:], left[:, 0] = (1.0 - share) * left[:, 1:] + share * left[:, :-1], (1.0 - share[:, 0]) * left[:, 0]
    return found
