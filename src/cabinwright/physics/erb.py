"""Bands as wide as the ear's own: equivalent rectangular bandwidths and gammatone filters.

    ERB(f) = 24.7 (4.37 f/kHz + 1) Hz,  number = 21.4 log10(4.37 f/kHz + 1)

The gammatone of fourth order is taken in its analytic form, (1 + i (f - fc)/b)^-4 with b = 1.019 ERB, from positive
frequencies alone: its modulus in time is the envelope. Valid for young normal hearing at moderate level, 100 Hz to 10 kHz.

Sources: B. R. Glasberg and B. C. J. Moore, Hearing Research 47, 103–138, 1990 (bandwidth, number); R. D. Patterson et al., 1987,
and M. Slaney, 1993 (gammatone, 1.019).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["cams_hz", "erb_hz", "erb_number", "gammatone"]

Real = NDArray[np.float64]
ORDER, WIDTH = 4, 1.019


def erb_hz(frequency_hz: ArrayLike) -> Real:
    """Equivalent rectangular bandwidth [Hz] of the ear's filter at each frequency [Hz]."""
    return np.asarray(24.7 * (4.37e-3 * np.asarray(frequency_hz, dtype=np.float64) + 1.0))


def erb_number(frequency_hz: ArrayLike) -> Real:
    """Number of such bandwidths below each frequency [Hz]; the unit is the Cam."""
    return np.asarray(21.4 * np.log10(4.37e-3 * np.asarray(frequency_hz, dtype=np.float64) + 1.0))


def cams_hz(*, low_hz: float, high_hz: float) -> Real:
    """(bands,) centre frequencies [Hz] one Cam apart, the first at ``low_hz``, none above ``high_hz``."""
    numbers = np.arange(float(erb_number(low_hz)), float(erb_number(high_hz)) + 1e-9)
    return np.asarray((10.0 ** (numbers / 21.4) - 1.0) / 4.37e-3)


def gammatone(*, frequency_hz: ArrayLike, centre_hz: ArrayLike) -> NDArray[np.complex128]:
    """(bands, f): response at each frequency [Hz] of the filter at each centre [Hz], 1 at its centre."""
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    centre = np.atleast_1d(np.asarray(centre_hz, dtype=np.float64))
    off = (frequency[None, :] - centre[:, None]) / (WIDTH * erb_hz(centre)[:, None])
    return np.asarray((1.0 + 1j * off) ** -ORDER)
