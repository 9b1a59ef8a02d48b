"""When a car that plays by itself has begun: the first marker, or for a signal without markers the first sound."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from cabinwright.measure.guide.ambient import Quiet
from cabinwright.measure.signal import SweepSignal

__all__ = ["Onset"]

Samples = NDArray[np.float32]
EVERY_S = 0.4
CLEAR = 12.0  #: of the matched filter's peak over its median, as where recordings are read
LOUD = 10.0  #: power over the noise
LASTS_S = 0.3  #: a slam is over sooner


class Onset:
    """Given the microphone block by block; says how far into the file the car is, once it knows."""

    def __init__(self, signal: SweepSignal | None, quiet: Quiet, *, rate: float) -> None:
        self._rate, self._quiet = rate, float(quiet.power.sum())
        self._held: Samples = np.zeros(0, dtype=np.float32)
        self._new, self._loud = 0, 0
        self._marks = signal.markers if signal is not None else None
        if self._marks is not None:
            from scipy.signal import fftconvolve  # slow to import: not while blocks come in

            self._convolved = fftconvolve
            first = self._marks.first
            self._chirp = first.at(np.arange(round(first.length_s * rate)) / rate).astype(np.float32)

    def hear(self, wave: Samples) -> float | None:
        """Seconds of the file that are over by the end of ``wave`` (frames,); None: not yet begun."""
        if self._marks is None:
            return self._first_sound(wave)
        longest = round((2.0 * EVERY_S + self._marks.first.length_s) * self._rate)
        self._held = np.concatenate([self._held, wave])[-longest:]
        self._new += len(wave)
        if self._new < EVERY_S * self._rate or len(self._held) < 2 * len(self._chirp):
            return None
        self._new = 0
        size = next_fast_len(len(self._held) + len(self._chirp))
        found = np.abs(self._convolved(self._held, self._chirp[::-1], mode="valid"))[:size]
        at = int(np.argmax(found))
        inner = len(found) - at > round(0.02 * self._rate)  # a peak at the very end may still grow
        if not inner or found[at] < CLEAR * float(np.median(found)) + 1e-9:
            return None
        return self._marks.first_s + (len(self._held) - at) / self._rate

    def _first_sound(self, wave: Samples) -> float | None:
        loud = float(np.mean(wave.astype(np.float64) ** 2)) > LOUD * self._quiet
        self._loud = self._loud + len(wave) if loud else 0
        return self._loud / self._rate if self._loud >= LASTS_S * self._rate else None
