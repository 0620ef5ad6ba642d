"""The posterior over production windows: held against sums written out in full, and by what must always be so."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from diagnostics.learning.design import fit_with
from diagnostics.learning.priors import GENERIC
from diagnostics.learning.study.fleets import START as STUDY_START
from diagnostics.learning.study.fleets import TrueRange, fleet
from diagnostics.learning.windows import (
    RATIO_SD,
    LevelTable,
    level_grid,
    log_priors,
    scan,
    weigh_windows,
    windows_of,
)
from tests.diagnostics.lives import START, WEAK, chosen, lives, of_rows

INF = np.inf


LEANING = replace(WEAK, log_scale=(WEAK.log_scale[0], 0.7), tilt=-1.5)
"""Where a share failed by an age is known before, a later shape goes with a shorter scale."""


def scanned(spells, prior=WEAK, **more):
    return scan(spells, fit_with(spells, prior, ()), prior=prior, **more)


def log_sum(values):
    top = np.max(values)
    return top + np.log(np.sum(np.exp(values - top)))


def written_out(spells, window, prior=WEAK, points=61):
    """log of the marginal likelihood of one window (None: no range), over log scale, log shape and log ratio, each
    unit by itself: no prefix sums, no kernel, no steps from a fit."""
    shape = prior.log_shape[0] + prior.log_shape[1] * np.linspace(-5, 5, points)
    # The scale less what it leans on the shape.
    scale = prior.log_scale[0] + prior.log_scale[1] * np.linspace(-5, 5, points)
    ratio = RATIO_SD * np.linspace(-5, 5, points) if window else np.zeros(1)
    s, k, r = np.meshgrid(scale, shape, ratio, indexing="ij")
    total = norm.logpdf(s, *prior.log_scale) + norm.logpdf(k, *prior.log_shape)
    s = s + prior.tilt * (k - prior.log_shape[0])
    if window:
        total = total + norm.logpdf(r, 0, RATIO_SD) + np.log(ratio[1] - ratio[0])
    for month, entry, good, failed, count in zip(
        spells.month, spells.entry, spells.good, spells.failed, spells.count, strict=True
    ):
        inside = r if window and window[0] <= month <= window[1] else 0.0

        def hazard(age, inside=inside):
            return np.exp(inside) * (age / np.exp(s)) ** np.exp(k)

        if np.isinf(failed):
            unit = hazard(entry) - hazard(good)
        elif good == failed:
            unit = np.log(hazard(good)) + k - np.log(good) + hazard(entry) - hazard(good)
        else:
            with np.errstate(divide="ignore"):
                unit = np.log(np.exp(hazard(entry) - hazard(good)) - np.exp(hazard(entry) - hazard(failed)))
        total = total + count * unit
    return log_sum(total) + np.log((scale[1] - scale[0]) * (shape[1] - shape[0]))


TINY = of_rows(
    [(0, 3, 5), (0, 4, INF), (0, 1, 4), (1, 5, INF), (1, 6, INF), (2, 4, INF), (2, 2, 2), (2, 7, INF), (0, 2, 3)]
)


@pytest.mark.parametrize("prior", [WEAK, LEANING], ids=["apart", "leaning"])
def test_three_months_agree_with_the_integral_written_out(prior):
    windows = [(0, 0), (0, 1), (1, 1), (1, 2), (2, 2)]
    each = np.array([written_out(TINY, window, prior) for window in windows])
    each += log_priors(*(np.array(one) for one in zip(*windows, strict=True)))
    log_bayes = log_sum(each) - written_out(TINY, None, prior)
    posterior = scanned(TINY, prior)
    assert posterior.log_bayes == pytest.approx(log_bayes, abs=0.005)
    assert posterior.probability == pytest.approx(1 / (1 + 9 * np.exp(-log_bayes)), abs=0.001)


def test_units_seen_late_count_from_where_they_were_seen():
    late = of_rows([(0, 6, 7), (0, 8, INF), (1, 6, INF), (1, 9, INF), (1, 7, INF)], entry=4.0)
    log_bayes = (
        np.logaddexp(*(written_out(late, one) for one in ((0, 0), (1, 1)))) - np.log(2) - written_out(late, None)
    )
    assert scanned(late).log_bayes == pytest.approx(log_bayes, abs=0.005)


def test_every_window_agrees_with_the_double_sum_over_both_levels():
    rng = np.random.default_rng(4)
    failed, exposure = rng.poisson(1.5, 9), rng.gamma(3.0, 1.0, 9)
    grid = level_grid(float(failed.sum()))
    table = LevelTable(failed[:, None] * grid - exposure[:, None] * np.exp(grid), norm.logpdf(grid, 0, 1.5), 0.0)
    first, last = windows_of(np.ones(9))
    posterior = weigh_windows(table, grid, first, last)
    assert len(first) == 44
    kernel = norm.logpdf(grid[:, None] - grid, 0, RATIO_SD)
    both = []
    for a, b in zip(first, last, strict=True):
        inside = table.log_likelihood[a : b + 1].sum(axis=0)
        outside = table.log_likelihood.sum(axis=0) - inside + table.log_prior
        both.append(inside[:, None] + kernel + outside)
    each = np.array([log_sum(one) for one in both]) + 2 * np.log(grid[1] - grid[0]) + log_priors(first, last)
    none = log_sum(table.log_likelihood.sum(axis=0) + table.log_prior) + np.log(grid[1] - grid[0])
    assert posterior.log_bayes == pytest.approx(log_sum(each) - none, abs=1e-5)
    for a, b, ratio, weight in zip(posterior.first, posterior.last, posterior.ratio, posterior.weight, strict=True):
        if a > 0 and b < 8 and weight > 1e-3:
            number = int(np.flatnonzero((first == a) & (last == b))[0])
            mass = np.exp(both[number] - both[number].max())
            difference = grid[:, None] - grid
            side = difference > -1e-9 if posterior.log_ratio @ ratio > 0 else difference < 1e-9
            mean = (mass * difference)[side].sum() / mass[side].sum()
            assert posterior.log_ratio @ ratio / weight == pytest.approx(mean, abs=1e-6)


def test_a_split_is_told_by_the_side_that_fails_more():
    """The first third failing a quarter as often is the rest failing four times as often."""
    spells = lives(3, 900, windows=[(0, 39, 0.25)])
    posterior = scanned(spells)
    assert posterior.probability > 0.99
    assert posterior.last[posterior.best] == posterior.end
    assert abs(posterior.first[posterior.best] - (START + 40)) <= 4
    touching = (posterior.first == posterior.start) | (posterior.last == posterior.end)
    assert (posterior.ratio[touching] @ posterior.log_ratio > 0).all()


def test_windows_hold_units_on_both_sides_and_end_where_units_are():
    first, last = windows_of(np.array([2.0, 0.0, 1.0, 0.0, 0.0, 3.0]))
    assert set(zip(first.tolist(), last.tolist(), strict=True)) == {(0, 0), (0, 2), (2, 2), (2, 5), (5, 5)}


def test_one_month_has_no_windows():
    assert scanned(of_rows([(7, 1, 2), (7, 3, INF), (7, 2, 4)])) is None


def test_a_known_year_is_a_twelfth_in_each_month():
    spells = lives(11, 120, months=36)
    year = chosen(spells, spells.month < START + 12)
    vague = lives(11, 120, months=36, year_only=1.0)
    assert vague.year_only.all()
    posterior = scanned(vague)
    assert posterior.start == START
    assert posterior.end == START + 35
    assert 0 <= posterior.probability <= 1
    assert len(year.good) > 0
    months = np.repeat(vague.month, 12) + np.tile(np.arange(12), len(vague.good))
    spread = chosen(vague, np.repeat(np.arange(len(vague.good)), 12))
    spread = type(spread)(
        **{
            name: getattr(spread, name)
            for name in ("population", "entry", "good", "failed", "climate", "position", "car")
        },
        month=months,
        year_only=np.zeros(len(months), dtype=bool),
        count=spread.count / 12,
    )
    assert scanned(spread).log_bayes == pytest.approx(posterior.log_bayes, abs=1e-6)


def test_what_is_known_already_is_not_found_again():
    """A climate that fails three times as often, made mostly early: as an offset it leaves no range behind."""
    spells = lives(5, 1200, windows=[(0, 39, 4.0)])
    inside = np.where(spells.month < START + 40, np.log(4.0), 0.0)
    assert scanned(spells).probability > 0.99
    assert scanned(spells, offset=inside).probability < 0.3


def test_a_long_span_is_looked_at_in_blocks():
    spells = lives(6, 500, months=600)
    posterior = scanned(spells)
    assert posterior.step == 3
    assert (posterior.last - posterior.first + 1).min() >= 3


few = st.lists(
    st.tuples(
        st.integers(0, 20),
        st.floats(0.1, 15.0),
        st.one_of(st.just(INF), st.floats(0.1, 5.0)),
    ),
    min_size=2,
    max_size=25,
).map(lambda rows: of_rows([(START + m, g, g + f) for m, g, f in rows]))


@settings(max_examples=25, deadline=None)
@given(few, st.integers(-500, 500), st.randoms(use_true_random=False))
def test_counting_of_months_and_order_of_units_change_nothing(spells, shift, random):
    posterior = scanned(spells)
    order = list(range(len(spells.good)))
    random.shuffle(order)
    moved = chosen(spells, np.array(order))
    moved = type(moved)(**{name: getattr(moved, name) for name in moved.__slots__} | {"month": moved.month + shift})
    again = scanned(moved)
    if posterior is None:
        assert again is None
        return
    assert again.log_bayes == pytest.approx(posterior.log_bayes, abs=1e-4)
    best = np.argsort(-posterior.weight)[:3]
    found = {(a - shift, b - shift): w for a, b, w in zip(again.first, again.last, again.weight, strict=True)}
    for number in best:
        window = (posterior.first[number], posterior.last[number])
        assert found.get(window, 0.0) == pytest.approx(posterior.weight[number], abs=1e-3)


@settings(max_examples=25, deadline=None)
@given(few)
def test_weights_are_a_distribution(spells):
    posterior = scanned(spells)
    if posterior is None:
        return
    assert 0.0 <= posterior.probability <= 1.0
    assert posterior.weight.sum() == pytest.approx(1.0)
    assert (posterior.weight >= 0).all()
    assert (posterior.ratio >= 0).all()
    assert (posterior.first <= posterior.last).all()


def test_twice_the_data_say_it_more_sharply():
    spells = lives(8, 250, windows=[(0, 39, 4.0)])
    twice = type(spells)(**{name: getattr(spells, name) for name in spells.__slots__} | {"count": 2 * spells.count})
    once, more = scanned(spells), scanned(twice)
    assert more.log_bayes > once.log_bayes > 0

    def width(one):
        mass = one.ratio.sum(axis=0)
        mean = mass @ one.log_ratio
        return np.sqrt(mass @ (one.log_ratio - mean) ** 2)

    assert width(more) < width(once)


def test_in_many_cars_a_strong_range_is_told_as_strong_as_it_is():
    """Beside the range the shape lies far from the one that is likeliest without it: a row of shapes that ends before
    it, at six standard deviations, told 4.5 where the fit with the range says 4.7."""
    spells, _life = fleet(7, 5000, [TrueRange(STUDY_START + 45, STUDY_START + 80, 5.0)], fails="often", whole=False)[0]
    known = chosen(spells, ~spells.year_only)
    assert told_ratio(known) == pytest.approx(with_range(known, (45, 80)), rel=0.02)


def test_a_car_of_a_known_year_does_not_water_the_range_down():
    """Half of the cars by their year alone: months spread evenly over a year that the range begins in would count some
    of what failed inside as failed outside."""
    errors = []
    for seed in range(6):
        spells, _life = fleet(
            seed, 3000, [TrueRange(STUDY_START + 42, STUDY_START + 78, 4.0)], fails="often", whole=False
        )[0]
        known = chosen(spells, ~spells.year_only)
        some = np.random.default_rng(seed).random(len(known.good)) < 0.5
        month = np.where(some, known.month // 12 * 12, known.month)
        errors.append(np.log(told_ratio(replace(known, month=month, year_only=some)) / told_ratio(known)))
    assert abs(np.mean(errors)) < 0.06


def told_ratio(spells):
    posterior = scan(spells, fit_with(spells, GENERIC, ()), prior=GENERIC)
    return np.exp(posterior.ratio.sum(axis=0) @ posterior.log_ratio)


def with_range(spells, window):
    fit = fit_with(spells, GENERIC, [(STUDY_START + window[0], STUDY_START + window[1])])
    return np.exp(fit.effect("range:1"))
