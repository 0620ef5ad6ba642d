"""The best use of a given sum."""

import dataclasses
from decimal import Decimal
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parts.planning.budget import Choice, choice_of, share_served, spend
from parts.planning.lead_demand import Outlook, protected_demand
from parts.planning.part_plan import Stock, Terms
from parts.planning.stocking import poisson

TERMS = Terms(Decimal("80.00"), Decimal("12.00"), 0.2, 0.95)
THREE_WEEKS = np.eye(22)[21]


@st.composite
def choices(draw):
    found = []
    for number in range(draw(st.integers(1, 5))):
        gains = draw(st.lists(st.integers(0, 20), max_size=4))
        worth = tuple(float(one) for one in np.cumsum([0, *gains]))
        found.append(Choice(f"part {number}", Decimal(draw(st.integers(0, 40))), worth))
    return found


budgets = st.integers(0, 200).map(Decimal)


@settings(max_examples=200, deadline=None)
@given(choices(), budgets, budgets)
def test_a_larger_sum_never_serves_less(choices, one, other):
    small, large = (spend(budget, choices) for budget in sorted((one, other)))
    assert large.worth >= small.worth - 1e-9
    assert share_served(choices, large.packs) >= share_served(choices, small.packs) - 1e-9


@settings(max_examples=200, deadline=None)
@given(choices(), budgets)
def test_no_more_is_spent_than_there_is_and_the_books_agree(choices, budget):
    found = spend(budget, choices)
    assert found.cost == sum(choice.price * found.packs[choice.key] for choice in choices) <= budget
    assert found.worth == pytest.approx(sum(choice.worth[found.packs[choice.key]] for choice in choices))
    bought = dict.fromkeys(found.packs, 0)
    for key, more in found.order:
        assert more > 0
        bought[key] += more
    assert bought == found.packs


@settings(max_examples=100, deadline=None)
@given(choices(), budgets)
def test_little_is_lost_against_trying_every_purchase(choices, budget):
    """At most what the one dearest purchase would gain: whole packs do not always fill a sum."""
    best = max(
        sum(choice.worth[count] for choice, count in zip(choices, counts, strict=True))
        for counts in product(*(range(len(choice.worth)) for choice in choices))
        if sum(choice.price * count for choice, count in zip(choices, counts, strict=True)) <= budget
    )
    assert spend(budget, choices).worth >= best - max(max(choice.worth) for choice in choices) - 1e-9


def test_what_gains_only_together_is_bought_together():
    """The first two gain nothing without the third."""
    trio, single = Choice("trio", Decimal(1), (0.0, 0.0, 0.0, 9.0)), Choice("single", Decimal(1), (0.0, 2.0))
    assert spend(Decimal(3), [trio, single]).order == (("trio", 3),)
    assert spend(Decimal(2), [trio, single]).order == (("single", 1),)


def test_what_gains_nothing_is_not_bought_even_for_nothing():
    assert spend(Decimal(100), [Choice("still", Decimal(0), (1.0, 1.0, 1.0))]).packs == {"still": 0}
    assert spend(Decimal(0), [Choice("gift", Decimal(0), (1.0, 2.0))]).packs == {"gift": 1}


def test_of_two_parts_alike_the_one_that_holds_cars_up_for_longer_comes_first():
    demand = protected_demand(Outlook([poisson(0.5)], THREE_WEEKS, 7))
    long = choice_of("long", demand, Stock(), dataclasses.replace(TERMS, held_up_days=10.0))
    short = choice_of("short", demand, Stock(), dataclasses.replace(TERMS, held_up_days=2.0))
    assert spend(Decimal(80), [short, long]).packs == {"short": 0, "long": 1}


def test_stock_that_is_there_already_is_not_bought_again():
    demand = protected_demand(Outlook([poisson(0.5)], THREE_WEEKS, 7))
    full, empty = choice_of("full", demand, Stock(on_hand=3), TERMS), choice_of("empty", demand, Stock(), TERMS)
    assert spend(Decimal(160), [full, empty]).packs == {"full": 0, "empty": 2}


def test_first_those_are_bought_for_who_waits_already():
    demand = protected_demand(Outlook([poisson(0.5)], THREE_WEEKS, 7))
    owed = choice_of("owed", demand, Stock(reserved=1), dataclasses.replace(TERMS, pack=2))
    assert owed.price == Decimal("160.00")
    assert owed.worth[0] == 0.0
    assert spend(Decimal(160), [owed]).packs == {"owed": 1}


@pytest.mark.parametrize(
    ("budget", "choices"),
    [
        (Decimal(-1), []),
        (Decimal(1), [Choice("a", Decimal(-1), (0.0,))]),
        (Decimal(1), [Choice("a", Decimal(1), ())]),
        (Decimal(1), [Choice("a", Decimal(1), (0.0,)), Choice("a", Decimal(1), (0.0,))]),
    ],
)
def test_what_cannot_be_is_refused(budget, choices):
    with pytest.raises(ValueError, match="expected"):
        spend(budget, choices)
