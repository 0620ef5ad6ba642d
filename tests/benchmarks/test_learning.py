"""Learning as a whole over growing fleets, and all windows at once against a survival library fitted for each of them.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_learning.py --benchmark-only -s`. Figures are processor time on one
core. The peer (lifelines) is fitted with a covariate for each of 20 windows and its time taken times all windows: said
so in the output.
"""

import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.columns import ALL_GOOD, COLUMNS, Observations
from diagnostics.learning.learn import learn
from diagnostics.learning.priors import GENERIC
from diagnostics.learning.records import Population, Spells
from diagnostics.learning.weibull import fit_weibull
from diagnostics.learning.windows import scan

MONTHS, POSITIONS = 120, 12
SCALES = (25.0, 60.0, 90.0, 40.0)
"""Of the modes, in years."""


def observed(units: int) -> Observations:
    """`units` in all over 12 positions with four modes each, cars of 120 months, one to three looks in the last 7.5
    years; the first part fails four times as often in its first 40 months in one mode."""
    rng = np.random.default_rng(1)
    columns: dict[str, list[np.ndarray]] = {name: [] for name in COLUMNS}
    n, now = units // POSITIONS, MONTHS * 30.44 + 365
    for place in range(POSITIONS):
        month = rng.integers(0, MONTHS, n)
        made = month * 30.44
        ratio = np.where((month < 40) & (place == 0), 4.0, 1.0)
        ages = [
            (rng.exponential(size=n) / (ratio if mode == 0 else 1.0)) ** (1 / 1.8) * scale * 365.25
            for mode, scale in enumerate(SCALES)
        ]
        age, mode = np.min(ages, axis=0), np.argmin(ages, axis=0)
        looks = np.sort(rng.uniform(np.maximum(made + 20, now - 7.5 * 365)[:, None], now, (n, 3)), axis=1)
        many, dead = rng.integers(1, 4, n), np.zeros(n, dtype=bool)
        for look in range(3):
            there = (look < many) & ~dead
            failed = there & (made + age <= looks[:, look])
            dead |= failed
            for chosen, is_good in ((there & ~failed, True), (failed, False)):
                at = np.flatnonzero(chosen)
                rows = {name: np.zeros(len(at), dtype=np.int64) for name in COLUMNS}
                rows.update(
                    unit=place * n + at,
                    car=at,
                    position_code=np.full(len(at), place),
                    part_code=np.full(len(at), place),
                    month=24_000 + month[at],
                    climate=at % 3,
                    day=(730_500 + looks[at, look]).astype(np.int64),
                    good=np.full(len(at), ALL_GOOD if is_good else 0),
                    failed=np.full(len(at), -1) if is_good else mode[at],
                    checks=np.ones(len(at), dtype=np.int64),
                    year_only=np.zeros(len(at), dtype=bool),
                    mended=np.zeros(len(at), dtype=bool),
                )
                for name, column in rows.items():
                    columns[name].append(column)
    return Observations(
        **{name: np.concatenate(parts) for name, parts in columns.items()},
        systems=("top",),
        positions=tuple(f"BG{place + 1}" for place in range(POSITIONS)),
        parts=tuple(f"P{place + 1:02d}" for place in range(POSITIONS)),
        revisions=("",),
        modes=("m1", "m2", "m3", "m4"),
    )


def seconds(call):
    start = time.process_time()
    call()
    return time.process_time() - start


def test_a_whole_shop(benchmark):
    took = {units: seconds(lambda u=units: learn(observed(u))) for units in (25_000, 50_000, 100_000)}
    rows = observed(200_000)
    learned = benchmark.pedantic(lambda: learn(rows), rounds=1)
    took[200_000] = seconds(lambda: learn(rows))
    assert [one.first for model in learned.models for one in model.ranges if one.found] == [24_000]
    code = (
        "import resource; from tests.benchmarks.test_learning import learn, observed; learn(observed(200_000));"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)"
    )
    most = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip()
    growth = ", ".join(f"{units:,}: {share / took[25_000]:.2f}" for units, share in took.items())
    print(
        f"\n200,000 units x {MONTHS} months, {len(learned.models)} populations: {took[200_000]:.1f} s, {most} MB at"
        f" most. Growth beside 25,000 units: {growth}"
    )


@pytest.mark.parametrize("units", [2_400, 24_000])
def test_one_more_check(benchmark, units):
    """One unit is looked at again and is good: the models of its part are made anew, the others taken over."""
    rows = observed(units)
    learned = learn(rows)
    own = rows.take(np.flatnonzero(rows.part_code == 5))
    last = int(np.argmax(own.day * (own.failed < 0)))
    day = own.day.copy()
    day[last] += 10
    others = [model for model in learned.models if model.population.part != "P06"]
    after = replace(own, day=day)

    def update():
        return learn(after, others=others)

    benchmark.pedantic(update, rounds=3)
    took = min(seconds(update) for _round in range(3))
    whole = seconds(lambda: learn(rows))
    print(f"\n{units:,} units: one more check {1000 * took:.0f} ms; learning everything {whole / took:.0f} times that")


def test_windows_against_a_fit_for_each(benchmark):
    import pandas
    from lifelines import WeibullAFTFitter

    rng = np.random.default_rng(5)
    n = 3_000
    month = rng.integers(0, MONTHS, n)
    ratio = np.where(month < 40, 3.0, 1.0)
    age = 20 * (rng.exponential(size=n) / ratio) ** (1 / 1.8)
    looks = np.column_stack(
        [np.zeros(n), np.sort(np.ceil(rng.uniform(0, 10, (n, 3)) * 12) / 12, axis=1), np.full(n, np.inf)]
    )
    last = (looks < age[:, None]).sum(axis=1) - 1
    good, failed = looks[np.arange(n), last], looks[np.arange(n), last + 1]
    spells = Spells(
        Population("top", "P01", "", True, "m1", ("BG1",)), np.zeros(n), good, failed, 24_000 + month,
        np.zeros(n, dtype=bool), np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64), np.arange(n), np.ones(n),
    )  # fmt: skip
    fit = fit_weibull(spells.entry, good, failed, prior=GENERIC)
    posterior = benchmark.pedantic(lambda: scan(spells, fit, prior=GENERIC), rounds=3)
    assert posterior is not None
    assert posterior.probability > 0.99
    ours = min(seconds(lambda: scan(spells, fit, prior=GENERIC)) for _round in range(3))
    windows = MONTHS * (MONTHS + 1) // 2 - 1
    some = rng.choice(MONTHS - 12, 20, replace=False)

    def theirs():
        for first in some:
            table = pandas.DataFrame(
                {"good": good, "failed": failed, "inside": (month >= first) & (month < first + 12)}
            )
            table["inside"] = table["inside"].astype(float)
            WeibullAFTFitter().fit_interval_censoring(table, "good", "failed")

    each = seconds(theirs) / len(some)
    print(
        f"\n{n} units, {windows:,} windows at once: {1000 * ours:.0f} ms; lifelines {1000 * each:.0f} ms each (mean "
        f"of 20), so for all of them extrapolated {each * windows:.0f} s. Ratio {each * windows / ours:,.0f}"
    )
