"""Frequency weighting A and C of sound level meters.

IEC 61672-1:2013, Annex E: C has two poles each at ``LOWEST_HZ`` and ``HIGHEST_HZ``; A adds one each at two frequencies
between and falls towards the bass. Both are 0 dB at 1 kHz exactly, by their computed value there rather than the
standard's rounded constants: with these the 160 Hz entry of its Table 3 would come out a tenth off.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["a_weighting_db", "c_weighting_db"]

Real = NDArray[np.float64]
LOWEST_HZ, HIGHEST_HZ = 20.598997, 12194.217
BETWEEN_HZ = (107.65265, 737.86223)
REFERENCE_HZ = 1000.0


def c_weighting_db(*, frequency_hz: ArrayLike) -> Real:
    """C weighting [dB] at each frequency [Hz], in the shape of ``frequency_hz``; -inf at 0.

    Nominal band frequencies are rounded: evaluate at the exact ones. Raises ``ValueError`` for a negative frequency.
    """
    return _relative(_c_gain, frequency_hz)


def a_weighting_db(*, frequency_hz: ArrayLike) -> Real:
    """A weighting [dB] at each frequency [Hz], in the shape of ``frequency_hz``; -inf at 0.

    Nominal band frequencies are rounded: evaluate at the exact ones. Raises ``ValueError`` for a negative frequency.
    """
    return _relative(_a_gain, frequency_hz)


def _c_gain(square: Real) -> Real:
    return square / ((square + LOWEST_HZ**2) * (square + HIGHEST_HZ**2))


def _a_gain(square: Real) -> Real:
    low, high = BETWEEN_HZ
    return np.asarray(_c_gain(square) * square / np.sqrt((square + low**2) * (square + high**2)))


def _relative(gain: Callable[[Real], Real], frequency_hz: ArrayLike) -> Real:
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(frequency >= 0.0):
        raise ValueError("a frequency is not negative")
    with np.errstate(divide="ignore"):  # nothing passes at 0 Hz
        return np.asarray(20.0 * np.log10(gain(frequency**2) / gain(np.asarray(REFERENCE_HZ**2))))
