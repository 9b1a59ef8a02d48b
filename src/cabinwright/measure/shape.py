"""From a raw take to the response that is kept: moved to the common zero, calibrated, faded into silence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.measure.calibration import Calibration
from cabinwright.measure.deconvolve import THIRDS, band_means
from cabinwright.measure.settle import settle
from cabinwright.measure.take import EARLY_S, Take
from cabinwright.physics.weighting import a_weighting_db

__all__ = ["KEPT_S", "ZERO_S", "Kept", "keep", "weighted_snr_db"]

Real = NDArray[np.float64]
ZERO_S = 0.02  #: kept before time zero
KEPT_S = 0.38  #: in all; a cabin has fallen silent by then even at 30 Hz
BINS = 32768
WEIGHT = 10.0 ** (a_weighting_db(frequency_hz=THIRDS.centres_hz) / 10.0) * (THIRDS.upper_hz - THIRDS.lower_hz)
LEAST_DB, MOST_DB = -30.0, 120.0


@dataclass(frozen=True)
class Kept:
    """One response as the stages see it; levels per third octave, (31,)."""

    impulse: Real
    noise_power: Real
    snr_db: Real
    snr_a_db: float  #: of all third octaves together, A-weighted: as the noise is heard


def keep(take: Take, *, shift_s: float, calibration: Calibration | None, sample_rate_hz: float) -> Kept:
    """The response of ``take`` with ``shift_s`` added to its times."""
    rate = sample_rate_hz
    raw, density = take.raw, take.density
    whole = round(shift_s * rate)
    part = shift_s * rate - whole
    if abs(part) > 1e-4 or calibration is not None:
        size = next_fast_len(len(raw) + 8192, real=True)
        spectrum = rfft(raw, n=size)
        spectrum *= np.exp(-2j * np.pi * np.arange(len(spectrum)) * part / size)
        if calibration is not None:
            correction = calibration.correction(size=size, sample_rate_hz=rate)
            spectrum *= correction
            density = density * band_means(np.abs(correction) ** 2, sample_rate_hz=rate)
        raw = irfft(spectrum, n=size)[: len(raw)]
    zero, count = round(ZERO_S * rate), round(KEPT_S * rate)
    first = round(EARLY_S * rate) - zero - whole
    impulse = np.zeros(count)
    a, b = max(0, first), min(len(raw), first + count)
    if b > a:
        impulse[a - first : b - first] = raw[a:b]
    impulse, noise_power = settle(impulse, zero_sample=zero, sample_rate_hz=rate, density=density)
    power = band_means(np.abs(rfft(impulse, n=max(BINS, next_fast_len(count)))) ** 2, sample_rate_hz=rate)
    signal = np.maximum(power - noise_power, 1e-3 * power + 1e-30)
    return Kept(impulse, noise_power, _ratio_db(signal, noise_power), weighted_snr_db(signal, noise_power))


def weighted_snr_db(signal: Real, noise_power: Real) -> float:
    """A-weighted energy of the signal over that of the noise [dB], from mean powers per third octave, (31,) each."""
    return float(_ratio_db(WEIGHT @ signal, WEIGHT @ noise_power))


def _ratio_db(signal: Real, noise: Real) -> Real:
    return np.clip(10.0 * np.log10(signal / np.maximum(noise, 1e-12 * signal)), LEAST_DB, MOST_DB)
