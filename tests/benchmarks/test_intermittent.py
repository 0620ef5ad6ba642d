"""Forecasts and their backtest for 20,000 parts × 60 months against a forecasting library (statsforecast), in one run;
prints the ratios.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_intermittent.py --benchmark-only -s`. The library makes one mean of
one method; here four distributions are made, and each is held against what came. Rates of the same method agree to
1e-12.
"""

import time
from collections.abc import Callable

import numpy as np
import pytest

from parts.planning.backtest import backtest, origins_of
from parts.planning.history import follow
from parts.planning.intermittent import METHODS, forecast, monthly_mean

PARTS, MONTHS, HORIZON = 20_000, 60, 3


@pytest.fixture(scope="module")
def demand() -> np.ndarray:
    """Two parts of three are asked for less than once in two months, one to a few pieces at a time."""
    rng = np.random.default_rng(1)
    askings = rng.poisson(rng.gamma(0.5, 0.6, (PARTS, 1)), (PARTS, MONTHS))
    return askings * rng.geometric(0.7, (PARTS, MONTHS)) * 1.0


def seconds(call: Callable[[], object]) -> float:
    """Processor time: what else the machine does counts little."""
    start = time.process_time()
    call()
    return time.process_time() - start


def test_forecasts(benchmark, demand):
    from statsforecast.models import CrostonSBA

    model = CrostonSBA()
    model.forecast(demand[0], 1)  # compiled, where it is
    means: list[float] = []
    theirs = seconds(lambda: means.extend(model.forecast(row, HORIZON)["mean"][0] for row in demand))
    asked = demand.any(axis=1)
    assert monthly_mean(follow(demand), "sba")[-1, asked] == pytest.approx(np.array(means)[asked], rel=1e-12)
    benchmark.pedantic(lambda: forecast(follow(demand), "sba", HORIZON), rounds=3)
    rates = seconds(lambda: monthly_mean(follow(demand), "sba"))
    one = seconds(lambda: forecast(follow(demand), "sba", HORIZON))
    followed = follow(demand)
    four = seconds(lambda: [forecast(followed, method, HORIZON) for method in METHODS])
    print(
        f"\n{PARTS} parts × {MONTHS} months: SBA's rates, of every month, {rates:.2f} s, distributions {one:.2f} s, "
        f"those of {len(METHODS)} methods {four:.2f} s; statsforecast's SBA, a mean a part, {theirs:.2f} s. "
        f"Ratios {theirs / rates:.1f}, {theirs / one:.1f}, {theirs / four:.1f}"
    )


def test_backtests(benchmark, demand):
    import pandas
    from statsforecast import StatsForecast
    from statsforecast.models import CrostonSBA

    table = pandas.DataFrame(
        {
            "unique_id": np.repeat(np.arange(PARTS), MONTHS),
            "ds": np.tile(np.arange(MONTHS), PARTS),
            "y": demand.ravel(),
        }
    )
    origins = len(origins_of(MONTHS, HORIZON))
    peer = StatsForecast(models=[CrostonSBA()], freq=1, n_jobs=1)
    peer.forecast(df=table[: MONTHS * 10], h=HORIZON)
    fitted = seconds(lambda: peer.forecast(df=table, h=HORIZON))
    theirs = seconds(lambda: peer.cross_validation(df=table, h=HORIZON, n_windows=origins, step_size=1))
    benchmark.pedantic(lambda: backtest(demand, HORIZON), rounds=1)
    ours = seconds(lambda: backtest(demand, HORIZON))
    print(
        f"\n{PARTS} parts × {MONTHS} months, {origins} origins: {len(METHODS)} methods forecast, scored and compared "
        f"in {ours:.1f} s; statsforecast's cross-validation of SBA alone, not scored, {theirs:.1f} s, its one forecast "
        f"{fitted:.2f} s. Ratio {theirs / ours:.1f}"
    )
