"""A plan keeps its promise: ten years of the ledger, day by day, serve the share that was promised."""

import dataclasses
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from parts.planning.lead_demand import MONTH, ONE_AT_A_TIME, Outlook, protected_demand
from parts.planning.part_plan import Stock, Terms, plan_part
from parts.planning.shelf_sim import Shelf, simulate_shelf
from parts.planning.stocking import poisson

TERMS = Terms(Decimal(80), Decimal(12), 0.2, 0.95)
PARTS = {
    "once in twenty months": (poisson(0.05), ONE_AT_A_TIME),
    "every other month": (poisson(0.5), ONE_AT_A_TIME),
    "every week": (poisson(4.0), ONE_AT_A_TIME),
    "several at once": (poisson(0.6), np.array([0.0, 0.5, 0.3, 0.0, 0.2])),
}
ANY_DAY = np.array([0.0] * 3 + [1 / 38] * 38)
"""3 to 40 days, all alike."""
DAYS = np.arange(3, 41)
LATE = np.zeros(41)
LATE[3:] = np.exp(-0.5 * (np.log(DAYS / 12) / 0.5) ** 2) / DAYS
LATE /= LATE.sum()
"""3 to 40 days, log-normal about 12."""


def planned(askings, sizes, lead, pack, review_days, target=0.95):
    demand = protected_demand(Outlook([askings], lead, review_days, sizes=sizes))
    plan = plan_part(demand, Stock(), dataclasses.replace(TERMS, target=target, pack=pack))
    return plan, Shelf(plan.reorder_at, plan.up_to, pack, review_days)


@pytest.mark.parametrize("review_days", [1, 7])
@pytest.mark.parametrize("pack", [1, 5])
@pytest.mark.parametrize("lead", [ANY_DAY, LATE], ids=["any day", "log-normal"])
@pytest.mark.parametrize("part", PARTS)
def test_ten_years_serve_what_was_promised(part, lead, pack, review_days):
    askings, sizes = PARTS[part]
    plan, shelf = planned(askings, sizes, lead, pack, review_days)
    lived = simulate_shelf(shelf, askings, lead, sizes=sizes)
    assert plan.served >= 0.95
    assert lived.served >= 0.95 - 0.01
    assert lived.served == pytest.approx(plan.served, abs=0.01)


@pytest.mark.parametrize("target", [0.6, 0.8, 0.9, 0.99])
def test_other_targets_are_kept_as_well_and_not_by_far_too_much(target):
    askings, sizes = PARTS["every week"]
    plan, shelf = planned(askings, sizes, ANY_DAY, 1, 7, target)
    assert simulate_shelf(shelf, askings, ANY_DAY, sizes=sizes).served == pytest.approx(plan.served, abs=0.01)
    assert plan.served >= target
    one_less = Shelf(shelf.reorder_at - 1, shelf.up_to - 1, 1, 7)
    assert simulate_shelf(one_less, askings, ANY_DAY, sizes=sizes).served < target + 0.005


@pytest.mark.parametrize("part", PARTS)
def test_deliveries_that_overtake_one_another_break_no_promise(part):
    askings, sizes = PARTS[part]
    _plan, shelf = planned(askings, sizes, ANY_DAY, 1, 1)
    assert simulate_shelf(shelf, askings, ANY_DAY, sizes=sizes, overtaking=True).served >= 0.95 - 0.01


def test_a_part_of_which_little_is_known_is_promised_as_little():
    """It is asked for 0.3 or 2 times a month, and nobody knows which: over all parts like it the promise is kept, where
    their demand is given as a whole. Given half a month by half a month, as if each were another part, too much is."""
    rates, shares, months = (0.3, 2.0), (0.8, 0.2), 2
    counts = np.arange(64)

    def mixed(length):
        return sum(share * stats.poisson.pmf(counts, rate * length) for share, rate in zip(shares, rates, strict=True))

    def lived(plan):
        shelf = Shelf(plan.reorder_at, plan.up_to, 1, 7)
        runs = [simulate_shelf(shelf, poisson(rate), ANY_DAY) for rate in rates]
        at_once, asked = (
            sum(share * getattr(run, what).sum() for share, run in zip(shares, runs, strict=True))
            for what in ("at_once", "asked")
        )
        return at_once / asked

    whole, alone = (
        plan_part(protected_demand(Outlook([mixed(length)], ANY_DAY, 7, month_days=length * MONTH)), Stock(), TERMS)
        for length in (months, 0.5)
    )
    assert lived(whole) == pytest.approx(whole.served, abs=0.01)
    assert lived(alone) < alone.served - 0.01


SCATTERED = {"hurdle": np.array([0.7, 0.05, 0.15, 0.0, 0.1]), "mixed": 0.8 * np.append(poisson(0.2), [0.0] * 99)[:60]}
SCATTERED["mixed"] = SCATTERED["mixed"] + 0.2 * np.append(poisson(4.0), [0.0] * 99)[:60]


@pytest.mark.parametrize("review_days", [1, 7])
@pytest.mark.parametrize("months", SCATTERED)
def test_where_months_scatter_more_than_chance_a_plan_errs_to_the_safe_side(months, review_days):
    askings = SCATTERED[months]
    plan, shelf = planned(askings, ONE_AT_A_TIME, LATE, 1, review_days)
    lived = simulate_shelf(shelf, askings, LATE).served
    assert lived >= 0.95 - 0.01
    assert plan.served - 0.01 <= lived <= plan.served + 0.02


def test_a_run_is_the_same_with_the_same_seed_and_another_with_another():
    askings, sizes = PARTS["every other month"]
    shelf = Shelf(0, 1, 1, 7)
    first, again, other = (simulate_shelf(shelf, askings, LATE, sizes=sizes, runs=20, seed=seed) for seed in (3, 3, 4))
    assert (first.at_once == again.at_once).all()
    assert (first.asked != other.asked).any()


def test_lead_times_that_cannot_be_kept_in_order_are_refused():
    five_or_thirty = np.zeros(31)
    five_or_thirty[[5, 30]] = 0.8, 0.2
    with pytest.raises(ValueError, match="let them overtake"):
        simulate_shelf(Shelf(0, 1, 1, 1), poisson(1.0), five_or_thirty)


def test_who_keeps_a_hundred_serves_all_and_who_orders_only_for_who_waits_serves_nobody():
    always, three_days = np.array([0.0] * 30 + [1.0]), np.array([0.0, 0.0, 0.0, 1.0])
    plenty = simulate_shelf(Shelf(99, 100, 1, 1), always, three_days, runs=3, years=1)
    assert plenty.served == 1.0
    none = simulate_shelf(Shelf(-1, 0, 1, 1), always, three_days, runs=3, years=1)
    assert none.served == 0.0
    assert none.on_shelf.max() == 0.0
