"""Lives from intervals: what holds of every fit, and that little or odd data give a sane answer or a clear refusal."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.learning import weibull
from diagnostics.learning.records import Prior
from diagnostics.learning.weibull import NotIdentifiableError, cumulative_hazard, draws, fit_weibull

INF = float("inf")
WEAK = Prior((np.log(20), 1.5), (0.4, 0.5), {"hot": (0.0, 1.2)})
LEANING = replace(WEAK, log_scale=(np.log(20), 0.6), tilt=-1.4)
"""Where a share failed by an age is known before, a later shape goes with a shorter scale."""


def log_posterior(theta, entry, good, failed, covariates, prior):
    """Written plainly, life by life, from the definition."""
    total = 0.0
    for one in range(len(good)):
        risk = np.exp(covariates[one] @ theta[2:])

        def hazard(age, risk=risk):
            return risk * (age / np.exp(theta[0])) ** np.exp(theta[1])

        total += hazard(entry[one])
        if good[one] == failed[one]:
            total += np.log(hazard(good[one]) * np.exp(theta[1]) / good[one]) - hazard(good[one])
        elif np.isinf(failed[one]):
            total -= hazard(good[one])
        else:
            total += np.log(np.exp(-hazard(good[one])) - np.exp(-hazard(failed[one])))
    known = [(prior.log_scale_at(theta[1]), prior.log_scale[1]), prior.log_shape, prior.effects["hot"]]
    for value, (mean, sd) in zip(theta, known, strict=True):
        total -= 0.5 * ((value - mean) / sd) ** 2 + np.log(sd * np.sqrt(2 * np.pi))
    return total


def some_lives(seed, n, *, late=False):
    """Looked at up to three times; some fail between, some at a known age, some never; some watched late."""
    rng = np.random.default_rng(seed)
    hot = (rng.random((n, 1)) < 0.4).astype(float)
    entry = np.where(rng.random(n) < 0.5, rng.uniform(0, 5, n), 0.0) if late else np.zeros(n)
    age = entry + rng.weibull(1.5, n) * 12 * np.exp(-0.5 * hot[:, 0])
    looks = np.column_stack([entry, np.sort(entry[:, None] + rng.uniform(0.1, 15, (n, 3)), axis=1), np.full(n, INF)])
    last = np.maximum((looks < age[:, None]).sum(axis=1) - 1, 0)
    good, failed = looks[np.arange(n), last], looks[np.arange(n), last + 1]
    known = rng.random(n) < 0.2
    return entry, np.where(known, age, good), np.where(known, age, failed), hot


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 40), late=st.booleans(), prior=st.sampled_from([WEAK, LEANING]))
def test_nowhere_is_it_likelier_and_the_spread_is_the_curvature(seed, n, late, prior):
    data = some_lives(seed, n, late=late)
    entry, good, failed, hot = data
    fit = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), prior=prior)
    assert fit.converged
    best = log_posterior(fit.estimate, *data, prior)
    assert fit.log_likelihood + fit.log_prior == pytest.approx(best, abs=1e-8)
    rng = np.random.default_rng(seed)
    for size in (0.01, 0.3, 2.0):
        with np.errstate(divide="ignore", over="ignore"):
            assert log_posterior(fit.estimate + size * rng.normal(size=3), *data, prior) < best + 1e-9
    step, curvature = 1e-3, np.zeros((3, 3))
    for i in range(3):
        for j in range(3):
            corners = [(1, 1), (1, -1), (-1, 1), (-1, -1)]
            moved = [fit.estimate + step * (a * np.eye(3)[i] + b * np.eye(3)[j]) for a, b in corners]
            value = [log_posterior(one, *data, prior) for one in moved]
            curvature[i, j] = -(value[0] - value[1] - value[2] + value[3]) / (4 * step**2)
    assert fit.covariance @ curvature == pytest.approx(np.eye(3), abs=2e-2)


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), n=st.integers(2, 40))
def test_the_order_and_the_counting_of_lives_change_nothing(seed, n):
    entry, good, failed, hot = some_lives(seed, n, late=True)
    rng = np.random.default_rng(seed)
    count = rng.integers(0, 4, n)
    counted = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), count=count.astype(float), prior=WEAK)
    each = rng.permutation(np.repeat(np.arange(n), count))
    repeated = fit_weibull(entry[each], good[each], failed[each], covariates=hot[each], names=("hot",), prior=WEAK)
    assert counted.estimate == pytest.approx(repeated.estimate, abs=1e-6)
    assert counted.log_likelihood == pytest.approx(repeated.log_likelihood, abs=1e-8)
    assert counted.units == repeated.units == count.sum()
    assert counted.failures == repeated.failures == count[np.isfinite(failed)].sum()


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10**6), unit=st.sampled_from([1e-3, 12.0, 365.25, 1e6]))
def test_another_unit_of_time_moves_the_scale_alone(seed, unit):
    entry, good, failed, _hot = some_lives(seed, 60)
    years, other = fit_weibull(entry, good, failed), fit_weibull(entry * unit, good * unit, failed * unit)
    assert other.estimate == pytest.approx(years.estimate + np.array([np.log(unit), 0]), abs=1e-6)
    assert other.covariance == pytest.approx(years.covariance, abs=1e-6)


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10**6), effect=st.floats(-1.5, 1.5))
def test_a_known_effect_enters_as_an_offset(seed, effect):
    entry, good, failed, hot = some_lives(seed, 60)
    held = Prior(WEAK.log_scale, WEAK.log_shape, {"hot": (effect, 1e-6)})
    as_prior = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), prior=held)
    as_offset = fit_weibull(entry, good, failed, offset=effect * hot[:, 0], prior=held)
    assert as_offset.estimate == pytest.approx(as_prior.estimate[:2], abs=1e-5)


ODD = {
    "one unit still good": ([0.0], [5.0], [INF]),
    "one unit found failed when first seen": ([0.0], [0.0], [5.0]),
    "one unit failed at a known age": ([0.0], [5.0], [5.0]),
    "failed within a day of fitting": ([0.0], [0.0], [1 / 365.25]),
    "failed at once": ([0.0], [0.0], [1e-9]),
    "ages of a million years": ([0.0], [1e6], [2e6]),
    "all failed between the same two looks": ([0.0] * 50, [3.0] * 50, [4.0] * 50),
    "all failed when first seen": ([0.0] * 1000, [0.0] * 1000, [1 / 365.25] * 1000),
    "none failed": ([0.0] * 1000, [30.0] * 1000, [INF] * 1000),
    "watched late, failed at the first look": ([3.0], [3.0], [3.5]),
    "nothing seen at all": ([], [], []),
}


@pytest.mark.parametrize("case", ODD)
def test_with_a_weak_prior_little_or_odd_data_give_a_proper_answer(case):
    fit = fit_weibull(*(np.array(column) for column in ODD[case]), prior=WEAK)
    assert fit.converged
    assert np.all(np.isfinite(fit.estimate))
    spread = np.sqrt(np.diag(fit.covariance))
    assert np.all(spread > 0)
    assert np.all(spread < [2.5, 1.0])


@pytest.mark.parametrize("case", ODD)
def test_without_a_prior_they_are_refused(case):
    with pytest.raises(NotIdentifiableError, match="a prior"):
        fit_weibull(*(np.array(column) for column in ODD[case]))


def test_an_effect_that_the_data_do_not_settle_is_refused():
    good = np.concatenate([np.full(20, 5.0), np.linspace(1, 3, 20)])
    failed = np.where(np.arange(40) < 20, INF, good)
    inside = (np.arange(40) >= 20).astype(float)[:, None]
    with pytest.raises(NotIdentifiableError):  # all inside failed and none outside
        fit_weibull(np.zeros(40), good, failed, covariates=inside, names=("range:1",))
    with pytest.raises(NotIdentifiableError):  # one column told twice
        fit_weibull(np.zeros(40), good, good, covariates=np.hstack([inside, inside]), names=("range:1", "range:2"))
    weak = Prior(WEAK.log_scale, WEAK.log_shape, {"range:1": (0.0, 1.2)})
    fit = fit_weibull(np.zeros(40), good, failed, covariates=inside, names=("range:1",), prior=weak)
    assert 2 < fit.effect("range:1") < 6


def test_nothing_seen_leaves_what_was_believed():
    fit = fit_weibull(np.array([]), np.array([]), np.array([]), prior=WEAK)
    assert fit.estimate == pytest.approx([np.log(20), 0.4])
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([1.5, 0.5])


def test_the_longer_all_stay_good_the_longer_the_life():
    years = [1.0, 5.0, 15.0, 30.0]
    scales = [fit_weibull(np.zeros(200), np.full(200, y), np.full(200, INF), prior=WEAK).scale_years for y in years]
    assert scales == sorted(scales)
    assert scales[0] > 20


def test_years_in_which_nobody_watched_are_no_proof():
    """Cars that come for the first time at some age: taken as watched since new, their parts would seem too good."""
    rng = np.random.default_rng(7)
    age, entry = 12 * rng.weibull(2.0, 40_000), rng.uniform(0, 15, 40_000)
    seen = age > entry
    age, entry = age[seen], entry[seen]
    end = entry + 4
    good, failed = np.where(age < end, age, end), np.where(age < end, age, INF)
    told = fit_weibull(entry, good, failed)
    assert told.scale_years == pytest.approx(12, rel=0.03)
    assert told.shape == pytest.approx(2, rel=0.05)
    assert fit_weibull(np.zeros(len(good)), good, failed).scale_years > 13


def test_one_more_life_takes_few_steps(monkeypatch):
    entry, good, failed, hot = some_lives(3, 300)
    before = fit_weibull(entry[1:], good[1:], failed[1:], covariates=hot[1:], names=("hot",), prior=WEAK)
    afresh = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), prior=WEAK)
    monkeypatch.setattr(weibull, "STEPS", 3)
    after = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), prior=WEAK, start=before.estimate)
    assert after.converged
    assert after.estimate == pytest.approx(afresh.estimate, abs=1e-7)


@pytest.mark.parametrize("start", [[35.0, 3.0], [-35.0, -3.0], [0.0, 5.0], [3.0]])
def test_a_start_that_is_none_leads_to_the_same_end(start):
    entry, good, failed, _hot = some_lives(5, 100)
    afresh = fit_weibull(entry, good, failed, prior=WEAK)
    assert fit_weibull(entry, good, failed, prior=WEAK, start=np.array(start)).estimate == pytest.approx(
        afresh.estimate, abs=1e-6
    )


def test_a_strict_prior_on_one_hides_nothing_of_the_others():
    entry, good, failed, _hot = some_lives(11, 200)
    held = fit_weibull(entry, good, failed, prior=Prior((0.0, 1e4), (0.0, 1e-8)))
    deaths = np.where(np.isfinite(failed), (good + np.where(np.isfinite(failed), failed, 0)) / 2, good)
    about = deaths.sum() / np.isfinite(failed).sum()  # exponential, every failure in the middle of its interval
    assert held.shape == pytest.approx(1, abs=1e-6)
    assert held.scale_years == pytest.approx(about, rel=0.1)
    assert np.sqrt(held.covariance[0, 0]) == pytest.approx(np.isfinite(failed).sum() ** -0.5, rel=0.1)


def test_many_lives_and_a_thinned_start_end_where_few_steps_from_afar_do():
    entry, good, failed, hot = some_lives(13, 5000)
    fit = fit_weibull(entry, good, failed, covariates=hot, names=("hot",))
    slow = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), start=np.array([1.0, 0.0, 0.0]))
    assert fit.estimate == pytest.approx(slow.estimate, abs=1e-7)
    assert fit.effect("hot") == pytest.approx(0.5 * 1.5, abs=0.2)


def test_draws_are_repeatable_and_spread_as_the_fit_says():
    entry, good, failed, hot = some_lives(3, 300)
    fit = fit_weibull(entry, good, failed, covariates=hot, names=("hot",), prior=WEAK)
    drawn = draws(fit, 40_000, seed=1)
    assert np.array_equal(drawn, draws(fit, 40_000, seed=1))
    assert not np.array_equal(drawn, draws(fit, 40_000, seed=2))
    assert drawn.mean(axis=0) == pytest.approx(fit.estimate, abs=0.02)
    assert np.cov(drawn.T) == pytest.approx(fit.covariance, rel=0.05, abs=5e-4)


def test_the_hazard_of_an_age():
    ages = np.array([0.0, 1.0, 10.0, 20.0])
    assert cumulative_hazard(ages, np.log(10), np.log(2)) == pytest.approx([0, 0.01, 1, 4])
