"""Sums of many independent yes-or-no things with chances of their own: the Poisson-binomial distribution, exactly.

On the unit circle the generating function is a product over the things, of 1 + p (z - 1); one inverse Fourier transform
gives the distribution (Y. Hong, Computational Statistics & Data Analysis 59 (2013) 41-51). Where the chances are small
the product of a hundred thousand factors is the exponential of a short series in power sums,
log(1 + p (z - 1)) = p (z - 1) - p² (z - 1)² / 2 + …, cut off where what is left out is below 1e-13: things come in
groups whose chances differ by a factor only, and their power sums are products of sums.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Circle = NDArray[np.complex128]
SMALL = 0.3
"""Chances up to here go into power sums: |z - 1| is at most 2, the series is one in 2p."""
LEFT_OUT = 1e-13
TAIL = 36.0
"""-log of the chance beyond the last count that is worked with."""


def pmf(chances: Floats) -> Floats:
    """(…, n + 1): the distribution of how many of n things happen; `chances` (…, n) in 0..1.

    Neighbours are multiplied, then neighbours of those, by Fourier transforms. Raises ValueError: something is no
    chance.
    """
    chances = np.asarray(chances, dtype=np.float64)
    if not np.all((chances >= 0) & (chances <= 1)):
        raise ValueError("expected chances from 0 to 1")
    things = chances.shape[-1]
    if not things:
        return np.ones((*chances.shape[:-1], 1))
    factors = np.stack([1.0 - chances, chances], axis=-1)
    while factors.shape[-2] > 1:
        if factors.shape[-2] % 2:
            one = np.zeros_like(factors[..., :1, :])
            one[..., 0] = 1.0
            factors = np.concatenate([factors, one], axis=-2)
        length = 2 * factors.shape[-1] - 1
        size = power_of_two(length)
        turned = np.fft.rfft(factors, size, axis=-1)
        factors = np.fft.irfft(turned[..., ::2, :] * turned[..., 1::2, :], size, axis=-1)[..., :length]
    found: Floats = np.maximum(factors[..., 0, : things + 1], 0.0)
    return found


def counts_needed(mean: float) -> int:
    """How many counts 0, 1, … hold all but exp(-TAIL) of a sum with this mean, a power of two (Chernoff's bound)."""
    count = mean + 8.0
    while count * np.log(count / max(mean, 1e-300)) - count + mean < TAIL:
        count *= 1.1
    return power_of_two(int(np.ceil(count)) + 1)


def power_of_two(least: int) -> int:
    return 1 << max(least - 1, 0).bit_length()


def terms_needed(largest: float, things: float) -> int:
    """Of the series, for so many things with chances up to `largest` (at most SMALL)."""
    ratio, terms = 2.0 * largest, 1
    while things * ratio ** (terms + 1) / (terms + 1) > LEFT_OUT:
        terms += 1
    return terms


def circle(counts: int) -> Circle:
    """z of the transform of `counts` counts, those of the upper half of the circle: (counts / 2 + 1,)."""
    turned: Circle = np.exp(-2j * np.pi * np.arange(counts // 2 + 1) / counts)
    return turned


def powers(z: Circle, terms: int) -> Circle:
    """(terms, len(z)): what each power sum is multiplied by in the series."""
    order = np.arange(1, terms + 1)
    found = (z - 1.0) ** order[:, None] * ((-1.0) ** (order + 1) / order)[:, None]
    return np.asarray(found, dtype=np.complex128)


def transform(sums: Floats, powers: Circle) -> Circle:
    """(…, len(z)): the generating functions at z of sums of things whose chances have the power sums `sums` (…, terms):
    of the first power, the second, …. A Poisson number of things adds its mean to the first."""
    # Two real products are quicker than a complex one with numbers that have no imaginary part.
    size, angle = np.exp(sums @ powers.real), sums @ powers.imag
    found = np.empty(size.shape, dtype=np.complex128)
    found.real, found.imag = size * np.cos(angle), size * np.sin(angle)
    return found


def back(turned: Circle, counts: int) -> Floats:
    """(…, counts): the distribution behind a transform on `circle(counts)`."""
    found: Floats = np.maximum(np.fft.irfft(turned, counts, axis=-1), 0.0)
    return found
