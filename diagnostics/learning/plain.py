"""Plain statistics beside the model, which know nothing of it."""

import numpy as np

from diagnostics.learning.records import Estimate, Floats, Z


def benjamini_hochberg(p: Floats) -> Floats:
    """p-values of everything that was searched, adjusted so that calling those up to q found lets at most a share q of
    them be none (Benjamini and Hochberg 1995, in the form of adjusted values)."""
    values = np.asarray(p, dtype=float)
    order = np.argsort(-values, kind="stable")
    ranks = np.arange(len(values), 0, -1)
    adjusted = np.empty(len(values))
    adjusted[order] = np.minimum.accumulate(np.minimum(values[order] * len(values) / ranks, 1.0))
    return adjusted


def wilson(failed: float, seen: float, z: float = Z) -> Estimate:
    """The share that failed of those seen, with its interval `z` standard deviations to either side (Wilson 1927): sane
    for few seen and for none failed. Of none seen everything is possible."""
    if seen <= 0:
        return Estimate(0.0, 0.0, 1.0)
    share = failed / seen
    middle = (share + z * z / (2 * seen)) / (1 + z * z / seen)
    half = z / (1 + z * z / seen) * np.sqrt(share * (1 - share) / seen + z * z / (4 * seen * seen))
    return Estimate(share, max(0.0, float(middle - half)), min(1.0, float(middle + half)))
