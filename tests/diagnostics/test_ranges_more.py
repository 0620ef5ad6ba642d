"""What is told of a range beside its months: its interval, who counts as inside, and a range that was decided on."""

import numpy as np
import pytest

from diagnostics.learning.design import fit_with
from diagnostics.learning.ranges import find_ranges, quantile, tallies
from diagnostics.learning.windows import scan
from tests.diagnostics.lives import START, WEAK, lives, of_rows

INF = np.inf


def test_the_interval_of_the_ratio_holds_nine_tenths_of_what_is_thought():
    spells = lives(3, 1500, windows=[(0, 39, 4.0)])
    (told,) = find_ranges(spells, WEAK).ranges
    posterior = scan(spells, fit_with(spells, WEAK, ()), prior=WEAK, offset=None)
    mass = posterior.ratio.sum(axis=0)
    within = (posterior.log_ratio >= np.log(told.ratio.low)) & (posterior.log_ratio <= np.log(told.ratio.high))
    assert mass[within].sum() == pytest.approx(0.9, abs=0.03)
    assert mass[posterior.log_ratio < np.log(told.ratio.low)].sum() == pytest.approx(0.05, abs=0.02)


def test_the_middle_of_a_balanced_heap_is_its_middle():
    grid = 0.5 * np.arange(-3, 4)
    mass = np.array([0.0, 1.0, 2.0, 4.0, 2.0, 1.0, 0.0])
    assert quantile(grid, mass, 0.5) == pytest.approx(0.0)
    assert quantile(grid, mass, 0.1) == pytest.approx(-quantile(grid, mass, 0.9))


def test_a_car_of_a_known_year_counts_where_most_of_its_months_are():
    spells = of_rows([(START, 3, 4), (START, 5, INF), (START + 12, 3, INF)])
    spells.year_only[:] = True
    inside, outside = tallies(spells, (START, START + 14))
    assert (inside.units, inside.failed, outside.units) == (2, 1, 1), "three months of the second year lie inside"
    inside, outside = tallies(spells, (START, START + 17))
    assert (inside.units, outside.units) == (3, 0)


def test_a_decided_range_is_as_likely_as_what_the_data_see_in_its_months():
    """The owner's months go a little further than those that the data point to, and one that lies elsewhere is none."""
    spells = lives(3, 1500, windows=[(0, 39, 4.0)])
    wide, elsewhere = (
        find_ranges(spells, WEAK, confirmed=[(START, START + 44)]),
        find_ranges(spells, WEAK, dismissed=[(START + 70, START + 80)]),
    )
    (one,) = (one for one in wide.ranges if one.state == "confirmed")
    assert one.probability > 0.99
    (none,) = (one for one in elsewhere.ranges if one.state == "dismissed")
    assert none.probability < 0.2


def test_the_last_year_reaches_to_its_december():
    spells = lives(5, 400, year_only=1.0)
    last = int(spells.month.max())
    (half, whole) = (
        next(iter(find_ranges(spells, WEAK, confirmed=[(last - 24, until)]).ranges)) for until in (last + 5, last + 11)
    )
    assert not half.open_last, "cars of that year may be made after June"
    assert whole.open_last


def test_a_worse_stretch_within_a_bad_range_leaves_it_one_that_fails_more():
    spells = lives(8, 4000, windows=[(20, 90, 3.0), (45, 60, 3.0)])
    ranges = [one for one in find_ranges(spells, WEAK).ranges if one.found]
    assert all(one.ratio.low > 1 for one in ranges)
    assert any(one.first <= START + 45 and one.last >= START + 60 for one in ranges)
