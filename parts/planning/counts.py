"""Distributions of whole pieces: arrays (…, K + 1) of the chances of 0 to K, what is beyond K counted at K."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BEYOND = 1e-9
"""Chance beyond the last count that a distribution for planning may leave to its last count."""
CELLS = 1 << 19
"""Worked on at once: what fits near the processor."""


def negative_binomial(mean: Floats, variance: Floats, width: int) -> Floats:
    """(n, width) chances of 0 to width - 1 pieces, not yet gathered; `mean` and `variance` (n,) in pieces. A variance
    at or below the mean is Poisson's.

    With f = variance / mean and r = mean / (f - 1): p(0) = f^-r and p(k + 1) / p(k) = (r + k) / (k + 1) * (1 - 1 / f).
    """
    over = np.maximum(variance / np.where(mean > 0, mean, 1.0) - 1.0, 1e-9)  # so little over 1 that it is Poisson's
    size = mean / over
    k = np.arange(width - 1)
    log = np.empty((len(mean), width))
    log[:, 0] = -size * np.log1p(over)
    with np.errstate(divide="ignore"):  # nothing is ever asked for: all the chance is at 0
        np.log(size[:, None] + k, out=log[:, 1:])
    log[:, 1:] += np.log(over / (1.0 + over))[:, None] - np.log(k + 1.0)
    chances: Floats = np.exp(np.cumsum(log, axis=1))
    return chances


def reach(mean: Floats, variance: Floats, beyond: float) -> Floats:
    """(n,): a count beyond which a negative binomial has at most the chance `beyond`. Bernstein's inequality for
    sub-gamma tails (S. Boucheron, G. Lugosi and P. Massart, Concentration Inequalities (2013), section 2.4) with
    variance over mean as the scale."""
    log = -np.log(beyond)
    scale = np.maximum(variance / np.where(mean > 0, mean, 1.0), 1.0)
    found: Floats = mean + np.sqrt(2.0 * log * np.maximum(variance, mean)) + log * scale + 1.0
    return found


def gathered(pmf: Floats) -> Floats:
    """What lacks to 1 is put at the last count."""
    whole = pmf.copy()
    whole[..., -1] += np.maximum(1.0 - pmf.sum(axis=-1), 0.0)
    return whole


def trimmed(pmf: Floats) -> Floats:
    """(n, K + 1) without the last counts, as far as no row's chance of them comes to BEYOND; gathered."""
    beyond = np.cumsum(pmf[:, ::-1], axis=1)[:, ::-1].max(axis=0, initial=0.0)
    return gathered(pmf[:, : max(1, int(np.count_nonzero(beyond > BEYOND)))])


def quantiles(pmf: Floats, levels: Sequence[float]) -> Ints:
    """(…, levels): the least count at or below which the demand stays with each chance; `pmf` (…, K + 1)."""
    below = np.cumsum(pmf, axis=-1)
    # Sums of chances reach .95 a rounding short.
    found = [np.count_nonzero(below < level - 1e-12, axis=-1) for level in levels]
    return np.asarray(np.minimum(np.stack(found, axis=-1), pmf.shape[-1] - 1), dtype=np.int64)


def by_width(needed: Floats) -> Iterator[tuple[int, Ints]]:
    """Rows (n,) in blocks of one width, a power of two that is at least what the row needs: few wide rows must not make
    all rows wide."""
    widths = 2 ** np.ceil(np.log2(np.maximum(needed, 8.0))).astype(np.int64)
    for width in np.unique(widths):
        rows = np.flatnonzero(widths == width)
        step = max(1, CELLS // int(width))
        for first in range(0, len(rows), step):
            yield int(width), rows[first : first + step]
