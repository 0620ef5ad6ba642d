"""Stocks, orders and their costs against the worked examples of textbooks and papers.

(MEM): the attribution rests on memory; the value itself was computed a second time before it was written here.
"""

import math
from decimal import Decimal
from statistics import NormalDist

import numpy as np
import pytest

from parts.planning.budget import Choice, spend
from parts.planning.policy import best_policy
from parts.planning.stocking import (
    base_stock_for,
    economic_quantity,
    losses,
    newsvendor,
    newsvendor_cost,
    newsvendor_normal,
    normal_loss,
    point_for_share,
    poisson,
    quantity_and_point,
    served_by_base_stock,
)


def test_the_first_economic_quantity():
    """F. W. Harris, Factory 10(2) (1913): 1000 a month, 2 dollars to set up, 10 cents each, 10 % a year: 2190 (MEM)."""
    assert economic_quantity(demand=12_000, ordering=2, holding=0.10 * 0.10) == pytest.approx(2190.89, abs=0.01)


def test_an_economic_quantity_of_a_newer_textbook():
    """L. V. Snyder & Z.-J. M. Shen, Fundamentals of Supply Chain Theory (2019), example 3.1 (MEM)."""
    quantity = economic_quantity(demand=1300, ordering=8, holding=0.225)
    assert quantity == pytest.approx(304.0468, abs=1e-4)
    assert 8 * 1300 / quantity + 0.225 * quantity / 2 == pytest.approx(68.4105, abs=1e-4)


def test_wetsuits_for_one_season():
    """G. Cachon & C. Terwiesch, Matching Supply with Demand: a piece missing costs 80, one left 20, demand N(3192,
    1181). With the table's z = 0.85: 4196 to order, 130 lost, 3062 sold, 1134 left, about 222,280 earned (MEM); without
    the table's rounding 222,295 and, at the exact z, 4185.95 to order."""
    demand = NormalDist(3192, 1181)
    order = 3192 + 0.85 * 1181
    lost = normal_loss(demand, order)
    sold, left = 3192 - lost, order - 3192 + lost
    assert [round(value) for value in (order, lost, sold, left)] == [4196, 130, 3062, 1134]
    assert 80 * sold - 20 * left == pytest.approx(222_295, abs=1)
    assert newsvendor_normal(demand, under=80, over=20)[0] == pytest.approx(4185.95, abs=0.01)


def test_newspapers_of_a_textbook():
    """Snyder & Shen (2019): 0.70 for one missing, 0.18 for one left; N(50, 8) gives 56.60396 at 1.99761, Poisson(50)
    gives 56 at 1.79724 (MEM)."""
    assert newsvendor_normal(NormalDist(50, 8), under=0.70, over=0.18) == pytest.approx((56.60396, 1.99761), abs=1e-5)
    demand = poisson(50.0)
    assert newsvendor(demand, under=0.70, over=0.18) == 56
    costs = newsvendor_cost(demand, np.array([55.0, 56.0, 57.0]), under=0.70, over=0.18)
    assert costs[1] == pytest.approx(1.79724, abs=1e-5)
    assert costs.argmin() == 1


def test_newspapers_of_an_encyclopaedia():
    """Sold for 7, bought for 5: uniform between 50 and 80 gives 58.571, N(50, 20) gives 38.681 (encyclopaedia's article
    on the newsvendor model; MEM)."""
    hundredths = np.zeros(8001)
    hundredths[5000:] = 1 / 3001
    assert newsvendor(hundredths, under=2, over=5) / 100 == pytest.approx(58.571, abs=0.01)
    assert newsvendor_normal(NormalDist(50, 20), under=2, over=5)[0] == pytest.approx(38.681, abs=1e-3)


MUSTARD = NormalDist(100, 25)
"""Demand over the lead time in S. Nahmias, Production and Operations Analysis, the jars of mustard (MEM)."""


def test_mustard_is_ordered_111_at_a_time_at_143():
    """50 an order, 200 jars a year, holding 2 a jar and year, 25 a jar missing."""
    quantity, point = quantity_and_point(MUSTARD, demand=200, ordering=50, holding=2, penalty=25)
    assert (round(quantity), round(point)) == (111, 143)
    assert (quantity, point) == pytest.approx((110.774, 142.568), abs=1e-3)
    assert normal_loss(MUSTARD, point) == pytest.approx(0.4542, abs=1e-4)


def test_mustard_for_98_of_100():
    """98 % of the jars at once: order at 126 (100 at a time); no jar missing in 98 % of the rounds: at 151."""
    assert math.ceil(point_for_share(MUSTARD, quantity=100, share=0.98)) == 126
    assert round(newsvendor_normal(MUSTARD, under=0.98, over=0.02)[0]) == 151


# Expected backorders and share served at base stocks 0, 1, … with a Poisson number on the way (Palm's theorem, as in
# C. C. Sherbrooke, Optimal Inventory Modeling of Systems, chapter 2; MEM, computed anew).
PALM = {
    1.0: ([1.0000, .3679, .1036, .0233, .0043, .0007], [0, .3679, .7358, .9197, .9810, .9963]),
    2.5: ([2.5, 1.5821, .8694, .4132, .1708, .0619, .0199, .0057, .0015],
          [0, .0821, .2873, .5438, .7576, .8912, .9580, .9858, .9958]),
    4.0: ([4, 3.0183, 2.1099, 1.3480, .7815, .4103, .1954, .0848, .0336, .0123, .0041],
          [0, .0183, .0916, .2381, .4335, .6288, .7851, .8893, .9489, .9786, .9919]),
}  # fmt: skip


@pytest.mark.parametrize("on_the_way", PALM)
def test_base_stock_with_a_poisson_number_on_the_way(on_the_way):
    backorders, served = PALM[on_the_way]
    demand = poisson(on_the_way)
    assert losses(demand)[: len(backorders)] == pytest.approx(backorders, abs=5e-5)
    assert served_by_base_stock(demand)[: len(served)] == pytest.approx(served, abs=5e-5)


def test_an_appliance_shop_that_serves_nine_of_ten():
    """W. Hopp & M. Spearman, Factory Physics: ten asked for in a lead time, base stock 15, reorder point 14 (MEM)."""
    demand = poisson(10.0)
    stock = base_stock_for(demand, 0.9)
    assert (stock, stock - 1) == (15, 14)
    assert served_by_base_stock(demand)[[14, 15]] == pytest.approx([0.8645, 0.9165], abs=5e-5)
    assert losses(demand)[[10, 15]] == pytest.approx([1.2511, 0.1035], abs=5e-5)


# Two items in Sherbrooke, chapter 2 (MEM): ten a year, on the way for 0.1 year, 5 thousand each; fifty a year, 0.08
# year, 1 thousand. Thousands spent -> stock of both, and backorders of both together.
CURVE = {
    0: (0, 0, 5.0000), 1: (0, 1, 4.0183), 2: (0, 2, 3.1099), 3: (0, 3, 2.3480), 4: (0, 4, 1.7815), 5: (0, 5, 1.4103),
    6: (0, 6, 1.1954), 11: (1, 6, 0.5633), 12: (1, 7, 0.4526), 17: (2, 7, 0.1884), 18: (2, 8, 0.1373),
}  # fmt: skip


@pytest.mark.parametrize("thousands", CURVE)
def test_two_items_bought_by_what_each_gains_for_its_money(thousands):
    first, second = (tuple(-losses(poisson(on_the_way))) for on_the_way in (1.0, 4.0))
    found = spend(Decimal(thousands), [Choice("first", Decimal(5), first), Choice("second", Decimal(1), second)])
    assert (found.packs["first"], found.packs["second"]) == CURVE[thousands][:2]
    assert found.cost == thousands
    assert -found.worth == pytest.approx(CURVE[thousands][2], abs=5e-5)


def test_the_cheapest_policy_of_its_paper():
    """Y.-S. Zheng & A. Federgruen, Operations Research 39 (1991) 654-665, table 1: Poisson demand of 10 a period, no
    lead time, 64 an order, 1 a piece left, 9 a piece missing: (6, 40) at 35.022."""
    demand = poisson(10.0)

    def cost_at(levels):
        return newsvendor_cost(demand, levels, under=9, over=1)

    found = best_policy(demand, ordering=64, cost_at=cost_at, around=newsvendor(demand, under=9, over=1))
    assert (found.reorder_at, found.up_to) == (6, 40)
    assert found.cost == pytest.approx(35.022, abs=5e-4)
