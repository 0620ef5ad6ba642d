"""Cumulative share failed by age, inside and outside of production ranges: the model with its band, beside it what the
data say without a model, and how many units stand behind each age."""

from collections.abc import Sequence

import numpy as np

from diagnostics.learning.design import design, kinds_of, share_inside
from diagnostics.learning.records import LEVEL, SEED, Bools, Curve, Floats, Range, Spells, WeibullFit
from diagnostics.learning.turnbull import at_risk, npmle, to_months
from diagnostics.learning.weibull import cumulative_hazard, draws

STEP_YEARS, MOST_AGES, DRAWS = 0.5, 60, 400


def curves_of(spells: Spells, fit: WeibullFit, ranges: Sequence[Range]) -> tuple[Curve, ...]:
    """`ranges` are those of the fit, in its order: one curve inside of all of them together and one outside, where
    there are none one of all. The model's curve is that of the units there: the mean over their climates and places."""
    if not len(spells.good):
        return ()
    ages = _ages(spells)
    windows = [(one.first, one.last) for one in ranges]
    inside = np.zeros(len(spells.good), dtype=bool)
    for window in windows:
        inside |= share_inside(spells, window) >= 0.5
    groups: list[tuple[str, Bools]] = [("all", ~inside)] if not windows else [("inside", inside), ("outside", ~inside)]
    _names, columns = design(spells, windows)
    parameters = draws(fit, DRAWS, SEED)
    found = []
    for label, chosen in groups:
        if chosen.any():
            share = _shares(parameters, columns[chosen], spells.count[chosen], ages)
            found.append(_curve(label, spells, chosen, ages, share))
    return tuple(found)


def _ages(spells: Spells) -> Floats:
    seen = np.where(spells.has_failed, np.where(spells.has_failed, spells.failed, 0.0), spells.good)
    oldest = max(float(seen.max()), STEP_YEARS)
    step = STEP_YEARS * max(1, int(np.ceil(oldest / STEP_YEARS / MOST_AGES)))
    return np.asarray(step * np.arange(int(np.ceil(oldest / step)) + 1))


def _shares(parameters: Floats, columns: Floats, count: Floats, ages: Floats) -> Floats:
    """(draws × ages): the mean share failed over the kinds of units that are there."""
    kinds, which = kinds_of(columns)
    weight = np.bincount(which, count)
    weight = weight / weight.sum()
    base = cumulative_hazard(ages, parameters[:, :1], parameters[:, 1:2])
    effects = np.exp(parameters[:, 2:] @ kinds.T)
    shares = -np.expm1(-base[:, :, None] * effects[:, None, :])
    return np.asarray(shares @ weight)


def _curve(label: str, spells: Spells, chosen: Bools, ages: Floats, share: Floats) -> Curve:
    entry, good, failed, count = (one[chosen] for one in (spells.entry, spells.good, spells.failed, spells.count))
    low, middle, high = np.quantile(share, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2], axis=0)
    free = npmle(*to_months(entry, good, failed), count).share_at(ages)
    watched = at_risk(entry, good, failed, ages, count)
    return Curve(
        label=label,
        age=tuple(float(one) for one in ages),
        share=tuple(float(one) for one in middle),
        low=tuple(float(one) for one in low),
        high=tuple(float(one) for one in high),
        nonparametric=tuple(None if np.isnan(one) else float(one) for one in free),
        at_risk=tuple(round(float(one)) for one in watched),
    )
