"""The shelf plan of 20,000 parts beside a forecasting library (statsforecast) that makes one mean of each, in one run;
prints the ratio.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_stocking.py --benchmark-only -s`. From each part's forecast the
plan makes the demand over a random lead time, the reorder point, the level and the share served at once.
"""

import time
from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pytest

from parts.planning.lead_demand import Outlook, protected_demand, protected_demands
from parts.planning.part_plan import PartPlan, Stock, Terms, plan_part, plan_parts
from parts.planning.stocking import poisson

PARTS, MONTHS, SUPPLIERS = 20_000, 60, 20


@pytest.fixture(scope="module")
def rates() -> np.ndarray:
    """Askings a month: two parts of three are asked for less than once in two months."""
    return np.random.default_rng(1).gamma(0.5, 0.6, PARTS)


@pytest.fixture(scope="module")
def parts(rates) -> tuple[list[Outlook], list[Stock], list[Terms]]:
    rng = np.random.default_rng(2)
    days = np.arange(3, 41)
    leads = []
    for middle in rng.uniform(6, 20, SUPPLIERS):
        chances = np.append(np.zeros(3), np.exp(-0.5 * (np.log(days / middle) / 0.5) ** 2) / days)
        leads.append(chances / chances.sum())
    packs = rng.choice([1, 1, 1, 5], PARTS)
    cents = rng.integers(200, 40_000, PARTS)
    return (
        [Outlook([poisson(rate)], leads[row % SUPPLIERS], 7) for row, rate in enumerate(rates)],
        [Stock(int(one)) for one in rng.integers(0, 4, PARTS)],
        [
            Terms(Decimal(int(cent)) / 100, Decimal(12), 0.2, 0.95, pack=int(pack))
            for cent, pack in zip(cents, packs, strict=True)
        ],
    )


def seconds(call: Callable[[], object]) -> float:
    """Processor time: what else the machine does counts little."""
    start = time.process_time()
    call()
    return time.process_time() - start


def test_the_plan_of_a_whole_shelf(benchmark, rates, parts):
    from statsforecast.models import CrostonSBA

    outlooks, stocks, terms = parts
    series = np.random.default_rng(3).poisson(rates[:, None], (PARTS, MONTHS)).astype(float)
    model = CrostonSBA()
    model.forecast(series[0], 1)  # compiled, where it is
    theirs = seconds(lambda: [model.forecast(row, 1)["mean"][0] for row in series])

    def plans() -> list[PartPlan]:
        return plan_parts(protected_demands(outlooks), stocks, terms)

    found = benchmark.pedantic(plans, rounds=1, warmup_rounds=1)
    assert all(plan.served >= 0.95 - 1e-9 for plan in found)
    ours = seconds(plans)
    few = range(0, PARTS, 20)
    alone = seconds(lambda: [plan_part(protected_demand(outlooks[row]), stocks[row], terms[row]) for row in few]) * 20
    print(
        f"\n{PARTS} parts: {sum(plan.quantity > 0 for plan in found)} to order now, planned in {ours:.2f} s; "
        f"statsforecast's SBA, one mean a part of {MONTHS} months, {theirs:.2f} s, part by part {alone:.1f} s. "
        f"Ratios {theirs / ours:.1f}, {alone / ours:.1f}"
    )
