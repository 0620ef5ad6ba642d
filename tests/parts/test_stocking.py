"""What a plan of one part says: when to order, how many, and what that promises."""

import dataclasses
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from parts.planning.lead_demand import MONTH, Outlook, mean, protected_demand, protected_demands
from parts.planning.part_plan import Stock, Terms, plan_part, plan_parts, positions, served_by_reorder_point
from parts.planning.policy import best_policy
from parts.planning.stocking import newsvendor, newsvendor_cost, poisson, served_at, served_by_base_stock

TERMS = Terms(Decimal("80.00"), Decimal("12.00"), 0.2, 0.95)
THREE_WEEKS = np.eye(22)[21]
ANY_DAY = np.array([0.0] * 3 + [1 / 38] * 38)


def pmfs(most):
    def normed(weights):
        found = np.array(weights, dtype=float)
        return found / found.sum()

    return st.lists(st.integers(0, 9), min_size=2, max_size=most).filter(lambda some: sum(some[1:]) > 0).map(normed)


@st.composite
def outlooks(draw):
    lead = np.array([0.0, *draw(pmfs(45))])
    sizes = np.append(0.0, draw(pmfs(4)))
    months = draw(st.lists(pmfs(8), min_size=1, max_size=3))
    return Outlook(months, lead / lead.sum(), draw(st.sampled_from([1, 7, 30])), sizes)


def demands():
    return outlooks().map(protected_demand)


@st.composite
def terms(draw):
    return Terms(
        price=Decimal(draw(st.integers(0, 90_000))) / 100,
        ordering=Decimal(draw(st.integers(0, 5_000))) / 100,
        holding=draw(st.floats(0.0, 0.5)),
        target=draw(st.floats(0.05, 0.999)),
        pack=draw(st.integers(1, 6)),
        minimum=draw(st.integers(0, 5)),
        held_up_days=draw(st.floats(0.0, 30.0)),
    )


stocks = st.builds(Stock, st.integers(0, 12), st.integers(0, 12), st.integers(0, 12))


# Demand over the lead time


def test_poisson_demand_stays_poisson_over_any_stretch():
    found = protected_demand(Outlook([poisson(3.0)], ANY_DAY, 7))
    days = np.arange(len(ANY_DAY))
    for pmf, after in ((found.lead, 0), (found.protected, 7)):
        plain = ANY_DAY @ stats.poisson.pmf(np.arange(len(pmf)), 3.0 * (days + after)[:, None] / MONTH)
        assert pmf == pytest.approx(plain, abs=1e-12)
    assert found.review == pytest.approx(stats.poisson.pmf(np.arange(len(found.review)), 3.0 * 7 / MONTH), abs=1e-12)
    assert found.a_month == pytest.approx(3.0)


def test_what_is_uncertain_in_all_months_alike_stays_so_over_any_stretch():
    """It is asked for 0.3 or 2 times a month, nobody knows which: mixed Poisson over a quarter and over 21 days."""
    quarter = 0.8 * padded(poisson(0.9)) + 0.2 * padded(poisson(6.0))
    found = protected_demand(Outlook([quarter], THREE_WEEKS, 7, month_days=3 * MONTH)).lead
    counts = np.arange(len(found))
    plain = [stats.poisson.pmf(counts, rate * 21 / MONTH) for rate in (0.3, 2.0)]
    assert found == pytest.approx(0.8 * plain[0] + 0.2 * plain[1], abs=1e-12)


def padded(pmf):
    return np.append(pmf, np.zeros(64))[:64]


@settings(max_examples=60, deadline=None)
@given(st.lists(pmfs(6), min_size=1, max_size=3), pmfs(3), st.integers(0, 80), st.sampled_from([1, 7]))
def test_months_are_thinned_and_added_as_one_would_by_hand(months, sizes, lead_days, review_days):
    sizes = np.append(0.0, sizes)
    found = protected_demand(Outlook(months, np.eye(lead_days + 1)[lead_days], review_days, sizes))
    for pmf, days in ((found.lead, lead_days), (found.protected, lead_days + review_days), (found.review, review_days)):
        plain = by_hand(months, sizes, days)
        assert pmf == pytest.approx(np.append(plain, np.zeros(len(pmf)))[: len(pmf)], abs=1e-11)
        assert plain[len(pmf) :].sum() < 1e-11


def by_hand(months, sizes, days):
    askings, left, number = np.ones(1), days / MONTH, 0
    while left > 0:
        month = months[min(number, len(months) - 1)]
        counts = np.arange(len(month))
        askings = np.convolve(askings, month @ stats.binom.pmf(counts, counts[:, None], min(left, 1.0)))
        left, number = left - 1.0, number + 1
    pieces, power = np.zeros((len(askings) - 1) * (len(sizes) - 1) + 1), np.ones(1)
    for chance in askings:
        pieces[: len(power)] += chance * power
        power = np.convolve(power, sizes)[: len(pieces)]
    return pieces


def test_a_month_to_come_with_more_demand_is_seen_only_by_who_waits_that_long():
    quiet, busy = poisson(0.5), poisson(5.0)
    soon, late = np.eye(15)[14], np.eye(46)[45]
    assert mean(protected_demand(Outlook([quiet, busy], soon, 1)).lead) == pytest.approx(0.5 * 14 / MONTH)
    assert mean(protected_demand(Outlook([quiet, busy], late, 1)).lead) == pytest.approx(
        0.5 + 5.0 * (45 - MONTH) / MONTH
    )


@pytest.mark.parametrize(
    ("months", "lead", "review_days", "words"),
    [
        ([np.array([0.5, 0.4])], THREE_WEEKS, 1, "demand of month 1: .* they sum to 0.9"),
        ([np.array([1.5, -0.5])], THREE_WEEKS, 1, "demand of month 1: .* none below 0"),
        ([poisson(1.0)], np.zeros(4), 1, "lead time: .* they sum to 0"),
        ([], THREE_WEEKS, 1, "at least one month"),
        ([poisson(1.0)], THREE_WEEKS, 0, "review of at least one day"),
    ],
)
def test_what_is_no_distribution_is_refused_with_its_name(months, lead, review_days, words):
    with pytest.raises(ValueError, match=words):
        protected_demand(Outlook(months, lead, review_days))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(outlooks(), stocks, terms()), min_size=1, max_size=8))
def test_parts_planned_together_get_the_plans_they_get_alone(parts):
    some, there, agreed = (list(column) for column in zip(*parts, strict=True))
    together = plan_parts(protected_demands(some), there, agreed)
    for plan, outlook, stock, own in zip(together, some, there, agreed, strict=True):
        alone = plan_part(protected_demand(outlook), stock, own)
        assert plan.served == pytest.approx(alone.served, abs=1e-9)
        assert plan.runs_out == pytest.approx(alone.runs_out, abs=1e-9)
        assert whole_numbers(plan) == whole_numbers(alone)


def whole_numbers(plan):
    return plan.reorder_at, plan.up_to, plan.quantity, plan.cost


# What a stock serves


@settings(max_examples=60, deadline=None)
@given(demands(), st.integers(1, 6), st.integers(1, 4))
def test_more_stock_never_serves_less(demand, packs, pack):
    for shares in (served_at(demand), served_by_reorder_point([demand], packs * pack, pack)[0]):
        assert shares[0] >= 0.0
        assert (np.diff(shares) >= -1e-9).all()
        assert shares[-1] == pytest.approx(1.0)


def test_looked_at_every_day_a_base_stock_serves_what_palms_theorem_says():
    """A day's own second piece is the difference: it is seldom."""
    demand = protected_demand(Outlook([poisson(0.5)], THREE_WEEKS, 1))
    palm = served_by_base_stock(poisson(0.5 * 21 / MONTH))
    assert served_by_reorder_point([demand], 1, 1)[0, :4] == pytest.approx(palm[:4], abs=0.01)


def test_single_pieces_leave_every_position_equally_often():
    assert positions(np.array([[0.9, 0.1]]), 4, 1)[0] == pytest.approx([0.25] * 4, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(pmfs(5), st.integers(1, 4), st.integers(1, 4), st.integers(0, 10_000))
def test_positions_are_those_of_a_shelf_watched_for_long(review, packs, pack, seed):
    spread = packs * pack
    shares = positions(review[None], spread, pack)[0]
    rng = np.random.default_rng(seed)
    at, seen = spread, np.zeros(len(shares))
    for taken in rng.choice(len(review), size=4000, p=review):
        at -= taken
        if at <= 0:
            at += -(-(spread - at) // pack) * pack
        seen[at - 1] += 1
    assert seen / seen.sum() == pytest.approx(shares, abs=0.08)


# The plan


@settings(max_examples=60, deadline=None)
@given(demands(), stocks, terms())
def test_a_plan_orders_whole_packs_and_only_when_it_is_time(demand, stock, terms):
    plan = plan_part(demand, stock, terms)
    assert plan.quantity >= 0
    assert plan.quantity % terms.pack == 0
    assert (plan.quantity > 0) == (stock.position <= plan.reorder_at)
    if plan.quantity:
        assert plan.up_to <= stock.position + plan.quantity < plan.up_to + terms.pack
    assert plan.cost == terms.price * plan.quantity
    assert isinstance(plan.cost, Decimal)
    assert plan.reorder_at + 1 >= terms.minimum
    assert (plan.up_to - plan.reorder_at) % terms.pack == 0
    assert 0.0 <= plan.runs_out <= 1.0
    assert terms.target - 1e-9 <= plan.served <= 1.0


@settings(max_examples=60, deadline=None)
@given(demands(), terms(), st.floats(0.05, 0.999), st.floats(0.05, 0.999))
def test_who_promises_more_never_orders_later(demand, terms, one, other):
    low, high = sorted((one, other))
    modest, ambitious = (plan_part(demand, Stock(), dataclasses.replace(terms, target=share)) for share in (low, high))
    assert ambitious.reorder_at >= modest.reorder_at
    assert ambitious.up_to >= modest.up_to
    assert ambitious.served >= modest.served


@settings(max_examples=60, deadline=None)
@given(demands(), terms(), stocks, st.integers(1, 5))
def test_more_on_the_shelf_never_orders_more_or_runs_out_sooner(demand, terms, stock, more):
    poor = plan_part(demand, stock, terms)
    rich = plan_part(demand, dataclasses.replace(stock, on_hand=stock.on_hand + more), terms)
    assert rich.quantity <= poor.quantity
    assert rich.runs_out <= poor.runs_out


def test_a_part_that_nobody_asks_for_is_not_ordered_but_for_its_minimum():
    demand = protected_demand(Outlook([np.array([1.0])], THREE_WEEKS, 7))
    plan = plan_part(demand, Stock(), TERMS)
    assert (plan.reorder_at, plan.quantity, plan.served, plan.cover_months) == (-1, 0, 1.0, None)
    kept = plan_part(demand, Stock(), dataclasses.replace(TERMS, minimum=2, pack=5))
    assert (kept.reorder_at, kept.quantity) == (1, 10)


def test_what_one_waits_for_is_ordered_even_where_none_is_kept():
    demand = protected_demand(Outlook([np.array([1.0])], THREE_WEEKS, 7))
    plan = plan_part(demand, Stock(on_hand=0, reserved=2), dataclasses.replace(TERMS, pack=2))
    assert plan.quantity == 4
    assert plan.runs_out == 1.0


def test_what_a_plan_tells_of_a_part_asked_for_twice_a_month():
    """24 a year at 12.00 an order and 16.00 a piece and year: six at a time by cost. Two lie here, one is promised."""
    demand = protected_demand(Outlook([poisson(2.0)], THREE_WEEKS, 7))
    plan = plan_part(demand, Stock(on_hand=2, reserved=1), dataclasses.replace(TERMS, held_up_days=10.0))
    assert plan.economic == pytest.approx(6.0)
    assert plan.up_to - plan.reorder_at == 6
    assert plan.cost == plan.quantity * Decimal("80.00") > 0
    assert plan.cover_months == pytest.approx(0.5)
    assert plan.runs_out == pytest.approx(stats.poisson.sf(1, 2.0 * 21 / MONTH))
    assert plan.held_up_days_a_year == pytest.approx(24 * (1 - plan.served) * 10.0)


def test_a_cheap_part_is_not_bought_for_a_lifetime():
    demand = protected_demand(Outlook([poisson(0.5)], THREE_WEEKS, 7))
    for price, holding in ((Decimal("0.10"), 0.2), (Decimal("0.00"), 0.2), (Decimal("5.00"), 0.0)):
        plan = plan_part(demand, Stock(), Terms(price, Decimal("12.00"), holding, 0.95))
        assert plan.up_to - plan.reorder_at == 12  # two years


@pytest.mark.parametrize("target", [0.0, 1.0, -0.5, 95.0])
def test_a_target_is_a_share(target):
    with pytest.raises(ValueError, match="expected a share above 0 and below 1"):
        dataclasses.replace(TERMS, target=target)


@pytest.mark.parametrize(
    "wrong", [{"pack": 0}, {"minimum": -1}, {"price": Decimal(-1)}, {"holding": -0.1}, {"held_up_days": -1.0}]
)
def test_terms_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match="expected"):
        dataclasses.replace(TERMS, **wrong)


# The cheapest policy


@settings(max_examples=25, deadline=None)
@given(pmfs(5), st.integers(0, 20), st.integers(1, 20))
def test_no_other_levels_are_cheaper_than_the_cheapest_policy(demand, ordering, under):
    def cost_at(levels):
        return newsvendor_cost(demand, levels, under=under, over=1.0)

    around = newsvendor(demand, under=under, over=1.0)
    found = best_policy(demand, ordering=ordering, cost_at=cost_at, around=around)
    costs = [
        mean_cost(demand, ordering, cost_at, low, high)
        for low in range(-12, around)
        for high in range(around, around + 12)
    ]
    assert found.cost == pytest.approx(min(costs))
    assert mean_cost(demand, ordering, cost_at, found.reorder_at, found.up_to) == pytest.approx(found.cost)


def mean_cost(demand, ordering, cost_at, low, high):
    """By the positions' long-run shares instead of renewals."""
    shares = positions(demand[None], high - low, 1)[0]
    levels = np.arange(low + 1, high + 1)
    below = np.array([demand[level - low :].sum() for level in levels])
    return float(shares @ (cost_at(levels.astype(float)) + ordering * below))


@pytest.mark.parametrize("months", [0.05, 0.5, 4.0])
def test_a_plan_costs_little_more_than_the_cheapest_policy_that_serves_as_much(months):
    """Both pay for orders and for what lies on the shelf; of the cheapest policies for all prices of a missing piece
    those count that serve the target."""
    demand = protected_demand(Outlook([poisson(months)], THREE_WEEKS, 7))
    over = 0.2 * 80 * 7 / 365.25
    plan = plan_part(demand, Stock(), TERMS)

    def priced(low, high):
        def shelf(levels):
            return newsvendor_cost(demand.protected, levels, under=0.0, over=over)

        return mean_cost(demand.review, 12.0, shelf, low, high)

    cheapest = []
    for under in np.geomspace(2 * over, 500 * over, 60):

        def cost_at(levels, under=under):
            return newsvendor_cost(demand.protected, levels, under=under, over=over)

        around = newsvendor(demand.protected, under=under, over=over)
        best = best_policy(demand.review, ordering=12.0, cost_at=cost_at, around=around)
        row = best.reorder_at + 1
        if row >= 0 and served_by_reorder_point([demand], best.up_to - best.reorder_at, 1)[0, row] >= TERMS.target:
            cheapest.append(priced(best.reorder_at, best.up_to))
    assert priced(plan.reorder_at, plan.up_to) <= 1.05 * min(cheapest)
