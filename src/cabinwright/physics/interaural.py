"""Time and level between two ears, band by band, of the first sound that an impulse response brings.

Each ear's response goes through gammatone filters (``erb``). In each band the first sound counts fully and what follows less and
less: the weight falls by e over ``HOLD_S`` and ``HOLD_PERIODS`` periods of the band from where the envelope first reaches 30 % of
its peak. That stands for the precedence effect, roughly (the span of summing localisation is about 1 ms, Blauert 1997).

Time is the lag of the highest cross-correlation: of the fine structure below ``FINE_BELOW_HZ``, of the envelopes above, where
the ear follows phase no longer. Where several periods fit between the ears, the peak nearest to the envelopes' is meant.

Signs: positive is to the right. Time: the left ear hears later. Level: the right ear is louder.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.erb import erb_hz, gammatone

__all__ = ["FINE_BELOW_HZ", "Cues", "cues"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
FINE_BELOW_HZ = 1500.0
HOLD_S, HOLD_PERIODS = (
    0.0007,
    1.0,
)  #: so that delays between two loudspeakers move the image as published; docs/theory/voice.md
ONSET = 0.3
LONGEST_LAG_S = 0.0010  #: a head allows 0.8 ms
LAG_STEP_S = 20e-6  #: between which a parabola is laid
LAGS, LAGS_AT_ONCE = round(LONGEST_LAG_S / LAG_STEP_S), 10
REACH_ERB = 6.0  #: how far beside its centre a band is looked at
SILENT = 1e-30


@dataclass(frozen=True, eq=False)
class Cues:
    """What the two ears tell in each band."""

    time_s: Real  #: (bands,) left ear later by this
    level_db: Real  #: (bands,) right ear louder by this
    likeness: Real  #: (bands,) highest cross-correlation, 0 to 1


def cues(left: Real, right: Real, *, sample_rate_hz: float, centres_hz: Real) -> Cues:
    """Cues of a pair of impulse responses (samples,) on one time axis, in bands at ``centres_hz`` (bands,).

    NaN in a band in which one ear is silent. Raises ``ValueError`` where the two differ in length.
    """
    if left.shape != right.shape or left.ndim != 1:
        raise ValueError(f"two responses of one length are compared, got {left.shape} and {right.shape}")
    size = 2 ** int(np.ceil(np.log2(len(left) + 0.05 * sample_rate_hz)))
    spectra = np.fft.rfft(np.stack([left, right]), n=size, axis=-1)
    rows = [_band(spectra, float(centre), sample_rate_hz, size) for centre in centres_hz]
    time_s, level_db, likeness = np.array(rows).reshape(-1, 3).T
    return Cues(time_s, level_db, likeness)


@lru_cache(maxsize=64)
def _filter(centre: float, rate: float, size: int) -> Complex:
    """(1, f): the band's filter. Every pair of ears asks for the same ones."""
    return gammatone(frequency_hz=np.fft.rfftfreq(size, 1.0 / rate), centre_hz=centre)


def _band(spectra: Complex, centre: float, rate: float, size: int) -> tuple[float, float, float]:
    analytic = np.zeros((2, size), dtype=np.complex128)
    analytic[:, : spectra.shape[1]] = spectra * _filter(centre, rate, size)
    ears = np.fft.ifft(analytic, axis=-1)
    ears *= np.sqrt(_weight(np.abs(ears), centre, rate))
    power = np.sum(np.abs(ears) ** 2, axis=1)
    if power.min() <= SILENT * max(1.0, power.max()):
        return float("nan"), float("nan"), 0.0
    envelope_lag, envelope_peak = _lag(np.abs(ears), 0.0, 4.0 * float(erb_hz(centre)), rate, None)
    if centre < FINE_BELOW_HZ:
        lag, peak = _lag(ears, centre, REACH_ERB * float(erb_hz(centre)), rate, envelope_lag)
    else:
        lag, peak = envelope_lag, envelope_peak
    return lag, float(10.0 * np.log10(power[1] / power[0])), peak


def _weight(envelopes: Real, centre: float, rate: float) -> Real:
    """(size,): 1 up to the onset in either ear, falling after it."""
    both = np.sqrt(np.sum(envelopes**2, axis=0))
    start = int(np.argmax(both >= ONSET * both.max()))
    after = np.maximum(np.arange(both.size) - start, 0) / rate
    return np.asarray(np.exp(-after / (HOLD_S + HOLD_PERIODS / centre)))


def _lag(ears: Real | Complex, centre: float, reach: float, rate: float, near: float | None) -> tuple[float, float]:
    """Lag [s] of the left behind the right at the highest correlation, or at the peak nearest to ``near``, and its height."""
    size = ears.shape[1]
    low = max(0, int(np.ceil((centre - reach) * size / rate)))  # envelopes are real: half of their spectrum tells all
    high = min(size // 2, int(np.floor((centre + reach) * size / rate)))
    inside = (np.fft.fft(ears, axis=-1) if np.iscomplexobj(ears) else np.fft.rfft(ears, axis=-1))[:, low : high + 1]
    once = np.ones(high + 1 - low)
    if not np.iscomplexobj(ears):
        once[1:] = 2.0
    cross = once * inside[0] * np.conj(inside[1])
    norm = np.sqrt(np.prod(np.sum(once * np.abs(inside) ** 2, axis=1)))
    lags: Real = np.asarray(LAG_STEP_S * np.arange(-LAGS, LAGS + 1), dtype=np.float64)
    coarse, fine = _turns(low, high, rate / size)
    height = ((coarse * cross) @ fine.T).real.ravel()[: len(lags)] / max(float(norm), SILENT)
    best = int(np.argmax(height))
    if near is not None:
        inner = np.arange(1, len(height) - 1)
        peaks = inner[(height[inner] >= height[inner - 1]) & (height[inner] > height[inner + 1])]
        peaks = peaks[height[peaks] > 0.0]
        if len(peaks):
            best = int(peaks[np.argmin(np.abs(lags[peaks] - near))])
    return _top(lags, height, best)


@lru_cache(maxsize=128)
def _turns(low: int, high: int, step_hz: float) -> tuple[Complex, Complex]:
    """What every tenth lag, and each of the ten from it on, turn the frequencies by: exp(a + b) = exp(a) exp(b)."""
    circle = (2j * np.pi * step_hz) * np.arange(low, high + 1)
    coarse = LAG_STEP_S * np.arange(-LAGS, LAGS + 1)[::LAGS_AT_ONCE]
    return np.exp(np.outer(coarse, circle)), np.exp(np.outer(LAG_STEP_S * np.arange(LAGS_AT_ONCE), circle))


def _top(lags: Real, height: Real, best: int) -> tuple[float, float]:
    """Lag and height of the parabola through the highest value and its neighbours."""
    if not 0 < best < len(height) - 1:
        return float(lags[best]), float(np.clip(height[best], 0.0, 1.0))
    before, here, after = (float(value) for value in height[best - 1 : best + 2])
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float(lags[best]) + shift * LAG_STEP_S, float(np.clip(here - 0.25 * (before - after) * shift, 0.0, 1.0))
