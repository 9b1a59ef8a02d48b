"""How much later the microphone hears what the reference says.

The response between the two is estimated by dividing their spectra where the reference holds energy, and brought back to
time: a generalised cross-correlation (C. H. Knapp, G. C. Carter, 1976) that a coloured reference does not smear. Its
greatest amount is the delay, to a small part of a sample by interpolation. In a car that is
the strongest arrival, mostly the direct one; a loudspeaker that faces away can make it a reflection.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import RefusedError

__all__ = ["Delay", "find_delay"]

Real = NDArray[np.float64]
FINE = 32  #: parts of a sample
REACH = 64  #: samples on either side that tell what lies between two
FLOOR = 1e-4  #: of the reference's greatest energy, smoothed: below, a line says nothing
SURE_DB = 6.0  #: above what the greatest of so many random samples would reach (common practice, no source)


@dataclass(frozen=True, slots=True)
class Delay:
    """What was found."""

    delay_s: float
    clarity_db: float  #: of the arrival above the rms of everything else


def find_delay(microphone: Real, reference: Real, *, sample_rate_hz: float, limit_s: float = 1.0) -> Delay:
    """The delay of the strongest arrival between 0 and ``limit_s``, from two stretches of equal length, (frames,).

    Raises ``RefusedError`` where no arrival stands out.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    frames = len(microphone)
    size = int(next_fast_len(2 * frames, real=True))
    x, y = rfft(reference, n=size), rfft(microphone, n=size)
    energy = x.real**2 + x.imag**2
    wide = max(8, size // 4096)
    smooth = np.convolve(energy, np.full(wide, 1.0 / wide), mode="same")
    if not smooth.max() > 0.0 or not np.any(microphone):
        raise RefusedError(
            "Nothing is played, or nothing comes back. Play the noise and raise its level until it is heard."
        )
    told = x.conj() * y / np.maximum(smooth, FLOOR * smooth.max())
    lags = min(frames // 2, math.ceil(limit_s * sample_rate_hz)) + 1
    whole = irfft(told, n=size)
    heard = whole[:lags]
    at = int(np.argmax(np.abs(heard)))
    rest = np.delete(heard, slice(max(0, at - 64), at + 65))
    noise = float(np.sqrt(np.mean(rest**2))) if len(rest) else 0.0
    clarity = 20.0 * math.log10(abs(float(heard[at])) / max(noise, 1e-300))
    least = 20.0 * math.log10(math.sqrt(2.0 * math.log(max(lags, 3)))) + SURE_DB
    if clarity < least:
        raise RefusedError(
            f"No arrival stands out: the strongest is {clarity:.0f} dB above the rest, at least {least:.0f} dB are needed. "
            "Raise the noise's level, come nearer with the microphone, or silence what else is heard."
        )
    return Delay(max(0.0, _between(whole, at)) / sample_rate_hz, clarity)


def _between(wave: Real, at: int) -> float:
    """Where the amount is greatest within a sample of ``at``: interpolated by a sinc under a Hann window of 128 samples."""
    fine = np.arange(-FINE, FINE + 1) / FINE
    near = np.arange(-REACH, REACH + 1)
    apart = fine[:, None] - near
    kernel = np.sinc(apart) * np.cos(0.5 * np.pi * apart / (REACH + 1.0)) ** 2
    return float(at + fine[np.argmax(np.abs(kernel @ wave[(at + near) % len(wave)]))])
