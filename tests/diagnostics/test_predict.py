"""Chances of failure from what was learned: what a person is told of a car, and what must always hold."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from diagnostics.engine.faults import default_prior, faults_of
from diagnostics.learning.curves import curves_of
from diagnostics.learning.design import fit_with
from diagnostics.learning.predict import (
    CarFacts,
    Fitted,
    any_of,
    chance_of,
    failure_chance,
    outlook,
    parameters,
    with_interval,
)
from diagnostics.learning.priors import (
    AT_YEARS,
    GENERIC,
    GENERIC_SHARE,
    GENERIC_YEARS,
    LATER_SD,
    later_prior,
    priors_of,
)
from diagnostics.learning.records import Estimate, PartModel, Population, Range, Tally, WeibullFit, WindowWeight
from tests.diagnostics.lives import START, WEAK, chosen, lives, of_rows
from tests.diagnostics.systems import shipped

POPULATION = Population("soft-one", "S 100", "", True, "never-makes", ("BG1", "BG2"))
TALLY = Tally(40, 44, 9)


def model(*, names=(), effects=(), sd=0.0, ranges=()):
    """A model of scale 12 years and shape 1.7 whose every parameter is known to `sd`."""
    estimate = np.array([np.log(12.0), np.log(1.7), *effects])
    fit = WeibullFit(("log_scale", "log_shape", *names), estimate, sd**2 * np.eye(len(estimate)), 0, 0, True, 44, 9)
    return PartModel(POPULATION, fit, TALLY, 100, 0.0, 0.0, tuple(ranges), (), (), (), "")


def made(first, last, *, windows=None, open_first=False, ratio=4.0):
    windows = windows or [(first, last, 1.0)]
    weights = tuple(WindowWeight(a, b, weight) for a, b, weight in windows)
    return Range(
        first=first,
        last=last,
        first_set=(first, first),
        last_set=(last, last),
        open_first=open_first,
        open_last=False,
        probability=1.0,
        ratio=Estimate(ratio, ratio, ratio),
        inside=TALLY,
        outside=TALLY,
        found=True,
        windows=weights,
    )


def chance(one, since, to, *, month=START, year_only=False, climate=0, position="BG1", n=200):
    columns = {"month": np.array([month]), "year_only": np.array([year_only]), "climate": np.array([climate])}
    return failure_chance(one, position, since_age=np.array([since]), to_age=np.array([to]), **columns, n=n)[:, 0]


@pytest.mark.parametrize("number", [0, 7, 20])
def test_without_any_data_the_trade_default_is_expected_at_six_years(number):
    system = shipped("rht-trio")
    fault = faults_of(system)[number]
    prior = priors_of(system)[fault.position, fault.mode]
    fit = WeibullFit(("log_scale", "log_shape"), *_prior_as_fit(prior), 0, 0, True, 0, 0)
    drawn = chance(replace(model(), fit=fit), 0.0, AT_YEARS, n=20_000)
    told, low, high = with_interval(drawn)
    # The inputs of the module count together.
    alike = [one for one in faults_of(system) if (one.position, one.mode) == (fault.position, fault.mode)]
    default = sum(default_prior(system, one) for one in alike)
    assert told == pytest.approx(default, rel=0.05)
    # What is forecast is the mean; of so wide a chance it lies above the middle, but not far.
    assert default < drawn.mean() < 2.2 * default
    assert low < told / 3
    assert high > told * 3


def test_a_position_that_nobody_declared_has_the_general_share():
    fit = WeibullFit(("log_scale", "log_shape"), *_prior_as_fit(GENERIC), 0, 0, True, 0, 0)
    told, _low, _high = with_interval(chance(replace(model(), fit=fit), 0.0, GENERIC_YEARS, n=20_000))
    assert told == pytest.approx(GENERIC_SHARE, rel=0.05)


def test_ten_cars_give_a_sane_answer_and_move_the_default():
    system = shipped("rht-trio")
    fault = faults_of(system)[0]
    prior = priors_of(system)[fault.position, fault.mode]
    ten = chosen(lives(3, 200, scale=9.0), slice(0, 10))
    fit = fit_with(ten, prior, ())
    before = replace(fit, estimate=np.array([prior.log_scale[0], prior.log_shape[0]]), covariance=np.zeros((2, 2)))
    told, default = (
        np.mean(chance(replace(model(), fit=replace(one, names=one.names[:2])), 0.0, 6.0))
        for one in (replace(fit, estimate=fit.estimate[:2], covariance=fit.covariance[:2, :2]), before)
    )
    assert ten.has_failed.sum() >= 2
    assert default < told < 0.6


def test_units_fitted_later_are_thought_of_as_the_original_ones_are_but_less_surely():
    fit = model(sd=0.2).fit
    prior = later_prior(fit)
    assert prior.log_scale[0] == pytest.approx(np.log(12.0))
    assert 0.5 < prior.log_scale[1] < 0.6


def test_what_is_known_of_original_units_together_is_known_of_later_ones_together():
    """Scale and shape of a fit lean on each other; a prior that took them apart would believe shares at an age that
    the data rule out."""
    fit = model().fit
    fit.covariance[:2, :2] = [[0.09, -0.04], [-0.04, 0.04]]
    prior = later_prior(fit)
    assert prior.tilt == pytest.approx(-1.0)
    assert prior.log_scale[1] == pytest.approx(np.sqrt(0.09 - 0.04 + LATER_SD**2))
    assert prior.log_scale_at(fit.estimate[1] + 0.2) == pytest.approx(fit.estimate[0] - 0.2)


@given(
    ages=st.tuples(*[st.floats(0, 15)] * 3).map(sorted),
    shape=st.floats(0.5, 4),
    climate=st.integers(0, 2),
)
@settings(max_examples=40, deadline=None)
def test_two_years_one_after_the_other_are_both_years_together(ages, shape, climate):
    a, b, c = ages
    one = model(names=("hot", "cold"), effects=(0.4, -0.2), sd=0.15)
    one.fit.estimate[1] = np.log(shape)
    first, second, both = (chance(one, *span, climate=climate) for span in ((a, b), (b, c), (a, c)))
    np.testing.assert_allclose(1 - (1 - first) * (1 - second), both, atol=1e-9)
    assert np.all((both >= 0) & (both <= 1))
    assert np.all(both >= first - 1e-12)


def test_a_chance_is_the_integral_of_the_density_given_survival():
    """scipy.stats.weibull_min, integrated by scipy.integrate.quad."""
    law = stats.weibull_min(1.7, scale=12.0)
    area, _error = integrate.quad(law.pdf, 5.0, 7.0)
    assert chance(model(), 5.0, 7.0)[0] == pytest.approx(area / law.sf(5.0), abs=1e-10)


def test_the_mean_over_the_draws_is_the_integral_over_what_is_believed():
    """A normal log scale, integrated by scipy.integrate.quad; the shape is known."""
    one = model()
    one.fit.covariance[0, 0] = 0.2**2

    def weighed(log_scale):
        return -np.expm1(-((6.0 / np.exp(log_scale)) ** 1.7)) * stats.norm.pdf(log_scale, np.log(12.0), 0.2)

    area, _error = integrate.quad(weighed, np.log(12.0) - 1.6, np.log(12.0) + 1.6)
    assert chance(one, 0.0, 6.0, n=40_000).mean() == pytest.approx(area, rel=0.01)


def test_in_a_range_the_hazard_is_greater_by_its_ratio():
    one = model(names=("range:1",), effects=(np.log(4.0),), ranges=[made(START + 12, START + 23)])
    before, first, last, after = (-np.log1p(-chance(one, 2.0, 4.0, month=START + at)[0]) for at in (11, 12, 23, 24))
    assert before == pytest.approx(after)
    assert first / before == pytest.approx(4.0)
    assert last / before == pytest.approx(4.0)


def test_a_dismissed_range_changes_nothing():
    away = replace(made(START, START + 23), state="dismissed")
    one = model(ranges=[away])
    assert chance(one, 2.0, 4.0, month=START)[0] == pytest.approx(chance(model(), 2.0, 4.0)[0])


def test_where_the_end_of_a_range_is_unsure_a_car_is_in_it_as_often_as_its_windows_say():
    windows = [(START, START + 10, 0.75), (START, START + 20, 0.25)]
    one = model(names=("range:1",), effects=(np.log(4.0),), ranges=[made(START, START + 10, windows=windows)])
    told = chance(one, 0.0, 5.0, month=START + 15, n=4000)
    assert np.mean(told > told.min() * 1.5) == pytest.approx(0.25, abs=0.03)


def test_a_car_older_than_all_that_were_seen_is_in_a_range_whose_beginning_is_open():
    told = {}
    for is_open in (True, False):
        ranges = [made(START, START + 23, open_first=is_open)]
        one = model(names=("range:1",), effects=(np.log(4.0),), ranges=ranges)
        told[is_open] = chance(one, 2.0, 4.0, month=START - 7)[0]
    assert told[True] > 3 * told[False]


def test_a_car_known_by_its_year_has_the_mean_hazard_of_its_months():
    ranges = [made(START + 6, START + 30)]
    one = model(names=("range:1",), effects=(np.log(4.0),), ranges=ranges)
    told = chance(one, 0.0, 5.0, month=START, year_only=True)[0]
    outside = chance(one, 0.0, 5.0, month=START)[0]
    assert np.log1p(-told) / np.log1p(-outside) == pytest.approx((6 * 1 + 6 * 4) / 12)


def test_climate_and_place_of_a_twin_count():
    one = model(names=("hot", "at:BG1", "at:BG2"), effects=(0.5, 0.3, -0.3))
    plain = -np.log1p(-chance(model(), 1.0, 3.0)[0])
    for position, climate, effect in (("BG1", 1, 0.8), ("BG2", 0, -0.3), ("BG2", 2, -0.3)):
        told = chance(one, 1.0, 3.0, position=position, climate=climate)[0]
        assert -np.log1p(-told) == pytest.approx(plain * np.exp(effect))


def test_cars_are_reckoned_together_as_they_are_alone():
    rng = np.random.default_rng(5)
    n = 30
    one = model(names=("cold", "range:1"), effects=(0.4, 1.2), sd=0.2, ranges=[made(START + 6, START + 30)])
    month, vague, climate = START + rng.integers(0, 60, n), rng.random(n) < 0.3, rng.integers(0, 3, n)
    month = np.where(vague, month - month % 12, month)
    since = rng.uniform(0, 10, n)
    facts = {"month": month, "year_only": vague, "climate": climate}
    together = failure_chance(one, "BG1", since_age=since, to_age=since + 1, **facts)
    for car in range(n):
        alone = chance(one, since[car], since[car] + 1, month=month[car], year_only=vague[car], climate=climate[car])
        np.testing.assert_allclose(together[:, car], alone, rtol=1e-9)


def test_the_interval_holds_nine_tenths_of_the_draws():
    middle, low, high = with_interval(np.linspace(0, 1, 1001)[:, None])
    assert (middle[0], low[0], high[0]) == pytest.approx((0.5, 0.05, 0.95))


def test_a_longer_time_has_a_larger_chance_and_the_whole_top_the_largest():
    fitted = [Fitted(model(sd=0.1), "BG1", 4.0), Fitted(model(sd=0.1), "BG2", 1.0)]
    told = outlook(fitted, CarFacts(START, False, 0))
    assert [one.position for one in told.positions] == ["BG1", "BG2"]
    for one in told.positions:
        assert one.chances[0].estimate < one.chances[1].estimate
        assert one.chances[0].low < one.chances[0].estimate < one.chances[0].high
        assert one.cars == TALLY.cars
        assert all(top.estimate > part.estimate for top, part in zip(told.top, one.chances, strict=True))


def test_several_modes_of_one_position_add_up():
    other = replace(model(), population=replace(POPULATION, mode="stays-made"))
    told = outlook([Fitted(model(), "BG1", 4.0), Fitted(other, "BG1", 4.0)], CarFacts(START, False, 0), (12,))
    alone = chance(model(), 4.0, 5.0)[0]
    assert told.positions[0].chances[0].estimate == pytest.approx(1 - (1 - alone) ** 2)
    assert told.top == told.positions[0].chances


def test_of_a_car_without_models_nothing_is_said():
    told = outlook([], CarFacts(START, False, 0))
    assert told.positions == ()
    assert told.top == ()


def test_what_is_unknown_of_two_parts_is_not_wrong_in_the_same_way():
    """Two parts alike: the interval of both together is narrower than if both were off together."""
    other = replace(model(sd=0.3), population=replace(POPULATION, part="S 200"))
    both = [Fitted(model(sd=0.3), "BG1", 4.0), Fitted(other, "BG9", 4.0)]
    apart = outlook(both, CarFacts(START, False, 0), (12,)).top[0]
    twins = outlook([both[0], replace(both[0], position="BG2")], CarFacts(START, False, 0), (12,)).top[0]
    assert apart.high - apart.low < twins.high - twins.low


def test_a_fault_may_have_come_since_the_unit_was_last_seen_good():
    car = CarFacts(START, False, 0)
    drawn = parameters(model())
    told = [float(np.median(chance_of(drawn, "BG1", car, good, 6.0))) for good in (0.0, 3.0, 6.0)]
    assert told[0] > told[1] > told[2] == 0.0


@given(st.lists(st.floats(0, 1), min_size=1, max_size=5))
def test_any_of_several_is_one_less_none(chances):
    told = float(any_of([np.array([one]) for one in chances])[0])
    assert told == pytest.approx(1 - np.prod([1 - one for one in chances]))
    assert told >= max(chances) - 1e-12


def test_curves_rise_within_their_bands_and_cross_what_the_data_say():
    spells = lives(11, 600, windows=[(0, 50, 4.0)])
    window = made(START, START + 50)
    curves = curves_of(spells, fit_with(spells, WEAK, [(START, START + 50)]), [window])
    assert [one.label for one in curves] == ["inside", "outside"]
    for one in curves:
        share, low, high = np.array(one.share), np.array(one.low), np.array(one.high)
        assert np.all(np.diff(share) >= 0)
        assert np.all((low <= share) & (share <= high))
        assert one.age[0] == 0.0
        assert share[0] == 0.0
        assert len(one.age) <= 61
        assert np.all(np.diff(one.at_risk) <= 0)
        free = [(share[number], value) for number, value in enumerate(one.nonparametric) if value is not None]
        assert np.mean([abs(a - b) for a, b in free]) < 0.08
    at = [list(one.age).index(8.0) for one in curves]
    assert curves[0].share[at[0]] > 2 * curves[1].share[at[1]]


def test_without_a_range_there_is_one_curve_of_all_and_of_nobody_none():
    spells = lives(12, 100)
    assert [one.label for one in curves_of(spells, fit_with(spells, WEAK, ()), [])] == ["all"]
    nobody = chosen(spells, slice(0, 0))
    assert curves_of(nobody, fit_with(spells, WEAK, ()), []) == ()


def _prior_as_fit(prior):
    (mean, sd), (shape, shape_sd) = prior.log_scale, prior.log_shape
    along = prior.tilt * shape_sd**2
    return np.array([mean, shape]), np.array([[sd**2 + prior.tilt * along, along], [along, shape_sd**2]])


def test_the_mean_chance_lies_between_what_was_thought_before_and_what_was_seen():
    """260 units, one of them found failed at its first look, at seven and a half years: over the same time the mean of
    the draws expects less than that one failure, and more than the trade default."""
    prior = priors_of(shipped("rht-trio"))["BG1", "shorted-to-ground"]
    sound = [(START + number % 60, 1 + 7 * (number % 97) / 97, np.inf) for number in range(259)]
    spells = of_rows([(START, 0.0, 7.5), *sound])
    until = np.where(spells.has_failed, spells.failed, spells.good)
    ages = {"since_age": np.zeros(260), "to_age": until}
    cars = {name: getattr(spells, name) for name in ("month", "year_only", "climate")}
    chances = failure_chance(replace(model(), fit=fit_with(spells, prior, ())), "BG1", **ages, **cars)
    default = 1 - np.exp(-((until / np.exp(prior.log_scale[0])) ** np.exp(prior.log_shape[0])))
    assert default.sum() < chances.mean(axis=0).sum() < 1.0
