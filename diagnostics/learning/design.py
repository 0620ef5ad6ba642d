"""The columns of a population's model: climates, the places of a part that has several, production ranges."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from diagnostics.learning.records import CLIMATES, Floats, Ints, Prior, Spells, WeibullFit
from diagnostics.learning.weibull import fit_weibull
from diagnostics.learning.windows import RATIO_SD

CLIMATE_SD, PLACE_SD = 0.5, 0.3
"""Of the log hazard of a climate, and of one place of a part beside its other places (common practice, no source)."""
MOST_COLUMNS = 16
Window = tuple[int, int]
"""First and last month of a range."""


def design(spells: Spells, windows: Sequence[Window]) -> tuple[tuple[str, ...], Floats]:
    """Names and columns of the effects: climates that occur, places where there are several, ranges."""
    names: list[str] = []
    columns: list[Floats] = []
    for code, climate in enumerate(CLIMATES[1:], start=1):
        if (spells.climate == code).any():
            names.append(climate)
            columns.append((spells.climate == code).astype(float))
    places = spells.population.positions
    if len(places) > 1:
        for code, place in enumerate(places):
            names.append(f"at:{place}")
            columns.append((spells.position == code).astype(float))
    for number, window in enumerate(windows, start=1):
        names.append(f"range:{number}")
        columns.append(share_inside(spells, window))
    return tuple(names), np.column_stack(columns) if columns else np.zeros((len(spells.good), 0))


def share_inside(spells: Spells, window: Window) -> Floats:
    """1 for a unit of a car made within the window, 0 for others; of a known year the share of its months inside."""
    first, last = window
    exact = ((spells.month >= first) & (spells.month <= last)).astype(float)
    months = np.minimum(spells.month + 11, last) - np.maximum(spells.month, first) + 1
    return np.where(spells.year_only, np.clip(months, 0, 12) / 12, exact)


def full_prior(prior: Prior, names: Sequence[str]) -> Prior:
    """`prior` with the usual ones for effects that it does not name."""
    usual = {"hot": CLIMATE_SD, "cold": CLIMATE_SD}
    sd = {name: usual.get(name, RATIO_SD if name.startswith("range:") else PLACE_SD) for name in names}
    return replace(prior, effects={name: prior.effects.get(name, (0.0, sd[name])) for name in names})


def fit_with(spells: Spells, prior: Prior, windows: Sequence[Window]) -> WeibullFit:
    names, columns = design(spells, windows)
    return fit_weibull(
        spells.entry,
        spells.good,
        spells.failed,
        covariates=columns,
        names=names,
        count=spells.count,
        prior=full_prior(prior, names),
    )


def kinds_of(columns: Floats) -> tuple[Floats, Ints]:
    """The different rows of the columns, and which of them each row is. Entries are twelfths between 0 and 1, so that a
    row is one number; sorting rows as such would take longer than all that follows."""
    if columns.shape[1] > MOST_COLUMNS:
        kinds, which = np.unique(columns, axis=0, return_inverse=True)
        return kinds, which.ravel()
    numbers = np.rint(columns * 12).astype(np.int64) @ 13 ** np.arange(columns.shape[1])
    _numbers, first, which = np.unique(numbers, return_index=True, return_inverse=True)
    return columns[first], which.ravel()
