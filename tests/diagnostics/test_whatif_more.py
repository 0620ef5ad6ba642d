"""What more cars would teach, where a car is known by its year alone, and how wide the ratio is told."""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.ranges import quantile
from diagnostics.learning.whatif import belief_of, more_cars, most_telling
from tests.diagnostics.lives import WEAK, chosen, lives

SPELLS = lives(24, 150, scale=20.0, windows=[(0, 40, 4.0)])


@pytest.fixture(scope="module")
def belief():
    return belief_of(SPELLS, WEAK)


def test_the_ratio_factor_is_the_upper_over_the_lower_end_of_nine_tenths(belief):
    mass = belief.mass.sum(axis=0)
    low, high = (np.exp(quantile(belief.log_ratio, mass, p)) for p in (0.05, 0.95))
    assert more_cars(belief, SPELLS, cars=2).now.ratio_factor == pytest.approx(high / low)


def test_a_car_of_a_known_year_tells_less_of_the_end_than_one_of_a_known_month(belief):
    """Where the year lies across the likeliest end, nobody knows on which side of it the car was made."""
    last = int(belief.last[int(np.argmax(belief.weight))])
    car = chosen(SPELLS, slice(0, 2))
    car = replace(
        car,
        month=np.array([last - 5, last - 5]),
        year_only=np.array([False, True]),
        climate=np.zeros(2, dtype=np.int64),
        entry=np.zeros(2),
        good=np.full(2, 8.0),
    )
    known, vague = most_telling(belief, car)
    assert 0 < vague < known - 0.001


def test_a_car_of_a_year_far_from_every_end_tells_what_its_months_tell(belief):
    """From January on twelve months: the one before the range's first is none of them."""
    first = int(belief.first.min())
    car = replace(
        chosen(SPELLS, slice(0, 2)),
        month=np.array([first, first]),
        year_only=np.array([False, True]),
        climate=np.zeros(2, dtype=np.int64),
        entry=np.zeros(2),
        good=np.full(2, 8.0),
    )
    whole = belief.last >= first + 11
    sure = replace(
        belief, first=np.full(whole.sum(), first), last=belief.last[whole],
        mass=belief.mass[whole] / belief.mass[whole].sum(),
    )  # fmt: skip
    month, year = most_telling(sure, car)
    assert year == pytest.approx(month)
