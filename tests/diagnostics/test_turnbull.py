"""The estimate without a model: what must hold of it whatever was seen, and the test of two groups."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.learning.turnbull import at_risk, log_rank, npmle

INF = float("inf")
FAR = 10_000


def looked_at(seed, n, *, late):
    """Lives in whole ages, looked at a few times, some failed at a known age, some counted for several or none."""
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 6, n) * late * 1.0
    age = entry + 6 * rng.weibull(1.5, n)
    looks = np.sort(entry[:, None] + rng.integers(0, 12, (n, rng.integers(1, 5))), axis=1)
    looks = np.column_stack([entry, looks, np.full(n, INF)])
    last = np.maximum((looks < age[:, None]).sum(axis=1) - 1, 0)
    good, failed = looks[np.arange(n), last], looks[np.arange(n), last + 1]
    known = rng.random(n) < rng.choice([0.0, 0.3])
    exact = np.ceil(age)
    return entry, np.where(known, exact, good), np.where(known, exact, failed), rng.integers(0, 4, n).astype(float)


def cells(entry, good, failed):
    """(could have failed there, was watched there) of each life in every age (even) and every stretch between (odd)."""
    span = 2 * int(max(good.max(), failed[np.isfinite(failed)].max(initial=0))) + 3
    places = np.arange(span)
    exact = good == failed
    low = np.where(exact, 2 * good, 2 * good + 1)
    high = np.where(np.isfinite(failed), 2 * np.where(np.isfinite(failed), failed, 0), FAR)
    could = (places >= low[:, None]) & (places <= high[:, None])
    return could, places > 2 * entry[:, None]


def in_cells(estimate, span):
    mass = np.zeros(span)
    for left, right, share in zip(estimate.left, estimate.right, estimate.mass, strict=True):
        mass[min(int(2 * left + (right > left)), span - 1)] += share
    return mass


@settings(deadline=None, max_examples=150)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 30), late=st.booleans())
def test_no_mass_anywhere_else_would_raise_the_likelihood(seed, n, late):
    """The conditions of Kuhn and Tucker in the masses themselves (Gentleman and Geyer 1994), over all ages."""
    entry, good, failed, count = looked_at(seed, n, late=late)
    estimate = npmle(entry, good, failed, count)
    assert np.all(estimate.mass >= 0)
    entry, good, failed, count = (column[count > 0] for column in (entry, good, failed, count))
    if not len(good):
        return
    assert estimate.mass.sum() == pytest.approx(1, abs=1e-9)
    could, watched = cells(entry, good, failed)
    mass = in_cells(estimate, could.shape[1])
    if np.isfinite(failed).any() and (watched @ mass > 1e-6).all():
        gain = (count / (could @ mass)) @ could - (count / (watched @ mass)) @ watched
        assert gain.max() < 1e-4 * count.sum()
        assert np.abs(gain[mass > 1e-4]).max() < 1e-4 * count.sum()


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 30))
def test_the_order_and_the_counting_of_lives_change_nothing(seed, n):
    entry, good, failed, count = looked_at(seed, n, late=True)
    each = np.random.default_rng(seed).permutation(np.repeat(np.arange(n), count.astype(int)))
    ages = np.arange(0, 20.0)
    counted = npmle(entry, good, failed, count).share_at(ages)
    repeated = npmle(entry[each], good[each], failed[each]).share_at(ages)
    assert counted == pytest.approx(repeated, abs=1e-6, nan_ok=True)
    assert np.all(np.diff(counted[~np.isnan(counted)]) >= -1e-12)


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 60))
def test_known_ages_give_kaplan_and_meier_however_late_the_watch(seed, n):
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 4, n).astype(float)
    good = entry + rng.integers(1, 12, n)
    seen = rng.random(n) < 0.6
    survival, product = [], 1.0
    for age in range(1, 16):
        at = ((entry < age) & (good >= age)).sum()
        product *= 1 - ((good == age) & seen).sum() / at if at else 1.0
        survival.append(product)
    share = npmle(entry, good, np.where(seen, good, INF)).share_at(np.arange(1, 16.0))
    known = ~np.isnan(share)
    assert 1 - share[known] == pytest.approx(np.array(survival)[known], abs=1e-6)
    if not seen.all():
        last = good[~seen].max()
        assert np.isnan(share).all() == (last < 1) or known[: int(last)].all()


def test_the_mass_of_an_interval_is_drawn_evenly_over_it():
    estimate = npmle(np.zeros(4), np.array([2.0, 2.0, 6.0, 6.0]), np.array([4.0, 4.0, INF, INF]))
    assert estimate.share_at(np.array([1.0, 2.0, 3.0, 4.0, 6.0])) == pytest.approx([0, 0, 0.25, 0.5, 0.5])
    assert np.isnan(estimate.share_at(np.array([6.1]))[0])


def test_none_failed():
    estimate = npmle(np.zeros(3), np.array([2.0, 5.0, 9.0]), np.full(3, INF))
    assert estimate.share_at(np.array([0.0, 5.0, 9.0])) == pytest.approx([0, 0, 0])
    assert np.isnan(estimate.share_at(np.array([9.5]))[0])


def test_all_failed_when_first_seen():
    estimate = npmle(np.zeros(3), np.zeros(3), np.array([2.0, 5.0, 9.0]))
    assert estimate.share_at(np.array([0.0, 2.0, 9.0])) == pytest.approx([0, 1, 1])


def test_the_estimate_finds_the_life_behind_yearly_looks():
    rng = np.random.default_rng(1)
    age = 10 * rng.weibull(2.0, 20_000)
    good = np.minimum(np.floor(age), 15)
    share = npmle(np.zeros(20_000), good, np.where(good < 15, good + 1, INF)).share_at(np.arange(1, 15.0))
    assert share == pytest.approx(1 - np.exp(-((np.arange(1, 15) / 10) ** 2)), abs=0.012)


def test_numbers_at_risk():
    entry, good, failed = np.array([0.0, 0.0, 3.0]), np.array([2.0, 5.0, 4.0]), np.array([4.0, INF, INF])
    # The first is not known to have failed until 4, the third is watched from 3 to 4.
    assert list(at_risk(entry, good, failed, np.array([0.0, 2.5, 3.0, 4.0, 4.5, 6.0]))) == [2, 2, 3, 3, 1, 0]
    assert list(at_risk(entry, good, failed, np.array([3.5]), np.array([10.0, 2.0, 0.5]))) == [12.5]


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), n=st.integers(2, 40))
def test_which_group_is_named_first_turns_the_sign_alone(seed, n):
    entry, good, failed, count = looked_at(seed, n, late=False)
    inside = np.random.default_rng(seed).random(n) < 0.5
    one, other = log_rank(inside, entry, good, failed, count), log_rank(~inside, entry, good, failed, count)
    assert one.statistic == pytest.approx(-other.statistic, abs=1e-6)
    assert one.chi2 == pytest.approx(other.chi2, abs=1e-5)
    assert 0 <= one.p <= 1
    assert sum(one.expected) == pytest.approx(count[np.isfinite(failed)].sum(), abs=1e-5)


@pytest.mark.parametrize("failed", [[INF, INF, INF], [4.0, 6.0, INF]])
def test_where_it_cannot_tell_it_does_not(failed):
    everyone = np.ones(3, dtype=bool)
    assert log_rank(everyone, np.zeros(3), np.array([2.0, 5.0, 7.0]), np.array(failed)).p == 1.0


def seen_three_times(rng, n, ratio):
    inside = rng.random(n) < 0.4
    age = 12 * (rng.exponential(size=n) / np.where(inside, ratio, 1.0)) ** 0.6
    looks = np.column_stack([np.zeros(n), np.sort(rng.uniform(0, 15, (n, 3)), axis=1), np.full(n, INF)])
    last = (looks < age[:, None]).sum(axis=1) - 1
    return inside, np.zeros(n), looks[np.arange(n), last], looks[np.arange(n), last + 1]


def test_two_groups_alike_seldom_differ_and_two_unlike_mostly_do():
    rng = np.random.default_rng(5)
    alike = [log_rank(*seen_three_times(rng, 150, 1.0)).p < 0.05 for _fleet in range(200)]
    unlike = [log_rank(*seen_three_times(rng, 150, 3.0)).p < 0.05 for _fleet in range(40)]
    assert np.mean(alike) < 0.09
    assert np.mean(unlike) > 0.9
