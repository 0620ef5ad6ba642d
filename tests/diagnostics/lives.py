"""Made-up lives of one population, with or without a production range: what is true of it is known."""

from dataclasses import replace

import numpy as np

from diagnostics.learning.records import Population, Prior, Spells

POPULATION = Population("soft-one", "S 100", "", True, "never-makes", ("BG1",))
START = 2004 * 12
"""First production month."""
WEAK = Prior((float(np.log(25.0)), 1.5), (float(np.log(1.5)), 0.4))


def lives(
    seed,
    cars,
    *,
    months=120,
    scale=20.0,
    shape=1.8,
    windows=(),
    climate_ratio=1.0,
    ratio_in_hot=None,
    once=False,
    year_only=0.0,
):
    """Cars made over `months`, looked at once or several times in the last 7.5 years; `windows`: (first, last, ratio)
    counted from START."""
    rng = np.random.default_rng(seed)
    month = rng.integers(0, months, cars)
    climate = rng.choice(3, cars, p=[0.6, 0.25, 0.15])
    hazard = np.where(climate == 1, climate_ratio, 1.0)
    for first, last, ratio in windows:
        inside = (month >= first) & (month <= last)
        hazard *= np.where(
            inside, np.where((climate == 1) & (ratio_in_hot is not None), ratio_in_hot or 1.0, ratio), 1.0
        )
    age = scale * (rng.exponential(size=cars) / hazard) ** (1 / shape)
    today = months / 12 + 6.0
    looks = np.ones(cars, dtype=int) if once else rng.integers(1, 5, cars)
    seen = np.sort(rng.uniform(today - 7.5, today, (cars, 4)), axis=1)
    seen = np.where(np.arange(4) < looks[:, None], seen, np.inf)
    made = (month + 0.5) / 12
    ages = seen - made[:, None]
    ages = np.where(ages > 0.01, ages, np.where(np.isinf(ages), np.inf, 0.0))
    good = np.where(ages < age[:, None], ages, 0.0).max(axis=1)
    failed = np.where(ages >= age[:, None], ages, np.inf).min(axis=1)
    known = (good > 0) | np.isfinite(failed)
    vague = rng.random(cars) < year_only
    told = START + np.where(vague, month - month % 12, month)
    every = Spells(
        population=POPULATION,
        entry=np.zeros(cars),
        good=good,
        failed=failed,
        month=told.astype(np.int64),
        year_only=vague,
        climate=climate.astype(np.int64),
        position=np.zeros(cars, dtype=np.int64),
        car=np.arange(cars, dtype=np.int64),
        count=np.ones(cars),
    )
    return chosen(every, known)


def chosen(spells, which):
    """Some of the units, by mask or in another order."""
    names = ("entry", "good", "failed", "month", "year_only", "climate", "position", "car", "count")
    return replace(spells, **{name: getattr(spells, name)[which] for name in names})


def of_rows(rows, *, entry=0.0, count=1.0):
    """From (month, good, failed)."""
    month, good, failed = (np.array(one, dtype=float) for one in zip(*rows, strict=True))
    n = len(month)
    return Spells(
        population=POPULATION,
        entry=np.full(n, entry),
        good=good,
        failed=failed,
        month=month.astype(np.int64),
        year_only=np.zeros(n, dtype=bool),
        climate=np.zeros(n, dtype=np.int64),
        position=np.zeros(n, dtype=np.int64),
        car=np.arange(n, dtype=np.int64),
        count=np.full(n, count),
    )
