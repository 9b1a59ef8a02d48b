"""Figures drawn from the low-frequency response of a place, and where it gives way to rays."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cabinwright.physics.bands import Bands, octave_bands

__all__ = ["crossfade", "evenness_db", "gain_crossing_hz"]

Real = NDArray[np.float64]


def crossfade(frequency_hz: ArrayLike, *, low_hz: float = 160.0, high_hz: float = 320.0) -> Real:
    """Share of the modal answer at each frequency, 1 up to ``low_hz`` and 0 from ``high_hz``, in the shape given.

    Between, a raised cosine over the logarithm of frequency; the share of the ray answer is what is missing to 1. A car
    has its Schroeder frequency (Schroeder 1962: ``2000 sqrt(T / V)``) near 300 to 500 Hz, above which modes merge; the
    modal answer is trusted to 200 Hz only, since seats and trim are not in it. The limits are common practice, not
    physics: they are stated wherever the joined curve is shown. Levels (power), not phases, are to be joined.
    """
    if not 0.0 < low_hz < high_hz:
        raise ValueError(f"low_hz must be positive and below high_hz, got {low_hz} and {high_hz}")
    pitch = np.log(np.maximum(np.asarray(frequency_hz, dtype=np.float64), 1e-9) / low_hz) / math.log(high_hz / low_hz)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * np.clip(pitch, 0.0, 1.0)))


def evenness_db(level_db: Real, *, frequency_hz: Real, fraction: int = 3) -> tuple[Bands, Real]:
    """How level differs over heads: standard deviation [dB] in each fractional-octave band, shape ``(bands,)``.

    ``level_db`` has shape ``(frequencies, points)``. Power is averaged over the frequencies in each band; a band with no
    frequency in it gives NaN. Raises ``ValueError`` for fewer than two points.
    """
    if level_db.ndim != 2 or level_db.shape[1] < 2 or level_db.shape[0] != len(frequency_hz):
        raise ValueError(f"levels are wanted at each frequency for two points or more, got shape {level_db.shape}")
    bands = octave_bands(fraction=fraction, low_hz=float(frequency_hz.min()), high_hz=float(frequency_hz.max()))
    power = 10.0 ** (level_db / 10.0)
    spread = np.full(len(bands), np.nan)
    for i, (low, high) in enumerate(zip(bands.lower_hz, bands.upper_hz, strict=True)):
        here = (frequency_hz >= low) & (frequency_hz < high)
        if here.any():
            spread[i] = np.std(10.0 * np.log10(power[here].mean(axis=0)))
    return bands, spread


def gain_crossing_hz(*, volume_m3: float, distance_m: float = 1.0, speed_m_s: float = 343.2) -> float:
    """Frequency [Hz] below which a sealed rigid cabin is louder than half space at ``distance_m``, for the same source.

    ``rho c² / (V omega²) = rho / (2 pi r)``, so ``omega = c sqrt(2 pi r / V)``: a rule of thumb that counts no modes.
    """
    if not volume_m3 > 0.0 or not distance_m > 0.0:
        raise ValueError(f"volume and distance must be positive, got {volume_m3} m³ and {distance_m} m")
    return speed_m_s * math.sqrt(2.0 * math.pi * distance_m / volume_m3) / (2.0 * math.pi)
