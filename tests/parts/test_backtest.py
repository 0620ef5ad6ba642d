"""Which forecast a part goes by, and why: each held against what came, again and again."""

import numpy as np
import pytest
from scipy import stats

from parts.planning.backtest import FEWEST_MONTHS, LEVELS, backtest, came, origins_of, pinball, score
from parts.planning.intermittent import METHODS

HORIZON = 3


def poissons(mean) -> np.ndarray:
    """(…, 60) chances of 0 to 59 pieces."""
    return stats.poisson.pmf(np.arange(60), np.asarray(mean)[..., None])


def certain(pieces) -> np.ndarray:
    """(…, 60): a forecast that leaves no doubt."""
    return (np.arange(60) == np.asarray(pieces)[..., None]) * 1.0


def steady(parts: int, months: int, mean: float = 0.4, seed: int = 7) -> np.ndarray:
    return np.random.default_rng(seed).poisson(mean, (parts, months)) * 1.0


def with_record_of(months: int, demand: np.ndarray) -> np.ndarray:
    """The same, without a record before the last months."""
    short = demand.copy()
    short[:, :-months] = np.nan
    return short


def test_nothing_has_the_least_absolute_error_and_an_empty_shelf():
    """Parts asked for in one month of six: "nothing" beats the truth by absolute error, and loses where it counts."""
    demand = steady(300, 48, mean=0.18)
    origins = origins_of(48, HORIZON)
    actual = came(demand, HORIZON, origins)
    nothing, truth = certain(np.zeros(actual.shape)), poissons(np.full(actual.shape, 0.18 * HORIZON))
    assert np.abs(actual - 0).mean() < np.abs(actual - 0.18 * HORIZON).mean()
    at_95 = LEVELS.index(0.95)
    assert score(truth, actual).loss[:, at_95].mean() < 0.5 * score(nothing, actual).loss[:, at_95].mean()
    found = backtest(demand, HORIZON, {"nothing": nothing})
    assert found.pooled[0] > 1.5
    assert "nothing" not in {found.reason(part).method for part in range(300)}


def test_a_score_by_hand():
    """Half a chance of 1 and half of 3 pieces: quantiles 1, 3, 3, 3, 3; 2 pieces came, then 4."""
    pmfs = np.zeros((1, 2, 6))
    pmfs[..., [1, 3]] = 0.5
    found = score(pmfs, np.array([[2.0, 4.0]]))
    each = np.array([[0.5, 0.2, 0.1, 0.05, 0.01], [1.5, 0.8, 0.9, 0.95, 0.99]])
    assert found.loss[0] == pytest.approx(each.mean(axis=0))
    assert found.at[0] == pytest.approx(each.mean(axis=1))
    assert (found.origins[0], found.covered[0]) == (2, 0.5)


def test_what_was_not_forecast_or_did_not_come_yet_is_not_scored():
    pmfs = poissons(np.full((1, 4), 1.0))
    pmfs[0, 1] = np.nan
    found = score(pmfs, np.array([[1.0, 5.0, np.nan, 1.0]]))
    assert found.origins[0] == 2
    assert np.isnan(found.at[0]).tolist() == [False, True, True, False]
    assert found.loss[0] == pytest.approx([pinball(np.ones(1), np.ones(1), 0.5)[0], *found.loss[0, 1:]])


def test_only_months_with_enough_behind_them_and_all_of_the_horizon_ahead_are_asked():
    demand = with_record_of(20, np.arange(30.0)[None])
    origins = origins_of(30, HORIZON)
    assert (origins[0], origins[-1]) == (FEWEST_MONTHS - 1, 26)
    scored = origins[~np.isnan(came(demand, HORIZON, origins)[0])]
    assert (scored[0], scored[-1]) == (10 + FEWEST_MONTHS - 1, 26)
    assert came(demand, HORIZON, origins)[0, -1] == 27 + 28 + 29


def test_the_true_distribution_covers_what_it_promises():
    demand = steady(400, 60, mean=6.0)
    actual = came(demand, HORIZON, origins_of(60, HORIZON))
    assert score(poissons(np.full(actual.shape, 6.0 * HORIZON)), actual).covered.mean() == pytest.approx(
        0.91, abs=0.015
    )


@pytest.fixture(scope="module")
def fading() -> np.ndarray:
    """100 parts asked for twice a month until nobody asks any more, and 200 that stay as they are."""
    rng = np.random.default_rng(4)
    ends = rng.poisson(2.0, (100, 60)) * (np.arange(60) < rng.integers(20, 35, (100, 1))) * 1.0
    return np.vstack([ends, steady(200, 60, mean=0.5)])


def test_a_part_that_fades_goes_by_the_forecast_that_fades_with_it(fading):
    found = backtest(fading, HORIZON)
    chosen = np.array(found.names)[found.best]
    assert (chosen[:100] == "tsb").mean() > 0.95
    assert (chosen[100:] == "tsb").mean() < 0.9
    for part in (0, 50):
        losses = found.reason(part).losses
        assert losses["tsb"] < 0.7 * losses["sba"]


def lucky(demand: np.ndarray, part: int) -> dict[str, np.ndarray]:
    """An oracle that knows to the piece what comes of one part, and is far off for all others."""
    actual = came(demand, HORIZON, origins_of(demand.shape[1], HORIZON))
    pmfs = certain(np.full(actual.shape, 15))
    pmfs[part] = certain(np.nan_to_num(actual[part]))
    return {"oracle": pmfs}


def test_one_lucky_month_does_not_decide_and_a_long_record_does():
    demand = steady(60, 60)
    short = np.vstack([with_record_of(FEWEST_MONTHS + HORIZON, demand[:1]), demand[1:]])
    once = backtest(short, HORIZON, lucky(short, 0)).reason(0)
    assert once.origins == 1
    assert (once.own, once.method) == ("oracle", once.pooled)
    assert once.pooled in METHODS
    always = backtest(demand, HORIZON, lucky(demand, 0)).reason(0)
    assert (always.method, always.own) == ("oracle", "oracle")
    assert always.origins == 60 - HORIZON - FEWEST_MONTHS + 1
    assert always.losses["oracle"] == 0
    assert always.pooled != "oracle"


def test_a_forecast_from_outside_that_knows_what_changes_wins():
    """The cars of a part come of age: asked for four times as often from the third year on, as the model knew."""
    rng = np.random.default_rng(6)
    rate = np.where(np.arange(60) < 30, 0.3, 1.2)
    demand = rng.poisson(rate, (50, 60)) * 1.0
    origins = origins_of(60, HORIZON)
    knew = np.array([rate[origin + 1 : origin + 1 + HORIZON].sum() for origin in origins])
    pmfs = np.broadcast_to(poissons(knew), (50, len(origins), 60))
    found = backtest(demand, HORIZON, {"model": pmfs})
    assert (found.best == found.names.index("model")).mean() > 0.9
    reason = found.reason(0)
    assert reason.drawn["model"] == min(reason.drawn.values()) < 1
    assert reason.covered is not None
    assert reason.covered > 0.8


def test_a_forecast_that_exists_for_some_months_only_is_held_against_the_others_in_these():
    """The last years were lively, and only of the last the model was asked: its loss is larger, but it was better."""
    rng = np.random.default_rng(8)
    rate = np.where(np.arange(120) < 96, 0.1, 2.0)
    demand = rng.poisson(rate, (80, 120)) * 1.0
    origins = origins_of(120, HORIZON)
    knew = np.array([rate[origin + 1 : origin + 1 + HORIZON].sum() for origin in origins])
    pmfs = np.broadcast_to(poissons(knew), (80, len(origins), 60)).copy()
    pmfs[:, origins < 104] = np.nan
    found = backtest(demand, HORIZON, {"model": pmfs})
    reason = found.reason(0)
    assert reason.losses["model"] > reason.losses["tsb"]
    assert reason.method == "model"


def test_a_bad_forecast_is_no_better_for_being_made_seldom():
    demand = steady(80, 60)
    pmfs = certain(np.full((80, len(origins_of(60, HORIZON))), 3))
    pmfs[:, :-9] = np.nan
    found = backtest(demand, HORIZON, {"model": pmfs})
    assert found.scores["model"].origins[0] == 9
    assert found.pooled[0] > 1.2
    assert (found.best == found.names.index("model")).mean() < 0.05


def test_a_new_shop_goes_by_what_needs_no_record():
    demand = steady(3, 5)
    found = backtest(demand, HORIZON, {"model": np.zeros((3, 0, 4))})
    reason = found.reason(0)
    assert (reason.method, reason.origins, reason.own, reason.covered) == ("model", 0, None, None)
    assert reason.losses == {}
    assert set(reason.drawn.values()) == {1.0}
    assert backtest(demand, HORIZON).reason(0).method == METHODS[0]


def test_a_new_part_goes_by_what_is_best_for_the_others(fading):
    demand = np.vstack([fading[:100], with_record_of(4, steady(1, 60))])
    reason = backtest(demand, HORIZON).reason(100)
    assert (reason.method, reason.pooled, reason.origins, reason.own) == ("tsb", "tsb", 0, None)


def test_a_part_that_is_never_asked_for_has_a_reason_like_any_other():
    demand = np.vstack([steady(20, 40), np.zeros((1, 40))])
    reason = backtest(demand, HORIZON).reason(20)
    assert reason.method in METHODS
    assert reason.covered == 1.0
    assert all(np.isfinite(list(reason.drawn.values())))
