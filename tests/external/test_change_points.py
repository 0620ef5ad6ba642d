"""Windows, shares and adjusted p-values against published sources."""

import numpy as np
import pytest
from scipy.stats import gamma

from diagnostics.learning.plain import benjamini_hochberg, wilson
from diagnostics.learning.ranges import find_ranges
from diagnostics.learning.records import YEAR_DAYS, Prior
from diagnostics.learning.windows import LevelTable, weigh_windows
from tests.diagnostics.lives import of_rows

# British coal-mining disasters by year, 1851 to 1962: Jarrett, Biometrika 66 (1979) 191-193.
COAL = [4,5,4,1,0,4,3,4,0,6,3,3,4,0,2,6,3,3,5,4,5,3,1,4,4,1,5,5,3,4,2,5,2,2,3,4,2,1,3,2,2,1,1,1,1,3,0,0,1,0,1,1,0,0,3,
        1,0,3,2,2,0,1,1,1,0,1,0,1,0,0,0,2,1,0,0,0,1,1,0,2,3,3,1,1,2,1,1,1,1,2,3,3,0,0,0,1,4,0,0,0,1,0,0,0,0,0,1,0,0,1,0,
        1]  # fmt: skip
# Last year of the early rate under Gamma(1, 1) on both rates, by exact enumeration (closed form).
LAST_EARLY = {1886: 0.07818, 1887: 0.09314, 1888: 0.03477, 1889: 0.14316, 1890: 0.18476, 1891: 0.24502, 1892: 0.09881,
              1893: 0.04111, 1894: 0.01762, 1896: 0.03724}  # fmt: skip


@pytest.fixture(scope="module")
def coal():
    """Poisson counts through the same prefix sums and windows: a change point is a window that begins at the start."""
    counts = np.array(COAL, dtype=float)
    grid = np.linspace(-3.0, 3.0, 241)
    rate = np.exp(grid)
    table = LevelTable(counts[:, None] * grid - rate, gamma.logpdf(rate, 1.0) + grid, 0.0)
    last = np.arange(111)
    return weigh_windows(table, grid, np.zeros(111, dtype=np.int64), last, start=1851)


def test_coal_mining_changes_after_1891(coal):
    """Carlin, Gelfand and Smith, Applied Statistics 41 (1992) 389-405 (as remembered): mode 1891, next 1890, 1889.
    Our second rate depends on the first (its ratio is log-normal), so that single years agree to 0.02, not exactly."""
    share = dict(zip(coal.last.tolist(), coal.weight.tolist(), strict=True))
    assert sorted(share, key=share.get)[-3:] == [1889, 1890, 1891]
    for year, expected in LAST_EARLY.items():
        assert share[year] == pytest.approx(expected, abs=0.02), year


def test_coal_mining_rates_and_weight_of_the_change(coal):
    """Under Gamma(1, 1): mean rates 3.064 and 0.922, log10 of the Bayes factor 12.57."""
    mass = coal.ratio.sum(axis=0)
    assert np.exp(mass @ coal.log_ratio) == pytest.approx(3.064 / 0.922, rel=0.03)
    assert coal.log_bayes / np.log(10) == pytest.approx(12.57, abs=0.6)


def test_benjamini_hochberg_example():
    """Benjamini and Hochberg, JRSS B 57 (1995) 289-300, section 3.2 (as remembered): 4 of 15 at 0.05."""
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.324,
        0.4262,
        0.5719,
        0.6528,
        0.759,
        1,
    ]
    adjusted = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857, 0.063857, 0.0645, 0.0765, 0.486, 0.581182, 0.714875,
                0.753231, 0.813214, 1.0]  # fmt: skip
    shuffled = np.random.default_rng(1).permutation(15)
    found = benjamini_hochberg(np.array(p)[shuffled])
    assert found == pytest.approx(np.array(adjusted)[shuffled], abs=5e-7)
    assert (found <= 0.05).sum() == 4
    assert len(benjamini_hochberg(np.array([]))) == 0


@pytest.mark.parametrize(
    ("failed", "seen", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals(failed, seen, low, high):
    """Newcombe, Statistics in Medicine 17 (1998) 857-872, table I (as remembered), 95 %."""
    found = wilson(failed, seen, z=1.959964)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)
    assert found.estimate == failed / seen


def test_of_none_seen_every_share_is_possible():
    assert (wilson(0, 0).low, wilson(0, 0).high) == (0.0, 1.0)


# Braking grids of locomotives, two production batches: Doganaksoy and Nelson 1991 (as in cran/survival, `braking`).
# Day of the first replacement.
BATCH_1 = [462, 364, 302, 250, 500, 88, 272, 481, 431, 367, 635, 402, 33, 287, 317]
BATCH_2 = [203, 293, 173, 242, 39, 91, 119, 382, 250, 192, 369, 22, 54, 194, 61, 19, 187, 93]


def test_two_batches_of_braking_grids_are_told_apart():
    """Log-rank 12.79, p 3.5e-4; Cox ratio 4.19 (log 1.433, standard error 0.4265), computed from the record. Batches
    as two production months. Thirty-three lives are enough to propose the batch and too few to call it found, with one
    range in ten populations beforehand. The Weibull law with both levels under weak priors gives 2.8 (1.5 to 5.1): the
    early deaths of batch 2 bend the hazards, which Cox leaves free."""
    rows = [(0, day, day) for day in BATCH_1] + [(1, day, day) for day in BATCH_2]
    spells = of_rows([(month, good / YEAR_DAYS, failed / YEAR_DAYS) for month, good, failed in rows])
    one = find_ranges(spells, Prior((0.0, 1.5), (float(np.log(1.5)), 0.4))).ranges[0]
    assert one.probability == pytest.approx(0.67, abs=0.02)
    assert not one.found
    assert (one.first, one.last) == (1, 1)
    assert one.open_last
    assert one.ratio.low < 4.19 < one.ratio.high
    assert one.ratio.low > 1.4
    assert (one.inside.failed, one.outside.failed) == (18, 15)
