"""Pink noise that repeats without a seam: the same level in every third octave of its band.

Made in the frequency domain: amounts proportional to ``1 / sqrt(f)`` inside the band, phases drawn at random, brought back
by one inverse transform. The period is therefore exactly pink (no ripple of a filter), its two ends fit, and playing it
costs nothing. Over a period much longer than a window it is as good as Gaussian noise, whose peaks stand some 13 dB above
its rms.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["pink_period"]

FADE_OCTAVES = 1.0 / 6.0  #: width of each edge, outside the band; half a cosine


def pink_period(
    *, frames: int, sample_rate_hz: float, low_hz: float, high_hz: float, rms: float, seed: int = 1
) -> NDArray[np.float32]:
    """One period, (frames,), of pink noise between two frequencies, full scale 1.

    Raises ``ValueError`` for a band that is not rising or not below half the rate, fewer than 8 lines in it, or peaks above
    full scale.
    """
    from scipy.fft import irfft  # slow to import

    if not 0.0 < low_hz < high_hz <= 0.5 * sample_rate_hz:
        raise ValueError(f"the band must rise and end below half the rate, got {low_hz} to {high_hz} Hz")
    frequency = np.fft.rfftfreq(frames, 1.0 / sample_rate_hz)
    octaves = np.log2(np.maximum(frequency, 1e-9))
    rise = np.clip((octaves - np.log2(low_hz)) / FADE_OCTAVES + 1.0, 0.0, 1.0)
    fall = np.clip((np.log2(high_hz) - octaves) / FADE_OCTAVES + 1.0, 0.0, 1.0)
    amount = np.sin(0.5 * np.pi * rise) * np.sin(0.5 * np.pi * fall) / np.sqrt(np.maximum(frequency, low_hz / 2.0))
    amount[0] = 0.0
    amount[-1] = 0.0
    if np.count_nonzero(amount) < 8:
        raise ValueError(f"{frames} samples are too few for noise from {low_hz} to {high_hz} Hz")
    phase = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, len(amount))
    made = irfft(amount * np.exp(1j * phase), n=frames)
    made *= rms / np.sqrt(np.mean(made**2))
    peak = float(np.max(np.abs(made)))
    if peak > 1.0:
        raise ValueError(f"at an rms of {rms:g} its peaks reach {peak:.2f} of full scale: choose less")
    return np.asarray(made, dtype=np.float32)
