"""The plan of a whole shelf: for each part the forecast that foretold best, what to order by it, and the best use of a
given sum.

What an order must last is one stretch of whole months, the `span`: forecasts are compared on it and planned by, as one
whole, so that what is not known of a part stays wrong for all of it alike. Where the failure model says something of a
part, it is one of the methods that the backtest compares (as of past months, where the caller could make such
forecasts), and the one that is used while nothing speaks for another. What open jobs ask for joins whatever forecast is
used: the ledger cannot know of it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from parts.planning import backtest as backtests
from parts.planning.budget import Choice, choice_of, share_served, spend
from parts.planning.counts import Floats, quantiles
from parts.planning.history import follow
from parts.planning.intermittent import METHODS, forecast
from parts.planning.lead_demand import MONTH, Outlook, ProtectedDemand, protected_demands
from parts.planning.lead_times import LeadTime, days_pmf
from parts.planning.part_plan import PartPlan, Stock, Terms, packs_to, plan_part

MODEL = "failure-model"
BAND = (0.1, 0.9)
KEPT_FROM = 0.2
"""Pieces asked for in a year from which on a part is kept: what is asked for less than once in five years is ordered
when somebody needs it, unless it has a minimum. Common practice, no source: the promised share alone would keep one
piece of everything."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One part to be planned, its predecessors pooled in. `model`: the failure model's distribution of the pieces asked
    for over the span, jobs included, None where it says nothing of this part; `model_months` the same for each month
    from now on. `no_ranges`: as `model` if no production range was known, None where none matters. `jobs`: distribution
    of what open jobs ask for."""

    key: int
    stock: Stock
    terms: Terms
    lead: LeadTime
    model: Floats | None = None
    model_months: tuple[Floats, ...] = ()
    no_ranges: Floats | None = None
    jobs: Floats | None = None


@dataclass(frozen=True, slots=True)
class Month:
    """Pieces that are expected in a month, and between what they lie in 8 of 10 cases."""

    mean: float
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Line:
    """`plan` is what the part needs; `quantity` what of it the budget leaves. `reason`: None where no record is long
    enough to compare forecasts. `scenarios`: `lead-doubled`, `no-ranges` -> the plan if so."""

    key: int
    method: str
    reason: backtests.Reason | None
    months: tuple[Month, ...]
    plan: PartPlan
    quantity: int
    scenarios: Mapping[str, PartPlan]


@dataclass(frozen=True, slots=True)
class ShelfPlan:
    """`cost` of what is ordered, `wanted` of what would be without a budget; `served`: share of the pieces asked for
    until the next delivery that is there at once, with what is ordered."""

    lines: tuple[Line, ...]
    cost: Decimal
    wanted: Decimal
    served: float
    span: int


def plan_shelf(
    candidates: Sequence[Candidate],
    history: Floats,
    *,
    months: int,
    span: int,
    review_days: int,
    budget: Decimal | None = None,
    outside: Floats | None = None,
) -> ShelfPlan:
    """`history` (candidates, past months): pieces asked for in each month, the oldest first, NaN before there was a
    record. `span`: as from `span_of`. `outside`: the failure model's forecasts of the span as of past months,
    (candidates, origins, K + 1) as `backtest.score` takes them; NaN where it said nothing."""
    tested = backtests.backtest(history, span, {MODEL: outside} if outside is not None else None)
    methods = [_method(one, tested, place) for place, one in enumerate(candidates)]
    by_span, by_month = _by_ledger(history, methods, span), _by_ledger(history, methods, 1)
    outlooks, shown = [], []
    for place, one in enumerate(candidates):
        modelled = methods[place] == MODEL and one.model is not None
        whole = one.model if modelled and one.model is not None else _with_jobs(by_span[place], one.jobs)
        each = one.model_months if modelled else _months_with_jobs(by_month[place], one.jobs, months)
        outlooks.append(_outlook(whole, one.lead, span, review_days))
        shown.append(tuple(_month(pmf) for pmf in each[:months]))
    demands = protected_demands(outlooks)
    plans = [_planned(demand, one, span) for demand, one in zip(demands, candidates, strict=True)]
    scenarios = _scenarios(candidates, outlooks, methods, span, review_days)
    lines = [
        Line(one.key, methods[row], _reason(tested, row), shown[row], plans[row], plans[row].quantity, scenarios[row])
        for row, one in enumerate(candidates)
    ]
    return _within(budget, candidates, demands, lines, span)


def span_of(leads: Sequence[LeadTime], review_days: int) -> int:
    """Whole months that an order must last until the delivery of the next, by the middle one of the parts."""
    days = float(np.median([one.median for one in leads])) if leads else 0.0
    return max(math.ceil((days + review_days) / MONTH), 1)


def _planned(demand: ProtectedDemand, one: Candidate, span: int) -> PartPlan:
    plan, terms = plan_part(demand, one.stock, one.terms), one.terms
    once = float(one.jobs @ np.arange(len(one.jobs))) if one.jobs is not None else 0.0  # jobs that are open ask once
    a_year = max(demand.a_month - once / span, 0.0) * 12 + once
    if a_year >= KEPT_FROM or terms.minimum:
        return plan
    owed = packs_to(0, one.stock.position, terms.pack) * terms.pack
    return replace(
        plan, reorder_at=-1, up_to=0, quantity=owed, cost=terms.price * owed, served=0.0,
        held_up_days_a_year=a_year * terms.held_up_days,
    )  # fmt: skip


def _reason(tested: backtests.Backtest, row: int) -> backtests.Reason | None:
    return tested.reason(row) if any(score.origins[row] for score in tested.scores.values()) else None


def _method(one: Candidate, tested: backtests.Backtest, place: int) -> str:
    """The failure model without a record of forecasts counts as the best there is, where it says something."""
    scored = MODEL in tested.scores and bool(tested.scores[MODEL].origins[place])
    if one.model is not None and not scored:
        return MODEL
    best = tested.names[int(tested.best[place])]
    if best != MODEL or one.model is not None:
        return best
    others = [name for name in tested.names if name != MODEL]
    return min(others, key=lambda name: float(tested.drawn[place, tested.names.index(name)]))


def _by_ledger(history: Floats, methods: Sequence[str], months: int) -> list[Floats]:
    """The chosen ledger method's distribution over so many months, for every part (nothing for those that go by the
    failure model)."""
    found: list[Floats] = [np.ones(1)] * len(methods)
    followed = follow(history) if history.shape[1] else None
    for method in METHODS:
        rows = [place for place, name in enumerate(methods) if name == method]
        if rows and followed is not None:
            pmfs = forecast(followed, method, months)
            for place in rows:
                found[place] = pmfs[place] / pmfs[place].sum()
    return found


def _with_jobs(pmf: Floats, jobs: Floats | None) -> Floats:
    return pmf if jobs is None else np.convolve(pmf, jobs)


def _months_with_jobs(pmf: Floats, jobs: Floats | None, months: int) -> tuple[Floats, ...]:
    return (_with_jobs(pmf, jobs), *(pmf,) * (months - 1))


def _outlook(whole: Floats, lead: LeadTime, span: int, review_days: int) -> Outlook:
    return Outlook([whole], days_pmf(lead), review_days, month_days=span * MONTH)


def _month(pmf: Floats) -> Month:
    low, high = quantiles(pmf, BAND)
    return Month(float(pmf @ np.arange(len(pmf))), int(low), int(high))


def _scenarios(
    candidates: Sequence[Candidate], outlooks: Sequence[Outlook], methods: Sequence[str], span: int, review_days: int
) -> list[dict[str, PartPlan]]:
    """For each part, what would be planned if deliveries took twice as long, and if no production range held."""
    asked: list[tuple[int, str, Outlook]] = []
    for row, one in enumerate(candidates):
        later = days_pmf(replace(one.lead, median=one.lead.median * 2))
        asked.append((row, "lead-doubled", replace(outlooks[row], lead=later)))
        if one.no_ranges is not None and methods[row] == MODEL:
            asked.append((row, "no-ranges", _outlook(one.no_ranges, one.lead, span, review_days)))
    found: list[dict[str, PartPlan]] = [{} for _one in candidates]
    for (row, name, _outlook_of), demand in zip(asked, protected_demands([one[2] for one in asked]), strict=True):
        found[row][name] = _planned(demand, candidates[row], span)
    return found


def _within(
    budget: Decimal | None,
    candidates: Sequence[Candidate],
    demands: Sequence[ProtectedDemand],
    lines: Sequence[Line],
    span: int,
) -> ShelfPlan:
    """What the plan wants is bought as far as the sum goes, what gains most for its money first."""
    choices = [
        _choice(one, demand, line.plan.quantity) for one, demand, line in zip(candidates, demands, lines, strict=True)
    ]
    wanted = sum((line.plan.cost for line in lines), Decimal(0))
    packs = {str(one.key): line.plan.quantity // one.terms.pack for one, line in zip(candidates, lines, strict=True)}
    if budget is not None and wanted > budget:
        packs = spend(budget, [choice for choice, _whole in choices]).packs
    kept = tuple(
        replace(line, quantity=packs[str(one.key)] * one.terms.pack)
        for one, line in zip(candidates, lines, strict=True)
    )
    cost = sum((one.terms.price * line.quantity for one, line in zip(candidates, kept, strict=True)), Decimal(0))
    return ShelfPlan(kept, cost, wanted, share_served([whole for _choice, whole in choices], packs), span)


def _choice(one: Candidate, demand: ProtectedDemand, most: int) -> tuple[Choice, Choice]:
    """What can be bought of a part: no more than its plan wants; and without that limit, for the share served."""
    whole = choice_of(str(one.key), demand, one.stock, one.terms)
    packs = most // one.terms.pack
    worth = (*whole.worth, *(whole.worth[-1],) * max(packs + 1 - len(whole.worth), 0))
    return replace(whole, worth=worth[: packs + 1]), replace(whole, worth=worth)
