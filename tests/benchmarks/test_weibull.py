"""Weibull fits of interval-censored lives against a survival library (lifelines), in one run; prints the ratios.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_weibull.py --benchmark-only -s`. Same lives, two effects, no prior;
the log likelihoods agree to 1e-6. The peer's accelerated lives are the same family (an effect there is -effect / shape
here). Ages in days leave nothing to count together; ages in months do.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
import pytest

from diagnostics.learning.turnbull import npmle
from diagnostics.learning.weibull import fit_weibull


def checked(n: int, a_year: int):
    """n units in three climates, each looked at three times in twenty years; ages in parts of a year."""
    rng = np.random.default_rng(3)
    climate = rng.choice(3, n, p=[0.6, 0.25, 0.15])
    covariates = np.column_stack([climate == 1, climate == 2]).astype(float)
    age = 18 * (rng.exponential(size=n) * np.exp(-covariates @ [0.8, 0.4])) ** (1 / 1.8)
    looks = np.ceil(np.sort(rng.uniform(0, 20, (n, 3)), axis=1) * a_year) / a_year
    looks = np.column_stack([np.zeros(n), looks, np.full(n, np.inf)])
    last = (looks < age[:, None]).sum(axis=1) - 1
    return looks[np.arange(n), last], looks[np.arange(n), last + 1], covariates


def milliseconds(call: Callable[[], object], rounds: int) -> float:
    """Processor time (median): what else the machine does counts little."""
    times = []
    for _round in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return 1000.0 * statistics.median(times)


@pytest.mark.parametrize("ages", ["months", "days"])
@pytest.mark.parametrize("n", [5_000, 20_000])
def test_fits(benchmark, n, ages):
    import pandas
    from lifelines import WeibullAFTFitter

    good, failed, covariates = checked(n, {"months": 12, "days": 365}[ages])
    entry = np.zeros(n)

    def ours(start=None):
        return fit_weibull(entry, good, failed, covariates=covariates, names=("hot", "cold"), start=start)

    fit = benchmark.pedantic(ours, rounds=9)
    table = pandas.DataFrame({"good": good, "failed": failed, "hot": covariates[:, 0], "cold": covariates[:, 1]})
    peer = WeibullAFTFitter()
    theirs = milliseconds(lambda: peer.fit_interval_censoring(table, "good", "failed"), 3)
    assert fit.log_likelihood == pytest.approx(peer.log_likelihood_, abs=1e-6)
    afresh, again = milliseconds(ours, 9), milliseconds(lambda: ours(fit.estimate + 0.01), 9)
    free = milliseconds(lambda: npmle(entry, good, failed), 3)
    print(
        f"\n{n} lives, ages in {ages}: {afresh:.1f} ms, from an earlier fit {again:.1f} ms, "
        f"without a model {free:.0f} ms; "
        f"lifelines {theirs:.0f} ms. Ratio {theirs / afresh:.0f}; from an earlier fit {theirs / again:.0f}"
    )
