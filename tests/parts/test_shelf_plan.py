"""The plan of a whole shelf: which forecast is believed, what it orders, and what a sum of money is spent on first."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parts.planning.backtest import origins_of
from parts.planning.lead_times import LeadTime
from parts.planning.part_plan import Stock, Terms
from parts.planning.shelf_plan import MODEL, Candidate, Line, ShelfPlan, plan_shelf, span_of
from parts.planning.stocking import poisson

MONTHS, REVIEW = 36, 7
WEEK = LeadTime(7.0, 0.3, 4, "supplier")


def terms(price: str = "30", *, target: float = 0.95, minimum: int = 0, pack: int = 1) -> Terms:
    return Terms(Decimal(price), Decimal(12), 0.2, target, pack=pack, minimum=minimum, held_up_days=7.0)


def candidate(key: int = 1, *, stock: Stock | None = None, model: float | None = None, **more: object) -> Candidate:
    whole = poisson(model) if model is not None else None
    months = (poisson(model),) * 12 if model is not None else ()
    return Candidate(key, stock or Stock(), more.pop("terms", terms()), WEEK, whole, months, **more)  # type: ignore[arg-type]


def asked(rate: float, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).poisson(rate, MONTHS).astype(float)


def planned(*candidates: Candidate, history: np.ndarray, **more: object) -> ShelfPlan:
    return plan_shelf(candidates, history, months=12, span=1, review_days=REVIEW, **more)  # type: ignore[arg-type]


def only(plan: ShelfPlan) -> Line:
    (line,) = plan.lines
    return line


def test_without_a_record_the_failure_model_is_believed() -> None:
    line = only(planned(candidate(model=2.0), history=np.zeros((1, 0))))
    assert (line.method, line.reason) == (MODEL, None)
    assert line.months[0].mean == pytest.approx(2.0)


def test_a_part_that_the_model_knows_nothing_of_goes_by_the_ledger() -> None:
    line = only(planned(candidate(), history=asked(1.5)[None]))
    assert line.method in ("sba", "tsb", "croston", "hurdle")
    assert line.months[0].mean == pytest.approx(1.5, rel=0.3)
    assert line.quantity > 0


@pytest.mark.parametrize(("told", "believed"), [(3.0, True), (12.0, False)])
def test_the_forecast_that_foretold_better_is_believed(told: float, believed: bool) -> None:
    history = asked(3.0)[None]
    origins = origins_of(MONTHS, 1)
    outside = np.tile(poisson(told), (1, len(origins), 1))
    line = only(planned(candidate(model=told), history=history, outside=outside))
    assert (line.method == MODEL) is believed
    assert line.reason is not None
    assert line.reason.losses[MODEL] < 0.6 or not believed


def test_what_open_jobs_ask_for_is_added_to_the_ledger_s_forecast() -> None:
    history = asked(0.4)[None]
    alone = only(planned(candidate(), history=history))
    with_jobs = only(planned(candidate(jobs=np.array([0.0, 0.0, 1.0])), history=history))
    assert with_jobs.months[0].mean == pytest.approx(alone.months[0].mean + 2.0)
    assert with_jobs.months[1].mean == pytest.approx(alone.months[1].mean)
    assert with_jobs.plan.reorder_at > alone.plan.reorder_at


def test_what_nobody_asks_for_in_five_years_is_not_kept_but_for_its_minimum() -> None:
    history = np.zeros((2, MONTHS))
    kept, left = planned(
        candidate(1, model=0.01, terms=terms(minimum=2)), candidate(2, model=0.01), history=history
    ).lines
    assert (left.quantity, left.plan.reorder_at) == (0, -1)
    assert kept.quantity >= 2


@pytest.mark.parametrize(("chance", "kept"), [(0.04, False), (0.6, True)])
def test_what_an_open_job_may_need_counts_once_and_not_every_month(chance: float, kept: bool) -> None:
    line = only(planned(candidate(jobs=np.array([1 - chance, chance])), history=np.zeros((1, MONTHS))))
    assert (line.quantity > 0) is kept


def test_what_somebody_waits_for_is_ordered_however_seldom_it_is_asked_for() -> None:
    waiting = candidate(model=0.001, stock=Stock(reserved=1))
    assert only(planned(waiting, history=np.zeros((1, 0)))).quantity >= 1


def test_a_slower_delivery_wants_more_on_the_shelf() -> None:
    line = only(planned(candidate(model=4.0), history=np.zeros((1, 0))))
    assert line.scenarios["lead-doubled"].reorder_at > line.plan.reorder_at


def test_without_the_production_range_less_is_wanted_and_only_then_it_is_told() -> None:
    ranged = candidate(model=4.0, no_ranges=poisson(1.0))
    line = only(planned(ranged, history=np.zeros((1, 0))))
    assert line.scenarios["no-ranges"].reorder_at < line.plan.reorder_at
    assert "no-ranges" not in only(planned(candidate(model=4.0), history=np.zeros((1, 0)))).scenarios


def test_a_budget_goes_to_what_serves_most_for_its_money() -> None:
    cheap, dear = candidate(1, model=3.0, terms=terms("5")), candidate(2, model=3.0, terms=terms("500"))
    history = np.zeros((2, 0))
    free = planned(cheap, dear, history=history)
    some = planned(cheap, dear, history=history, budget=Decimal(600))
    assert free.cost == free.wanted > 600
    assert some.cost <= 600
    assert some.wanted == free.wanted
    assert some.lines[0].quantity * 5 > 3 * some.lines[1].quantity
    assert some.lines[1].quantity < free.lines[1].quantity
    assert some.served < free.served


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 6), st.integers(1, 5), st.sampled_from([0.02, 0.3, 2.0, 9.0])), max_size=5),
    st.decimals(0, 2000, places=2),
)
def test_a_budget_is_never_overspent_and_packs_are_whole(rows: list[tuple[int, int, float]], budget: Decimal) -> None:
    candidates = [
        candidate(key, stock=Stock(on_hand=there), model=rate, terms=terms(pack=pack))
        for key, (there, pack, rate) in enumerate(rows)
    ]
    plan = planned(*candidates, history=np.zeros((len(rows), 0)), budget=budget)
    assert plan.cost <= max(budget, Decimal(0))
    for line, one in zip(plan.lines, candidates, strict=True):
        assert line.quantity % one.terms.pack == 0
        assert 0 <= line.quantity <= line.plan.quantity


@pytest.mark.parametrize(("days", "span"), [(1.0, 1), (20.0, 1), (40.0, 2), (90.0, 4)])
def test_an_order_must_last_until_the_delivery_of_the_next(days: float, span: int) -> None:
    assert span_of([LeadTime(days, 0.3, 0, "stated")], REVIEW) == span
