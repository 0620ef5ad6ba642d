"""The demand of 12 parts from 100,000 cars, and the sum of their chances against scipy's distribution, in one run.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_demand.py --benchmark-only -s`. Processor time on one core. The
peer (scipy.stats.poisson_binom) is given one draw of one month of one part with 8,000 of the cars, and its time taken
times draws, months and parts: said so in the output. Every eighth unit was exchanged, each fails in four ways.
"""

import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from diagnostics.learning.fleet import Draws, groups_of, hazards
from parts.planning.coming import coming_of
from parts.planning.demand import asked_in, demand
from tests.parts.fleets import NOW, big_fleet

CARS, POSITIONS, MONTHS, PEER = 100_000, 12, 12, 8_000


def seconds(call: Callable[[], object]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start


def test_demand_of_a_big_fleet(benchmark):
    fleet, drawn = big_fleet(CARS, POSITIONS), Draws()
    come = coming_of(fleet, drawn)
    asked = [asked_in(fleet, come, [f"P-BG{place}"], [f"BG{place}"]) for place in range(1, POSITIONS + 1)]

    def ours():
        return [demand([one], drawn, MONTHS) for one in asked]

    found = benchmark.pedantic(ours, rounds=3)
    took = min(seconds(ours) for _round in range(2))
    learned = seconds(lambda: coming_of(fleet, drawn))
    chances = np.zeros(CARS)
    for cohort in asked[0].cohorts:
        groups = groups_of(cohort, fleet.cars)
        good = np.exp(-hazards(cohort, groups, NOW, [0, 1], drawn))
        fails = (good[0, 0] - good[0, 1]) * come.relative[0]
        chances[cohort.car] = fails[groups.which] * come.chance[cohort.car]
    theirs = seconds(lambda: stats.poisson_binom.pmf(np.arange(60), chances[:PEER]))
    whole = theirs * drawn.count * MONTHS * POSITIONS
    assert found[0].whole.mean == pytest.approx(sum(one.mean for one in found[0].months), rel=1e-6)
    print(
        f"\n{CARS:,} cars x {POSITIONS} positions, {MONTHS} months and all of them, {drawn.count} draws: {took:.2f} s "
        f"(who comes, beforehand: {learned:.2f} s). scipy, one draw of one month of {PEER:,} cars: "
        f"{1000 * theirs:.0f} ms, for all draws, months and parts of so few cars extrapolated {whole:,.0f} s. Ratio at "
        f"least {whole / took:,.0f}"
    )


@pytest.mark.parametrize("cars", [200, 2_000])
def test_demand_of_a_small_fleet_against_every_draw_by_itself(benchmark, cars):
    """Nothing extrapolated: the same distribution, scipy's mean over the draws."""
    fleet, drawn = big_fleet(cars, 1), Draws()
    come = coming_of(fleet, drawn)
    come.arrivals[:] = 0.0
    asked = asked_in(fleet, come, ["P-BG1"], ["BG1"])
    chances = np.zeros((drawn.count, cars))
    for cohort in asked.cohorts:
        groups = groups_of(cohort, fleet.cars)
        good = np.exp(-hazards(cohort, groups, NOW, [0, 1], drawn))
        fails = (good[:, 0] - good[:, 1]) * come.relative[:, None]
        chances[:, cohort.car] = fails[:, groups.which] * come.chance[cohort.car]
    found = benchmark.pedantic(lambda: demand([asked], drawn, 1), rounds=5).months[0].chances
    counts = np.arange(len(found))
    exact = np.mean([stats.poisson_binom.pmf(counts, one) for one in chances], axis=0)
    assert found == pytest.approx(exact, abs=1e-11)
    theirs = seconds(lambda: [stats.poisson_binom.pmf(counts, one) for one in chances])
    took = min(seconds(lambda: demand([asked], drawn, 1)) for _round in range(5))
    print(f"\n{cars:,} cars, one month: {1000 * took:.1f} ms, scipy {1000 * theirs:.0f} ms. Ratio {theirs / took:.0f}")
