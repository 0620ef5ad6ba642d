"""Forecasts of seldom asked for parts and their scores against published values, by hand, and against libraries."""

import itertools

import numpy as np
import pytest
from scipy import stats
from sklearn.metrics import mean_pinball_loss

from parts.planning import hurdle
from parts.planning.backtest import pinball
from parts.planning.counts import negative_binomial
from parts.planning.history import WEIGHT_OF_SHOP, follow
from parts.planning.intermittent import forecast, monthly_mean

# Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 2nd ed., section on count series, product C (as
# printed at rstudio-pubs-static.s3.amazonaws.com, document 587195).
PRODUCT_C = [0,2,0,1,0,11,0,0,0,0,2,0, 6,3,0,0,0,0,0,7,0,0,0,0, 0,0,0,3,1,0,0,1,0,1,0,0]  # fmt: skip


def after(series):
    return follow(np.array([series], dtype=float))


def test_crostons_printed_example():
    """Size 2.750, interval 2.793, forecast 0.985 (MEM)."""
    followed = after(PRODUCT_C)
    assert followed.size[-1, 0] == pytest.approx(2.750, abs=5e-4)
    assert followed.interval[-1, 0] == pytest.approx(2.793, abs=5e-4)
    assert monthly_mean(followed, "croston")[-1, 0] == pytest.approx(0.985, abs=5e-4)


@pytest.mark.parametrize(("method", "rate"), [("croston", 0.98459652), ("sba", 0.9353667), ("tsb", 0.8040651)])
def test_the_rates_that_a_library_gives_of_it(method, rate):
    """statsforecast 2.1.1: CrostonClassic, CrostonSBA and TSB(0.1, 0.1)."""
    assert monthly_mean(after(PRODUCT_C), method)[-1, 0] == pytest.approx(rate, abs=5e-8)


def test_by_hand():
    """Sizes 2, 4 after intervals 2, 3: size 2.2, interval 2.1; chance 0, .1, .09, .081, .1729, .15561."""
    followed = after([0, 2, 0, 0, 4, 0])
    assert monthly_mean(followed, "croston")[-1, 0] == pytest.approx(2.2 / 2.1)
    assert monthly_mean(followed, "sba")[-1, 0] == pytest.approx(0.95 * 2.2 / 2.1)
    assert monthly_mean(followed, "tsb")[-1, 0] == pytest.approx(2.2 * 0.15561)


@pytest.mark.parametrize(("method", "peer"), [("croston", "CrostonClassic"), ("sba", "CrostonSBA"), ("tsb", "TSB")])
def test_many_series_against_the_library(method, peer):
    from statsforecast import models

    rng = np.random.default_rng(5)
    demand = rng.poisson(rng.gamma(0.7, 0.5, (200, 1)), (200, 48)) * rng.geometric(0.6, (200, 48)).astype(float)
    demand = demand[demand.any(axis=1)]  # of a part never asked for the library says 0, this project the shop's average
    model = models.TSB(0.1, 0.1) if peer == "TSB" else getattr(models, peer)()
    theirs = [model.forecast(row, 1)["mean"][0] for row in demand]
    assert len(demand) > 150
    assert monthly_mean(follow(demand), method)[-1] == pytest.approx(np.array(theirs), rel=1e-12)


@pytest.mark.parametrize(("mean", "variance"), [(0.3, 0.5), (4.0, 4.8), (60.0, 300.0), (900.0, 2000.0)])
def test_the_negative_binomial(mean, variance):
    ours = negative_binomial(np.array([mean]), np.array([variance]), 2048)[0]
    theirs = stats.nbinom.pmf(np.arange(2048), mean**2 / (variance - mean), mean / variance)
    assert ours == pytest.approx(theirs, abs=1e-12)


def test_without_more_variance_than_mean_it_is_poissons():
    ours = negative_binomial(np.array([3.0]), np.array([3.0]), 40)[0]
    assert ours == pytest.approx(stats.poisson.pmf(np.arange(40), 3.0), abs=1e-8)


def test_months_with_a_demand_are_beta_binomial():
    """A part asked for in 3 of 11 months, one piece at a time."""
    followed = after([0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0])
    first = 3 + WEIGHT_OF_SHOP * followed.pool.chance[-1]
    theirs = stats.betabinom.pmf(np.arange(5), 4, first, 11 + WEIGHT_OF_SHOP - first)
    [(_place, _parts, pmf)] = hurdle.blocks(followed, 4, np.array([10]))
    assert pmf[0, 0] == pytest.approx(theirs[0], abs=1e-12)
    assert followed.pool.size[-1] == 1.0
    assert pmf[0, :5] == pytest.approx(theirs, abs=1e-12)


def test_the_sum_of_sizes_by_going_through_all_of_them():
    """Three months ahead: all triples of one month's demands, by hand of the chances of each."""
    followed = after([0, 4, 0, 4, 2, 0, 0, 4])
    one = forecast(followed, "hurdle", 1)[0]
    sizes = one[1:20] / (1.0 - one[0])
    first = 4 + WEIGHT_OF_SHOP * followed.pool.chance[-1]
    asked = stats.betabinom.pmf(np.arange(4), 3, first, 8 + WEIGHT_OF_SHOP - first)
    expected = np.zeros(13)
    expected[0] = asked[0]
    for number in (1, 2, 3):
        for each in itertools.product(range(1, 13), repeat=number):
            if sum(each) < 13:
                expected[sum(each)] += asked[number] * np.prod([sizes[size - 1] for size in each])
    assert forecast(followed, "hurdle", 3)[0, :13] == pytest.approx(expected, abs=1e-9)


# The example of sktime's PinballLoss (sktime.net, API reference 0.31): forecasts of three quantiles of five values, and
# the mean loss of each.
VALUES = [3, -0.5, 2, 7, 2]
FORECASTS = {0.05: [1.25, 0, 1, 4, 0.625], 0.5: [2.5, 0, 2, 8, 1.25], 0.95: [3.75, 0, 3, 12, 1.875]}
LOSSES = {0.05: 0.16625, 0.5: 0.275, 0.95: 0.09625}


@pytest.mark.parametrize("level", LOSSES)
def test_a_published_pinball_loss(level):
    assert pinball(np.array(FORECASTS[level]), np.array(VALUES), level).mean() == pytest.approx(LOSSES[level])


def test_pinball_loss_as_scikit_learn_has_it():
    rng = np.random.default_rng(2)
    forecasts, came = rng.poisson(3, (2, 400)).astype(float)
    for level in (0.5, 0.8, 0.95, 0.99):
        assert pinball(forecasts, came, level).mean() == pytest.approx(mean_pinball_loss(came, forecasts, alpha=level))
