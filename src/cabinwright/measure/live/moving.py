"""The average of a microphone that is moved, and how far it may be off.

The mean power in each third octave is taken over the whole time. It scatters for two reasons: the noise is random, and the
place changes. Both are in the powers of short pieces one after another. Pieces that follow each other are alike (the
microphone has hardly moved, the filter still rings), so the variance of their mean is that of independent ones times ``1 +
2 sum rho_k`` (M. S. Bartlett, 1946; the sum ends where two neighbouring correlations together are no longer positive: C. J.
Geyer, 1992). A mean power with that variance counts as one of ``n = mean² / variance`` independent averages, and its
interval follows from chi-square with ``2 n`` degrees of freedom (Bendat and Piersol 2010).

Valid for steady noise and a microphone that keeps moving through the whole space of the head. It tells how well the average
over the path is known. What lies beside the path is in no figure; nor is that a person in the car is part of the room.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.averages import power_interval_db

__all__ = ["MovingAverage", "SpaceAverage"]

Real = NDArray[np.float64]
PIECE_S = 0.125
MOST_PIECES = 512  #: then two at a time become one
LEAST_PIECES = 16  #: fewer say nothing about their own scatter


@dataclass(frozen=True)
class SpaceAverage:
    """The average so far, third octave by third octave."""

    mean_square: Real  #: (bands,)
    low_db: Real  #: (bands,) the 95 % interval relative to it; infinite while too little was heard
    high_db: Real
    independent: Real  #: (bands,) independent averages, noise and places together
    positions: (
        Real  #: (bands,) of them, what the change of place allows; infinite where noise alone explains the scatter
    )
    time_s: float
    pieces: int


class MovingAverage:
    """Powers of short pieces; memory stays the same however long it takes."""

    def __init__(self, *, bandwidth_hz: Real) -> None:
        self._bandwidth_hz = bandwidth_hz
        self._powers = np.zeros((MOST_PIECES, len(bandwidth_hz)))
        self._count, self._piece_s = 0, PIECE_S
        self._open, self._open_s = np.zeros(len(bandwidth_hz)), 0.0
        self._told: tuple[tuple[int, float], SpaceAverage] | None = None

    def add(self, energy: Real, *, time_s: float) -> None:
        """Energy [full scale² s], (bands,), heard during ``time_s``."""
        self._open += energy
        self._open_s += time_s
        if self._open_s < self._piece_s - 1e-9:
            return
        self._powers[self._count] = self._open / self._open_s
        self._count += 1
        self._open, self._open_s = np.zeros_like(self._open), 0.0
        if self._count == MOST_PIECES:
            self._powers[: MOST_PIECES // 2] = 0.5 * (self._powers[0::2] + self._powers[1::2])
            self._count //= 2
            self._piece_s *= 2.0

    def average(self) -> SpaceAverage:
        """Mean and interval; worked out anew once another piece is whole."""
        if self._told is None or self._told[0] != (self._count, self._piece_s):
            self._told = ((self._count, self._piece_s), self._worked_out())
        return self._told[1]

    def _worked_out(self) -> SpaceAverage:
        powers = self._powers[: self._count]
        bands = len(self._bandwidth_hz)
        if self._count < LEAST_PIECES:
            mean = powers.mean(axis=0) if self._count else np.zeros(bands)
            nothing = np.zeros(bands)
            endless = np.full(bands, np.inf)
            return SpaceAverage(mean, -endless, endless, nothing, nothing, self._count * self._piece_s, self._count)
        mean = powers.mean(axis=0)
        variance = _variance_of_mean(powers)
        time_s = self._count * self._piece_s
        noise = self._bandwidth_hz * time_s  # independent averages of noise alone: bandwidth times time
        with np.errstate(divide="ignore", invalid="ignore"):
            independent = np.where(variance > 0.0, mean**2 / variance, noise)
            independent = np.minimum(independent, noise)
            positions = np.where(independent < 0.999 * noise, 1.0 / (1.0 / independent - 1.0 / noise), np.inf)
        low, high = power_interval_db(independent=independent)
        return SpaceAverage(mean, low, high, independent, positions, time_s, self._count)


def _variance_of_mean(powers: Real) -> Real:
    """Variance of the mean of correlated pieces (pieces, bands), (bands,)."""
    from scipy.fft import irfft, next_fast_len, rfft

    count = len(powers)
    apart = powers - powers.mean(axis=0)
    size = int(next_fast_len(2 * count, real=True))
    spectrum = rfft(apart, n=size, axis=0)
    covariance = irfft(spectrum.real**2 + spectrum.imag**2, n=size, axis=0)[: count // 2] / count
    pairs = covariance[0 : 2 * (len(covariance) // 2) : 2] + covariance[1 : 2 * (len(covariance) // 2) : 2]
    going = np.cumprod(pairs > 0.0, axis=0)
    spread = 2.0 * np.sum(pairs * going, axis=0) - covariance[0]
    least = covariance[0] / count
    return np.asarray(np.maximum(spread / count, least) * count / (count - 1))
