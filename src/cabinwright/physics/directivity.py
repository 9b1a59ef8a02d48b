"""Level off the axis of a circular piston.

``D = 2 J1(x) / x``, ``x = k a sin(theta)`` for a rigid flat piston in an infinite baffle (Beranek & Mellow 2012, chapter
13; Kinsler et al. 2000, 7.4). Valid while the cone moves as one; above its break-up a real cone beams differently, and a
measured polar is better. Behind the baffle a piston radiates nothing; a loudspeaker in a pod or panel does by bending
round its edge, and there the level at 90 degrees is held (an approximation on the loud side, no source).

Exact nulls are never heard in noise or music: levels are means of the power over a band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j1

__all__ = ["Polar", "band_loss_db", "piston"]

Real = NDArray[np.float64]
INSIDE = 2.0 ** ((np.arange(9) - 4.0) / 9.0)  #: frequencies inside an octave band, as parts of its centre
DEEPEST_DB = -60.0


def piston(*, frequency_hz: ArrayLike, angle_rad: ArrayLike, radius_m: ArrayLike, speed_m_s: float) -> Real:
    """Pressure relative to the axis; the arguments broadcast. Behind the piston the value at its edge is held."""
    angle = np.minimum(np.abs(np.asarray(angle_rad, dtype=np.float64)), 0.5 * np.pi)
    x = 2.0 * np.pi * np.asarray(frequency_hz) / speed_m_s * np.asarray(radius_m) * np.sin(angle)
    small = np.abs(x) < 1e-6
    return np.where(small, 1.0, 2.0 * j1(x) / np.where(small, 1.0, x))


@dataclass(frozen=True)
class Polar:
    """A measured polar: level relative to the axis in dB, ``(angles, frequencies)``; angles rise from 0."""

    angle_rad: Real
    frequency_hz: Real
    level_db: Real

    def at(self, *, frequency_hz: float, angle_rad: Real) -> Real:
        """Level in dB at a frequency and angles, straight between the measured ones; the last ones are held beyond."""
        log_f = np.log(self.frequency_hz)
        column = [float(np.interp(np.log(frequency_hz), log_f, row)) for row in self.level_db]
        return np.interp(np.abs(angle_rad), self.angle_rad, column)


def band_loss_db(
    *, angle_rad: Real, bands_hz: Real, radius_m: float, speed_m_s: float, polar: Polar | None = None
) -> Real:
    """Level relative to the axis in octave bands, dB: angles (n,) and bands (b,) give (n, b). Never above 0 for a piston."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    if polar is not None:
        return np.stack([polar.at(frequency_hz=float(f), angle_rad=angle) for f in bands_hz], axis=-1)
    inside = np.asarray(bands_hz)[:, None] * INSIDE
    pressure = piston(frequency_hz=inside, angle_rad=angle[:, None, None], radius_m=radius_m, speed_m_s=speed_m_s)
    return np.asarray(np.maximum(10.0 * np.log10(np.maximum((pressure**2).mean(axis=-1), 1e-30)), DEEPEST_DB))
