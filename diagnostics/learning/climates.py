"""Do climates matter for a population, and does a production range matter more in some of them?"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from diagnostics.learning.design import CLIMATE_SD, Window, design, full_prior, share_inside
from diagnostics.learning.records import CLIMATES, ClimateEffect, Estimate, Floats, Prior, Spells, WeibullFit, Z
from diagnostics.learning.weibull import fit_weibull

PRIOR_MATTERS = 0.5
"""That climates matter at all, before the data: heat ages seals and greases, but not every part has them."""
PRIOR_INTERACTS = 0.2


def climate_effects(fit: WeibullFit, prior: Prior) -> tuple[ClimateEffect, ...]:
    """The ratio of each climate in `fit` to the first of CLIMATES, and how probable it is that they differ at all."""
    names = [name for name in CLIMATES[1:] if name in fit.names]
    if not names:
        return ()
    places = [fit.names.index(name) for name in names]
    matters = _not_zero(fit, places, full_prior(prior, names), names, PRIOR_MATTERS)
    return tuple(
        ClimateEffect(name, ratio_of(fit.estimate[place], fit.covariance[place, place]), matters)
        for name, place in zip(names, places, strict=True)
    )


def ratio_by_climate(
    spells: Spells, prior: Prior, windows: Sequence[Window], which: int
) -> tuple[dict[str, Estimate], float]:
    """The hazard ratio of `windows[which]` within each climate that occurs in it, and the probability that these
    differ."""
    names, columns = design(spells, windows)
    inside = share_inside(spells, windows[which])
    codes = [code for code in range(1, len(CLIMATES)) if inside[spells.climate == code].any()]
    if not codes or not inside[spells.climate == 0].any():
        return {}, 0.0
    crossed = [f"range:{which + 1}:{CLIMATES[code]}" for code in codes]
    more = np.column_stack([inside * (spells.climate == code) for code in codes])
    every = [*names, *crossed]
    effects = {**full_prior(prior, names).effects, **dict.fromkeys(crossed, (0.0, CLIMATE_SD))}
    fit = fit_weibull(
        spells.entry,
        spells.good,
        spells.failed,
        covariates=np.column_stack([columns, more]),
        names=every,
        count=spells.count,
        prior=replace(prior, effects=effects),
    )
    base = fit.names.index(f"range:{which + 1}")
    places = [fit.names.index(name) for name in crossed]
    found = {CLIMATES[0]: ratio_of(fit.estimate[base], fit.covariance[base, base])}
    for code, place in zip(codes, places, strict=True):
        both = fit.covariance[np.ix_([base, place], [base, place])].sum()
        found[CLIMATES[code]] = ratio_of(fit.estimate[base] + fit.estimate[place], both)
    return found, _not_zero(fit, places, replace(prior, effects=effects), crossed, PRIOR_INTERACTS)


def _not_zero(fit: WeibullFit, places: Sequence[int], prior: Prior, names: Sequence[str], beforehand: float) -> float:
    """Probability that these effects are not all zero: Savage and Dickey's density ratio at zero (Dickey 1971)."""
    mean = fit.estimate[list(places)]
    covariance = fit.covariance[np.ix_(places, places)]
    before = np.diag([prior.effects[name][1] ** 2 for name in names])
    log_null = _log_density_at_zero(mean, covariance) - _log_density_at_zero(
        np.array([prior.effects[name][0] for name in names]), before
    )
    odds = np.log(beforehand) - np.log1p(-beforehand) - log_null
    return float(1.0 / (1.0 + np.exp(-np.clip(odds, -700, 700))))


def _log_density_at_zero(mean: Floats, covariance: Floats) -> float:
    _sign, size = np.linalg.slogdet(2 * np.pi * covariance)
    return float(-0.5 * (mean @ np.linalg.solve(covariance, mean) + size))


def ratio_of(mean: float, variance: float) -> Estimate:
    """The ratio behind a normal log ratio, with its interval."""
    sd = float(np.sqrt(max(variance, 0.0)))
    return Estimate(*(float(np.exp(mean + z * sd)) for z in (0.0, -Z, Z)))
