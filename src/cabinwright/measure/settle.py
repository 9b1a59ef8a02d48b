"""Fading each response out where it sinks into its noise, band by band.

After Lundeby, Vigran, Bietz and Vorländer 1995 (Uncertainties of measurements in room acoustics, Acustica 81, 344-355): a
decay is worth keeping until it meets the noise. Noise of a deconvolved sweep rises with frequency while bass decays
slowest, so one cut for all would either keep hiss or lose the modes of the cabin; each band gets its own. The bands
add up to one, so nothing changes where nothing is cut.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.measure.deconvolve import THIRDS

__all__ = ["settle"]

Real = NDArray[np.float64]
EDGES_HZ = (70.0, 200.0, 600.0, 1800.0, 5400.0)
OVERLAP_OCTAVES = 0.5
ABOVE_NOISE = 2.0  #: kept while the smoothed power exceeds the noise by this factor
END_FADE_S = 0.03


@lru_cache(maxsize=4)
def _splits(size: int, rate: float) -> tuple[Real, Real]:
    """Gains (bands, bins) that add up to 1, and the same at the centres of third octaves (bands, 31)."""

    def above(frequency: Real, edge_hz: float) -> Real:
        octaves = np.log2(np.maximum(frequency, 1e-3) / edge_hz)
        return np.asarray(np.sin(0.5 * np.pi * np.clip(octaves / OVERLAP_OCTAVES + 0.5, 0.0, 1.0)) ** 2)

    def gains(frequency: Real) -> Real:
        steps = [np.ones_like(frequency), *(above(frequency, edge) for edge in EDGES_HZ), np.zeros_like(frequency)]
        return np.asarray([low - high for low, high in pairwise(steps)])

    return gains(np.fft.rfftfreq(size, 1.0 / rate).astype(np.float64)), gains(THIRDS.centres_hz)


def settle(impulse: Real, *, zero_sample: int, sample_rate_hz: float, density: Real) -> tuple[Real, Real]:
    """``impulse`` (samples,) faded where it is noise, and the expected |FFT|² per bin of the noise left, (31,).

    ``density`` (31,) is the noise's power per sample and bin in third octaves. The signal is looked for after
    ``zero_sample``; before the first sound each band fades in over two of its periods.
    """
    count, rate = len(impulse), sample_rate_hz
    size = next_fast_len(count + 4096, real=True)
    gains, shares = _splits(size, rate)
    end = np.ones(count)
    tail = min(round(END_FADE_S * rate), count // 4)
    end[count - tail :] = _falling(tail)
    pieces = irfft(rfft(impulse, n=size) * gains, n=size, axis=-1)[:, :count]
    kept, left = np.zeros(count), np.zeros(len(density))
    for band, piece in enumerate(pieces):
        low_hz = 20.0 if band == 0 else EDGES_HZ[band - 1]
        level = _band_noise(density, shares[band] ** 2, rate)
        window = _window(piece, zero_sample, rate, low_hz, level) * end
        kept += piece * window
        left += shares[band] * density * np.sum(window**2)
    return kept, left


def _band_noise(density: Real, share: Real, rate: float) -> float:
    """Mean square per sample of the noise that one band holds: its density integrated over frequency (Parseval)."""
    return float(np.sum(density * share * (THIRDS.upper_hz - THIRDS.lower_hz)) * 2.0 / rate)


def _falling(samples: int) -> Real:
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * (np.arange(samples) + 0.5) / max(samples, 1)))


def _window(piece: Real, zero_sample: int, rate: float, low_hz: float, noise: float) -> Real:
    """1 from the first sound to where the band meets its noise; raised-cosine flanks of at least two periods."""
    from scipy.ndimage import uniform_filter1d  # slow to import

    count = len(piece)
    period = rate / low_hz
    smooth = uniform_filter1d(piece**2, size=max(3, int(min(2.0 * period, 0.02 * rate))), mode="constant")
    start = max(0, zero_sample - round(0.002 * rate))
    peak = start + int(np.argmax(smooth[start:]))
    quiet = np.flatnonzero(smooth[peak:] < ABOVE_NOISE * noise)
    knee = _first_lasting(quiet, round(max(period, 0.004 * rate)))
    cut = count if knee is None else peak + knee
    window = np.ones(count)
    if cut < count:
        fade = round(max(2.0 * period, 0.01 * rate, 0.3 * (cut - peak)))
        stop = min(count, cut + fade)
        window[cut:stop] = _falling(fade)[: stop - cut]
        window[stop:] = 0.0
    loud = np.flatnonzero(smooth[: peak + 1] > max(0.01 * smooth[peak], ABOVE_NOISE * noise))
    first = int(loud[0]) if len(loud) else peak
    begin = first - round(max(2.0 * period, 0.002 * rate))
    rise = round(max(2.0 * period, 0.002 * rate))
    if begin > 0 and noise > 0.0:
        lower = max(0, begin - rise)
        window[:lower] = 0.0
        window[lower:begin] = _falling(rise)[::-1][rise - (begin - lower) :]
    return window


def _first_lasting(index: NDArray[np.intp], length: int) -> int | None:
    """Start of the first run of ``length`` neighbouring indices."""
    if len(index) < length:
        return None
    spans = index[length - 1 :] - index[: len(index) - length + 1]
    hits = np.flatnonzero(spans == length - 1)
    return int(index[hits[0]]) if len(hits) else None
