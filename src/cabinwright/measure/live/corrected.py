"""The microphone's calibration taken out of a signal that never ends: a minimum-phase filter, block by block.

The calibration says how the microphone differs over frequency; its level at 1 kHz is left to the calibrator. The filter has
4,096 taps: at 48 kHz a calibration that changes within a third octave is followed down to 40 Hz, a smooth one to 20 Hz.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.calibration import Calibration

__all__ = ["Corrected"]

Real = NDArray[np.float64]
TAPS = 4096
REFERENCE_HZ = 1000.0


class Corrected:
    """One microphone."""

    def __init__(self, calibration: Calibration, *, sample_rate_hz: float) -> None:
        from scipy.fft import irfft

        level = np.interp(np.log(REFERENCE_HZ), np.log(calibration.frequency_hz), calibration.level_db)
        moved = Calibration(calibration.frequency_hz, calibration.level_db - level)
        taps = irfft(moved.correction(size=2 * TAPS, sample_rate_hz=sample_rate_hz), n=2 * TAPS)[:TAPS]
        taps *= np.concatenate([np.ones(TAPS // 2), 0.5 + 0.5 * np.cos(np.pi * np.arange(TAPS // 2) / (TAPS // 2))])
        self._taps: Real = np.asarray(taps)
        self._spectra: dict[int, NDArray[np.complex128]] = {}
        self._before = np.zeros(TAPS - 1)

    def feed(self, samples: Real) -> Real:
        """The next samples, (frames,), as a flat microphone would have given them."""
        from scipy.fft import irfft, next_fast_len, rfft

        if not len(samples):
            return samples
        whole = np.concatenate([self._before, samples])
        self._before = whole[len(whole) - TAPS + 1 :]
        size = int(next_fast_len(len(whole), real=True))
        if size not in self._spectra:
            self._spectra = {size: rfft(self._taps, n=size)}
        return np.asarray(irfft(rfft(whole, n=size) * self._spectra[size], n=size)[TAPS - 1 : len(whole)])
