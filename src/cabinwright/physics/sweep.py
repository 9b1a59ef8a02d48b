"""Exponential sine sweeps and linear chirps as functions of time.

Farina 2000: ``x(t) = sin(2 pi f1 L (exp(t / L) - 1))`` with ``L = T / ln(f2 / f1)`` runs from f1 to f2 in the time T.
Each octave takes the same time, so the energy falls by 3 dB per octave, and the k-th harmonic of a distorting system
is the same sweep started ``L ln k`` earlier: after deconvolution harmonics stand clear of the linear response, before
it. Fades (Farina 2007; ISO 18233:2006, Annex B) keep the ends from ringing. Because everything is a function of time,
a sweep as recorded by a clock that runs a little fast is evaluated exactly, not interpolated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Chirp", "Sweep"]

Real = NDArray[np.float64]


def _fade(wave: Real, time_s: Real, *, length_s: float, fade_in_s: float, fade_out_s: float) -> Real:
    """``wave`` with raised-cosine fades inside 0 to ``length_s`` and zero outside; changed in place."""
    for near, fade_s in ((time_s, fade_in_s), (length_s - time_s, fade_out_s)):
        here = near < fade_s
        wave[here] *= np.sin(0.5 * np.pi * np.maximum(near[here], 0.0) / fade_s) ** 2
    return wave


@dataclass(frozen=True, slots=True)
class Sweep:
    """An exponential sine sweep of unit peak from ``low_hz`` to ``high_hz`` in ``length_s``.

    Raises ``ValueError`` where it could not rise or the fades do not fit into it.
    """

    low_hz: float
    high_hz: float
    length_s: float
    fade_in_s: float
    fade_out_s: float

    def __post_init__(self) -> None:
        if not 0.0 < self.low_hz < self.high_hz or not self.length_s > 0.0:
            raise ValueError(
                f"a sweep rises in a positive time, got {self.low_hz} to {self.high_hz} Hz in {self.length_s} s"
            )
        if not 0.0 < self.fade_in_s + self.fade_out_s <= self.length_s:
            raise ValueError(f"fades of {self.fade_in_s} s and {self.fade_out_s} s do not fit into {self.length_s} s")

    @property
    def growth_s(self) -> float:
        """L: the time in which the frequency grows by e [s]."""
        return self.length_s / math.log(self.high_hz / self.low_hz)

    def at(self, time_s: Real) -> Real:
        """Value at each moment after its start [s], in the shape of ``time_s``; zero before 0 and after the end."""
        inside = np.clip(time_s, 0.0, self.length_s)
        growth = self.growth_s
        wave = np.sin(2.0 * np.pi * self.low_hz * growth * np.expm1(inside / growth))
        return _fade(
            np.asarray(wave), time_s, length_s=self.length_s, fade_in_s=self.fade_in_s, fade_out_s=self.fade_out_s
        )

    def frequency_hz(self, time_s: Real) -> Real:
        """Instantaneous frequency [Hz] at each moment after its start."""
        return np.asarray(self.low_hz * np.exp(time_s / self.growth_s))


@dataclass(frozen=True, slots=True)
class Chirp:
    """A linear chirp of unit peak; it falls where ``end_hz`` lies below ``start_hz``."""

    start_hz: float
    end_hz: float
    length_s: float
    fade_s: float

    def at(self, time_s: Real) -> Real:
        """Value at each moment after its start [s], in the shape of ``time_s``; zero outside."""
        rate = (self.end_hz - self.start_hz) / self.length_s
        wave = np.sin(2.0 * np.pi * (self.start_hz + 0.5 * rate * time_s) * time_s)
        fade = self.fade_s
        return _fade(np.asarray(wave), time_s, length_s=self.length_s, fade_in_s=fade, fade_out_s=fade)
