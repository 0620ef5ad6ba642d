"""Sums of things with chances of their own against published values, exact fractions and another library's."""

from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from parts.planning.poisson_binomial import (
    SMALL,
    back,
    circle,
    counts_needed,
    pmf,
    powers,
    terms_needed,
    transform,
)


def in_fractions(chances: list[Fraction]) -> list[Fraction]:
    found = [Fraction(1)]
    for chance in chances:
        found = [
            (found[k] * (1 - chance) if k < len(found) else 0) + (found[k - 1] * chance if k else 0)
            for k in range(len(found) + 1)
        ]
    return found


def by_series(chances: np.ndarray, *, poisson: float = 0.0) -> np.ndarray:
    terms = terms_needed(float(chances.max()), len(chances))
    sums = np.array([(chances**order).sum() for order in range(1, terms + 1)])
    sums[0] += poisson
    counts = counts_needed(float(sums[0]))
    return back(transform(sums, powers(circle(counts), terms)), counts)


# Exact by hand; the method is Y. Hong's, Computational Statistics & Data Analysis 59 (2013) 41-51.
def test_three_things_by_hand() -> None:
    assert pmf(np.array([0.1, 0.2, 0.3])) == pytest.approx([63 / 125, 199 / 500, 23 / 250, 3 / 500], abs=1e-15)


def test_ten_things_in_exact_fractions() -> None:
    chances = [Fraction(i, 11) for i in range(1, 11)]
    exact = [float(one) for one in in_fractions(chances)]
    assert exact[:6] == pytest.approx(
        [0.00013991, 0.00310852, 0.02522391, 0.10105353, 0.22462757, 0.29169311], abs=5e-9
    )
    found = pmf(np.array([float(one) for one in chances]))
    assert found == pytest.approx(exact, abs=1e-15)
    assert found @ np.arange(11) == pytest.approx(5, abs=1e-13)
    assert found @ (np.arange(11) - 5.0) ** 2 == pytest.approx(20 / 11, abs=1e-13)


def test_few_likely_among_many_unlikely() -> None:
    found = pmf(np.array([0.02] * 5 + [0.1] * 10 + [0.35, 0.5]))
    assert found[4:].sum() == pytest.approx(0.1042926206, abs=5e-11)
    assert found @ np.arange(18) == pytest.approx(1.95, abs=1e-12)


@pytest.mark.parametrize("things", [1, 2, 7, 300])
def test_many_things_against_scipy(things: int) -> None:
    """scipy.stats.poisson_binom, as it computes it on this machine."""
    chances = np.random.default_rng(things).random(things)
    theirs = stats.poisson_binom.pmf(np.arange(things + 1), chances)
    assert pmf(chances) == pytest.approx(theirs, abs=1e-12)


def test_rows_are_worked_out_side_by_side() -> None:
    chances = np.random.default_rng(1).random((2, 3, 5))
    for row in np.ndindex(2, 3):
        assert pmf(chances)[row] == pytest.approx(pmf(chances[row]), abs=1e-15)


@pytest.mark.parametrize(("most", "things"), [(0.003, 1500), (0.05, 800), (SMALL, 400)])
def test_the_series_of_small_chances_against_scipy(most: float, things: int) -> None:
    chances = np.random.default_rng(things).random(things) * most
    chances[0] = most
    found = by_series(chances)
    theirs = stats.poisson_binom.pmf(np.arange(min(len(found), things + 1)), chances)
    assert found[: len(theirs)] == pytest.approx(theirs, abs=1e-12)


def test_a_poisson_number_of_things_comes_on_top() -> None:
    """The convolution with scipy.stats.poisson."""
    chances = np.random.default_rng(2).random(60) * 0.1
    found = by_series(chances, poisson=2.5)
    theirs = np.convolve(stats.poisson_binom.pmf(np.arange(61), chances), stats.poisson.pmf(np.arange(60), 2.5))
    assert found[:60] == pytest.approx(theirs[:60], abs=1e-12)


def test_what_is_no_chance_is_refused() -> None:
    for wrong in ([0.2, 1.1], [-0.1], [float("nan")]):
        with pytest.raises(ValueError, match="expected chances from 0 to 1"):
            pmf(np.array(wrong))
