"""How sure an average of spectra is: independent averages, the interval of a mean power, errors of a transfer function.

Neighbouring spectra that share samples say partly the same. For windows ``w`` that start ``h`` samples apart the squares of
two spectra ``m`` apart are correlated by ``r_m = (sum w(t) w(t + m h) / sum w²)²`` (P. D. Welch, 1967), so that ``K`` of
them count as ``K / (1 + 2 sum_m (1 - m/K) r_m)`` independent ones, and an exponential average with share ``a`` as ``(2 - a)
/ a / (1 + 2 sum_m (1 - a)^m r_m)``.

The mean of ``n`` independent powers of Gaussian noise is distributed as chi-square with ``2 n`` degrees of freedom. The
random errors of a transfer function with coherence ``g²`` are ``sqrt(1 - g²) / (g sqrt(2 n))``, as a share of its amount
and in radians (J. S. Bendat and A. G. Piersol, Random Data, 4th edition, 2010, ch. 9). Where nothing is common to both
channels a coherence of ``1 - p^(1/(n - 1))`` is still exceeded with probability ``p``.

Valid for steady Gaussian noise, where the spectrum is level across one line. Speech and music are neither.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "coherence_by_chance",
    "exponential_averages",
    "linear_averages",
    "overlap_correlation",
    "power_interval_db",
    "transfer_error",
]

Real = NDArray[np.float64]


def overlap_correlation(window: ArrayLike, *, hop: int) -> Real:
    """Correlation of two powers 1, 2, ... hops apart, as long as their windows overlap; empty where they never do."""
    data = np.asarray(window, dtype=np.float64)
    if hop < 1:
        raise ValueError(f"hop must be at least 1 sample, got {hop}")
    whole = float(np.sum(data * data))
    lags = range(hop, len(data), hop)
    return np.array([(float(np.dot(data[:-lag], data[lag:])) / whole) ** 2 for lag in lags])


def linear_averages(correlation: Real, *, spectra: int) -> float:
    """Independent averages in a plain mean of ``spectra`` powers; 0 for none."""
    if spectra < 1:
        return 0.0
    lags = np.arange(1, min(len(correlation), spectra - 1) + 1)
    return float(spectra / (1.0 + 2.0 * np.sum((1.0 - lags / spectra) * correlation[: len(lags)])))


def exponential_averages(correlation: Real, *, share: float, spectra: int) -> float:
    """Independent averages in an exponential mean of this share; those of a plain mean as long as that has fewer."""
    kept = (1.0 - share) ** np.arange(1, len(correlation) + 1)
    steady = (2.0 - share) / share / (1.0 + 2.0 * float(np.sum(kept * correlation)))
    return max(1.0, min(steady, linear_averages(correlation, spectra=spectra))) if spectra else 0.0


def power_interval_db(*, independent: ArrayLike, confidence: float = 0.95) -> tuple[Real, Real]:
    """Ends [dB] of the interval around a mean power, below and above it, in the shape of ``independent``; infinite for 0."""
    from scipy.special import gammaincinv  # slow to import

    count = np.asarray(independent, dtype=np.float64)
    tail = 0.5 * (1.0 - confidence)
    with np.errstate(divide="ignore", invalid="ignore"):
        # chi-square with 2 n degrees of freedom, halved, is a gamma distribution of shape n
        low = 10.0 * np.log10(count / gammaincinv(count, 1.0 - tail))
        high = 10.0 * np.log10(count / gammaincinv(count, tail))
    some = count > 0.0
    return np.where(some, low, -np.inf), np.where(some, high, np.inf)


def transfer_error(*, coherence: ArrayLike, independent: float) -> Real:
    """One standard deviation of a transfer function as a share of its amount, and of its phase [rad]; infinite for none."""
    square = np.clip(np.asarray(coherence, dtype=np.float64), 0.0, 1.0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.sqrt((1.0 - square) / np.maximum(square, 0.0) / (2.0 * max(independent, 1e-300))))


def coherence_by_chance(*, independent: float, probability: float = 0.05) -> float:
    """Coherence that unrelated channels exceed with this probability; 1 for a single average."""
    if not independent > 1.0:
        return 1.0
    return float(1.0 - probability ** (1.0 / (independent - 1.0)))
