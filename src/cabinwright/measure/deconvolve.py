"""From a recorded sweep and its reference to an impulse response, its harmonics and its noise.

Deconvolution is division in the frequency domain, regularised where the reference holds no energy (ISO 18233:2006, Annex B;
Farina 2007). The result is circular: the linear response begins at time zero, harmonics of order k lie ``L ln k`` before
it (Farina 2000), and whatever was not caused by the sweep is spread over the whole length. What stands far from both is
therefore noise alone, and tells how much of it the response holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.physics.bands import octave_bands

__all__ = [
    "THIRDS",
    "Reference",
    "band_means",
    "deconvolve",
    "distortion_ratio",
    "noise_density",
    "residual",
    "transform_size",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

THIRDS = octave_bands(fraction=3, low_hz=20.0, high_hz=20_000.0)
BLOCK = 16384
REGULARISATION = 1e-5  #: inside the band, against the reference's usual energy
OUTSIDE = 1e-2  #: outside it
HIGHEST_ORDER = 12  #: harmonics up to this one are kept out of the noise
SURE = 1.5  #: noise in a harmonic's window may exceed its expectation by this much
CLEAR_S = 0.6  #: a cabin has fallen silent by then


@dataclass(frozen=True)
class Reference:
    """What was played, at bins of a real transform of ``size`` samples, with its band [Hz].

    ``growth_s`` is L of an exponential sweep; ``None`` for any other signal, whose harmonics cannot be told apart.
    """

    spectrum: Complex
    size: int
    sample_rate_hz: float
    low_hz: float
    high_hz: float
    growth_s: float | None


def transform_size(samples: int) -> int:
    """A fast transform length for ``samples`` and a little silence, the same for recordings of nearly one length."""
    blocks = math.ceil((samples + BLOCK // 4) / BLOCK)
    return int(next_fast_len(blocks * BLOCK, real=True))


@lru_cache(maxsize=8)
def _band_window(size: int, rate: float, low_hz: float, high_hz: float) -> tuple[Real, Real, NDArray[np.bool_]]:
    """Frequencies, a window that falls to zero an octave below and an eighth above the band, and what lies inside."""
    frequency: Real = np.fft.rfftfreq(size, 1.0 / rate).astype(np.float64)
    frequency[0] = 0.5 * frequency[1]
    octaves = np.log2(frequency)
    rise = np.clip(octaves - math.log2(low_hz) + 1.0, 0.0, 1.0)
    fall = np.clip((math.log2(high_hz) - octaves) * 8.0 + 1.0, 0.0, 1.0)
    window = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
    window[0] = 0.0
    return frequency, window, (rise >= 1.0) & (fall >= 1.0)


def deconvolve(recorded: Real, reference: Reference) -> Real:
    """Circular response (size,) with time zero at sample 0; ``recorded`` has at most ``size`` samples."""
    size = reference.size
    spectrum = reference.spectrum
    limits = (reference.low_hz, reference.high_hz)
    frequency, window, inside = _band_window(size, reference.sample_rate_hz, *limits)
    energy = spectrum.real**2 + spectrum.imag**2
    if reference.growth_s is not None:
        usual = np.median((energy * frequency)[inside][::16]) / frequency
    else:
        usual = np.full(len(energy), np.median(energy[inside]))
    floor = np.where(inside, REGULARISATION, OUTSIDE) * usual
    quotient = rfft(recorded, n=size)
    quotient *= spectrum.conj()
    quotient *= window / (energy + floor)
    return np.asarray(irfft(quotient, n=size))


def band_means(power: Real, *, sample_rate_hz: float) -> Real:
    """Means of ``power`` (..., bins of a real transform) over third octaves, (..., 31); the nearest bin if none lies in."""
    bins = power.shape[-1]
    step = sample_rate_hz / (2.0 * (bins - 1))
    first = np.clip(np.ceil(THIRDS.lower_hz / step).astype(int), 0, bins - 1)
    last = np.clip(np.ceil(THIRDS.upper_hz / step).astype(int), 0, bins)
    empty = last <= first
    first = np.where(empty, np.clip(np.round(THIRDS.centres_hz / step).astype(int), 0, bins - 1), first)
    last = np.where(empty, first + 1, last)
    total = np.concatenate([np.zeros((*power.shape[:-1], 1)), np.cumsum(power, axis=-1)], axis=-1)
    return np.asarray((total[..., last] - total[..., first]) / (last - first))


def noise_density(response: Real, reference: Reference) -> Real:
    """Power per sample and bin, (31,): E|FFT of n samples of the response's noise|² is n times this, per third octave."""
    rate = reference.sample_rate_hz
    lead = (reference.growth_s or 0.0) * math.log(HIGHEST_ORDER) + 0.15
    start, stop = round(CLEAR_S * rate), len(response) - round(lead * rate)
    part = response[start : max(stop, start + BLOCK // 4)]
    return welch_thirds(part, sample_rate_hz=rate)


def welch_thirds(part: Real, *, sample_rate_hz: float) -> Real:
    """Welch's average (1967) of ``part`` with half-overlapping Hann windows: power per sample and bin in third octaves."""
    length = min(BLOCK, len(part))
    window = np.hanning(length + 1)[:-1]  # periodic
    starts = range(0, len(part) - length + 1, max(length // 2, 1))
    pieces = np.stack([part[at : at + length] for at in starts]) * window
    spectrum = rfft(pieces, n=BLOCK, axis=-1)
    power = np.mean(spectrum.real**2 + spectrum.imag**2, axis=0) / np.sum(window**2)
    return band_means(power, sample_rate_hz=sample_rate_hz)


def distortion_ratio(response: Real, reference: Reference, *, density: Real, orders: int = 5) -> Real | None:
    """Amplitude of harmonics 2 to ``orders`` over the fundamental, per third octave of the fundamental, (31,).

    Noise, as much as may be expected, is taken off. ``None`` where the reference was no exponential sweep, or one so
    short that harmonics and response overlap.
    """
    growth, rate = reference.growth_s, reference.sample_rate_hz
    if growth is None or growth * math.log(orders / (orders - 1)) < 0.03:
        return None
    early = round(0.005 * rate)
    fundamental = _slice_power(response, 0, early, round(0.3 * rate), rate)
    total = np.zeros(len(fundamental))
    log_bands = np.log(THIRDS.centres_hz)
    for order in range(2, orders + 1):
        centre = -round(growth * math.log(order) * rate)
        span = min(0.3, 0.8 * growth * math.log(order / (order - 1)))
        late = round(span * rate)
        power = _slice_power(response, centre, early, late, rate) - SURE * density * (early + late)
        at = log_bands + math.log(order)  # the k-th harmonic of f lies at k f
        moved = np.interp(at, log_bands, np.maximum(power, 0.0))
        total += np.where(at <= math.log(min(0.85 * reference.high_hz, THIRDS.centres_hz[-1])), moved, 0.0)
    return np.asarray(np.sqrt(total / np.maximum(fundamental, 1e-300)))


def _slice_power(response: Real, centre: int, early: int, late: int, rate: float) -> Real:
    index = np.arange(centre - early, centre + late) % len(response)
    return band_means(np.abs(rfft(response[index], n=BLOCK)) ** 2, sample_rate_hz=rate)


def residual(response: Real, reference: Reference) -> NDArray[np.float32]:
    """The part of the recording, (size,), that neither the response nor its harmonics explain: noise, clicks, gaps."""
    rate = reference.sample_rate_hz
    lead = (reference.growth_s or 0.0) * math.log(8.0) + 0.1
    rest = response.astype(np.float32)  # it is only looked at for clicks
    rest[: round(CLEAR_S * rate)] = 0.0
    rest[len(rest) - round(lead * rate) :] = 0.0
    spectrum = rfft(rest)
    spectrum *= reference.spectrum
    return np.asarray(irfft(spectrum, n=reference.size))
