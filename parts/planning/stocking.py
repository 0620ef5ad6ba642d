"""How much to have and when to order: the standard models of a single item.

A distribution (`pmf`) is an array of the chances of 0, 1, 2, … pieces. Backorders are pieces asked for that were not
there. Sources of the values that these are held against: tests/external/test_stocking.py.
"""

import math
from statistics import NormalDist

import numpy as np

from parts.planning.counts import Floats, quantiles
from parts.planning.lead_demand import NOTHING, ProtectedDemand, mean

_STANDARD = NormalDist()


def economic_quantity(*, demand: float, ordering: float, holding: float) -> float:
    """Pieces at a time that cost least (Harris 1913): `demand` pieces a year, `ordering` money an order, `holding`
    money a piece and year. Without holding cost it is infinite."""
    return math.sqrt(2 * ordering * demand / holding) if holding > 0 else math.inf


def newsvendor(pmf: Floats, *, under: float, over: float) -> int:
    """Smallest stock that costs least for one period: `under` money a piece missing, `over` a piece left."""
    return int(quantiles(pmf, [under / (under + over)])[0])


def newsvendor_cost(pmf: Floats, levels: Floats, *, under: float, over: float) -> Floats:
    """Expected cost of a period that begins with each of `levels` (whole pieces, negative ones are owed)."""
    short = losses(pmf)
    inside = np.clip(levels, 0, len(short) - 1).astype(int)
    missing = short[inside] + np.maximum(-levels, 0)
    return np.asarray(under * missing + over * (levels - mean(pmf) + missing))


def newsvendor_normal(demand: NormalDist, *, under: float, over: float) -> tuple[float, float]:
    """(stock, expected cost) where demand is normal."""
    z = _STANDARD.inv_cdf(under / (under + over))
    return demand.mean + z * demand.stdev, (under + over) * demand.stdev * _STANDARD.pdf(z)


def normal_loss(demand: NormalDist, level: float) -> float:
    """Expected pieces missing at a stock of `level`."""
    z = (level - demand.mean) / demand.stdev
    return demand.stdev * (_STANDARD.pdf(z) - z * (1 - _STANDARD.cdf(z)))


def quantity_and_point(
    lead: NormalDist, *, demand: float, ordering: float, holding: float, penalty: float
) -> tuple[float, float]:
    """(Q, R) that cost least under continuous review: order Q at stock R. `lead`: demand over the lead time; `demand`,
    `holding` a year; `penalty` money a piece missing. Fixed-point iteration of Hadley & Whitin from the economic
    quantity.

    Raises ValueError where a missing piece costs too little for any stock.
    """
    quantity, point = economic_quantity(demand=demand, ordering=ordering, holding=holding), -math.inf
    while True:
        late = quantity * holding / (penalty * demand)
        if late >= 1:
            raise ValueError("expected a penalty that makes some stock worth its cost")
        before, point = point, lead.inv_cdf(1 - late)
        if abs(point - before) < 1e-9:
            return quantity, point
        quantity = math.sqrt(2 * demand * (ordering + penalty * normal_loss(lead, point)) / holding)


def point_for_share(lead: NormalDist, *, quantity: float, share: float) -> float:
    """Stock at which to order `quantity` so that `share` of the pieces asked for is there (type 2 service)."""
    low, high = lead.mean - 40 * lead.stdev, lead.mean + 40 * lead.stdev
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (middle, high) if normal_loss(lead, middle) > (1 - share) * quantity else (low, middle)
    return high


def poisson(average: float) -> Floats:
    """Distribution of a Poisson number, cut where nothing is left."""
    most = math.ceil(average + 12 * math.sqrt(average) + 20)
    numbers = np.arange(most + 1)
    logs = numbers * math.log(average) - average if average > 0 else np.where(numbers, -np.inf, 0.0)
    found = np.exp(logs - np.array([math.lgamma(number + 1) for number in numbers]))
    found = found[: int(np.count_nonzero(np.cumsum(found[::-1])[::-1] > NOTHING))]
    return np.asarray(found / found.sum())


def losses(pmf: Floats) -> Floats:
    """(…, n + 1): expected backorders E[(demand − level)+] at levels 0, 1, …, n, the last 0; `pmf` (…, n)."""
    found = np.zeros((*pmf.shape[:-1], pmf.shape[-1] + 1))
    above = np.cumsum(pmf[..., :0:-1], axis=-1)
    found[..., -3::-1] = np.cumsum(above, axis=-1)
    return found


def served_by_base_stock(pmf: Floats) -> Floats:
    """Share of single pieces served at once where each piece taken is ordered at once, at base stocks 0, 1, …;
    `pmf`: demand over the lead time (Palm's theorem: with Poisson demand only the mean lead time matters)."""
    return np.append(0.0, np.cumsum(pmf))


def base_stock_for(pmf: Floats, share: float) -> int:
    """Smallest base stock that serves at least `share` at once; the reorder point is one less."""
    return int(quantiles(pmf, [share])[0]) + 1


def served_at(demand: ProtectedDemand) -> Floats:
    """Share of the pieces asked for between two deliveries that is served at once, where the position (on hand and on
    order, less what is owed) was 0, 1, … after the order of the first. 1 where nothing is asked for."""
    return served_between(demand.lead, demand.protected)


def served_between(lead: Floats, protected: Floats) -> Floats:
    """(…, n + 1): one minus the backorders that come about between two deliveries, E(D_protected − y)+ − E(D_lead − y)+
    at y = 0, 1, …, over the pieces asked for; `lead`, `protected` (…, n)."""
    come = losses(protected) - losses(lead)
    asked = come[..., :1]  # at a position of 0 all is late
    late = np.divide(come, asked, out=np.zeros_like(come), where=asked > NOTHING)
    return np.clip(1.0 - late, 0.0, 1.0)
