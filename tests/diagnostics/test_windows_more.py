"""What the posterior over windows rests on beside the sums: what is believed before, and what is told of a split."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from diagnostics.learning.windows import LevelTable, level_grid, log_priors, weigh_windows, windows_of
from tests.diagnostics.lives import of_rows
from tests.diagnostics.test_windows import log_sum, scanned, written_out

INF = np.inf


def test_half_of_what_is_believed_before_lies_on_windows_that_reach_an_end():
    first, last = windows_of(np.ones(6))
    prior = np.exp(log_priors(first, last))
    at_end = (first == 0) | (last == 5)
    assert prior.sum() == pytest.approx(1.0)
    assert prior[at_end].sum() == pytest.approx(0.5)
    assert len(set(prior[at_end].round(12))) == len(set(prior[~at_end].round(12))) == 1


def test_units_seen_from_ages_of_their_own_count_from_there():
    """Nobody watched the old ones before: a month of late ones has little time behind it, and five failures in it are
    many."""
    rows = [(0, 9, 10), (0, 10, INF), (0, 9, 11), (0, 10, 12), (1, 9, 10), (1, 10, INF), (1, 11, INF), (1, 12, INF)]
    late = replace(of_rows(rows), entry=np.array([8.5] * 4 + [0.0] * 4))
    each = np.array([written_out(late, one) for one in ((0, 0), (1, 1))])
    log_bayes = log_sum(each) - np.log(2) - written_out(late, None)
    assert scanned(late).log_bayes == pytest.approx(log_bayes, abs=0.005)
    assert scanned(late).log_bayes > scanned(of_rows(rows)).log_bayes + 0.1


@pytest.mark.parametrize(
    ("failed", "window", "more"), [([6, 11, 1, 6], (1, 1), True), ([10, 16, 1, 10], (2, 2), False)]
)
def test_a_good_stretch_is_told_beside_a_bad_one_only_where_it_is_much_likelier(failed, window, more):
    """Bad batches are made more often than good ones."""
    events, exposure = np.array(failed, dtype=float), np.full(4, float(failed[0]))
    grid = level_grid(float(events.sum()))
    table = LevelTable(events[:, None] * grid - exposure[:, None] * np.exp(grid), norm.logpdf(grid, 0, 1.5), 0.0)
    told = weigh_windows(table, grid, *windows_of(np.ones(4)))
    assert (told.first[told.best], told.last[told.best]) == window
    assert bool(told.log_ratio @ told.ratio.sum(axis=0) > 0) is more
