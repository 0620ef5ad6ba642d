"""What is believed of a life before any of it was seen: the trade defaults as weak priors of the Weibull law.

A trade default is the chance that the fault is there in a car that comes in (engine/faults.py: common practice, no
source). It is read here as the share failed at AT_YEARS, the age in the middle of what such a shop sees; with a
standard deviation that lets ten cars move it and a hundred decide.
"""

from collections.abc import Mapping

import numpy as np

from diagnostics.engine.faults import default_prior, faults_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.learning.records import Prior, WeibullFit

AT_YEARS = 6.0
"""Common practice, no source: cars come in for their tops in the years after the warranty."""
SHAPE, SHAPE_SD = 1.5, 0.3
"""Of the log: wear out rather than chance, from about 0.9 to 2.5 (common practice, no source)."""
SCALE_SD = 0.5
"""Of the log scale at a given shape: the share failed at AT_YEARS may be a third or three times the trade default."""
GENERIC_SHARE, GENERIC_YEARS, GENERIC_SD = 0.02, 8.0, 1.5
LATER_SD, LATER_SHAPE_SD = 0.5, 0.1
"""Of the log scale and the log shape of later units about those of the original ones."""


def priors_of(system: TopSystem) -> Mapping[tuple[str, str], Prior]:
    """(position, mode) -> prior of every fault of a system; the module's inputs count together."""
    share: dict[tuple[str, str], float] = {}
    for fault in faults_of(system):
        key = (fault.position, fault.mode)
        share[key] = share.get(key, 0.0) + default_prior(system, fault)
    return {key: _prior(min(one, 0.5), AT_YEARS, SCALE_SD) for key, one in share.items()}


def later_prior(fit: WeibullFit) -> Prior:
    """For units fitted later: like the original ones, but not quite."""
    tilt = float(fit.covariance[0, 1] / fit.covariance[1, 1])
    sd = float(np.sqrt(fit.covariance[0, 0] - tilt * fit.covariance[0, 1] + LATER_SD**2))
    shape_sd = float(np.sqrt(fit.covariance[1, 1] + LATER_SHAPE_SD**2))
    return Prior((float(fit.estimate[0]), sd), (float(fit.estimate[1]), shape_sd), tilt=tilt)


def _prior(share: float, years: float, sd: float) -> Prior:
    """`sd` of the log scale at a given shape. log H(years) = shape * (log years - log scale) is what is known, so the
    log scale moves along with the log shape."""
    tilt = float(np.log(-np.log1p(-share)) / SHAPE)
    return Prior((float(np.log(years)) - tilt, sd), (float(np.log(SHAPE)), SHAPE_SD), tilt=tilt)


GENERIC = _prior(GENERIC_SHARE, GENERIC_YEARS, GENERIC_SD)
"""Of a position that no declared system names."""
