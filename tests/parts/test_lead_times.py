"""How long a supplier takes: learned from what came, what is still open, and what was stated."""

import math

import numpy as np
import pytest

from parts.planning.lead_times import TRADE_DAYS, TRADE_SPREAD, LeadTime, Wait, days_pmf, learn

SWITCH, PUMP = 1, 2
NEAR, FAR, NEW = 1, 2, 3


def came(days: list[int], *, supplier: int = NEAR, part: int = SWITCH, first_order: int = 0) -> list[Wait]:
    """One order a delivery, one piece each."""
    return [Wait(supplier, part, first_order + number, one, 1, True) for number, one in enumerate(days)]


def still_open(days: int, *, order: int = 900, pieces: int = 1) -> Wait:
    return Wait(NEAR, SWITCH, order, days, pieces, False)


def within(lead: LeadTime, days: int) -> float:
    return float(days_pmf(lead)[: days + 1].sum())


def test_a_shop_that_has_ordered_nothing_goes_by_the_trade():
    lead = learn([], {}).of(NEW, SWITCH)
    assert lead.median == pytest.approx(TRADE_DAYS)
    assert (lead.orders, lead.basis) == (0, "trade")


def test_a_supplier_without_an_order_goes_by_what_it_states_or_else_by_the_shop():
    known = learn(came([10, 11, 12] * 10), {FAR: 30.0})
    stated, unknown = known.of(FAR, SWITCH), known.of(NEW, SWITCH)
    assert stated.median == pytest.approx(30)
    assert (stated.orders, stated.basis) == (0, "stated")
    assert unknown == known.shop
    assert unknown.median == pytest.approx(11, rel=0.15)
    assert (unknown.orders, unknown.basis) == (30, "shop")


def test_what_a_supplier_states_gives_way_to_what_it_does():
    states_three = {NEAR: 3.0}
    few, many = (learn(came([9, 10, 11] * n), states_three).suppliers[NEAR] for n in (1, 20))
    assert 3 < few.median < 7
    assert 8.5 < many.median < 10
    assert (few.basis, many.orders) == ("supplier", 60)


def test_a_part_that_takes_longer_than_the_suppliers_others_is_known_for_it():
    waits = came([4, 5, 6] * 6) + came([30, 40], part=PUMP, first_order=50)
    known = learn(waits, {})
    assert known.of(NEAR, SWITCH).median < known.suppliers[NEAR].median < known.of(NEAR, PUMP).median < 35
    assert (known.of(NEAR, PUMP).basis, known.of(NEAR, PUMP).orders) == ("part", 2)
    assert known.of(NEAR, 77) == known.suppliers[NEAR]


def test_an_order_that_is_late_counts_and_one_sent_yesterday_hardly_does():
    without = learn(came([5] * 6), {}).of(NEAR, SWITCH)
    late = learn([*came([5] * 6), still_open(40)], {}).of(NEAR, SWITCH)
    fresh = learn([*came([5] * 6), still_open(1)], {}).of(NEAR, SWITCH)
    as_if_here = learn(came([5] * 6 + [40]), {}).of(NEAR, SWITCH)
    assert late.median > as_if_here.median > 1.1 * without.median
    assert fresh.median == pytest.approx(without.median, rel=0.05)
    assert within(late, 10) < within(without, 10)


def test_a_line_delivered_in_parts_counts_by_pieces():
    """Four of five after 4 days, one after 40: an order that took 4 days to four fifths and 40 to one."""
    line = [Wait(NEAR, SWITCH, 1, 4, 4, True), Wait(NEAR, SWITCH, 1, 40, 1, True)]
    other_way = [Wait(NEAR, SWITCH, 1, 4, 1, True), Wait(NEAR, SWITCH, 1, 40, 4, True)]
    fives = came([4, 4, 4, 4, 40])
    in_parts, slow, apart = (learn(waits, {}).of(NEAR, SWITCH) for waits in (line, other_way, fives))
    assert in_parts.median < slow.median
    assert (in_parts.orders, apart.orders) == (1, 5)
    assert in_parts.median < apart.median  # five orders say more against the usual days than one


def test_the_rest_of_a_line_that_is_still_open_counts_as_late():
    here = [Wait(NEAR, SWITCH, 1, 4, 4, True)]
    waiting = [*here, Wait(NEAR, SWITCH, 1, 60, 4, False)]
    assert learn(waiting, {}).of(NEAR, SWITCH).median > learn(here, {}).of(NEAR, SWITCH).median


def test_an_order_of_many_lines_is_one_order():
    one_box = [Wait(NEAR, part, 1, 20, 1, True) for part in range(40)]
    known = learn([*came([5] * 6, part=99, first_order=10), *one_box], {})
    as_one = learn([*came([5] * 6, part=99, first_order=10), Wait(NEAR, 0, 1, 20, 1, True)], {})
    ours, theirs = known.suppliers[NEAR], as_one.suppliers[NEAR]
    assert (ours.median, ours.spread) == (pytest.approx(theirs.median), pytest.approx(theirs.spread))
    assert ours.orders == 7


def test_what_is_fetched_on_the_same_day_is_no_error():
    lead = learn(came([0] * 30), {}).of(NEAR, SWITCH)
    assert lead.median < 1
    assert within(lead, 0) > 0.4


def test_cancelled_pieces_say_nothing():
    known = learn([*came([5] * 3), Wait(NEAR, SWITCH, 9, 300, 0, False)], {})
    assert known == learn(came([5] * 3), {})


def test_days_are_a_distribution_about_the_median():
    lead = LeadTime(9.0, 0.5, 10, "supplier")
    pmf = days_pmf(lead)
    assert pmf.sum() == pytest.approx(1, abs=1e-12)
    assert pmf.min() >= 0
    assert within(lead, 8) < 0.5 < within(lead, 9)
    # Two standard deviations of the logarithm above the median, a factor of e, lie 97.725 % of a log-normal.
    assert within(LeadTime(24.5 / math.e, 0.5, 10, "supplier"), 24) == pytest.approx(0.97725, abs=1e-5)


def test_what_may_take_years_ends_where_planning_ends():
    pmf = days_pmf(LeadTime(600.0, 1.5, 1, "part"))
    assert pmf.sum() == pytest.approx(1)
    assert len(pmf) == 731


def test_the_doubt_of_few_orders_is_in_the_days():
    few, many = (learn(came([5, 7, 10, 14] * n), {}).of(NEAR, SWITCH) for n in (1, 50))
    assert few.spread > many.spread
    assert learn([], {}).shop.spread == pytest.approx(TRADE_SPREAD * math.sqrt(1.25))  # as four orders leave it


@pytest.mark.parametrize("watched", [15, 100])
def test_the_truth_is_found_again_though_slow_orders_are_still_open(watched):
    """300 orders, watched for up to so many days: were the open ones left out, the supplier would look faster."""
    rng = np.random.default_rng(2)
    took = np.rint(np.exp(rng.normal(math.log(10), 0.5, 300))).astype(int)
    since = rng.integers(1, watched, 300)
    waits = [
        Wait(NEAR, SWITCH, number, int(min(days, seen)), 1, bool(days <= seen))
        for number, (days, seen) in enumerate(zip(took, since, strict=True))
    ]
    lead = learn(waits, {}).of(NEAR, SWITCH)
    assert lead.median == pytest.approx(10, rel=0.12)
    assert lead.spread == pytest.approx(0.5, rel=0.15)
    without = learn([wait for wait in waits if wait.arrived], {}).of(NEAR, SWITCH)
    assert without.median < lead.median
