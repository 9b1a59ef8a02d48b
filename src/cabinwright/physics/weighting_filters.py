"""Frequency weighting A, C and Z of sound level meters as digital filters, and their time weighting F and S.

The poles are those of IEC 61672-1:2013, Annex E (see ``weighting``). Low ones go through the bilinear transform, which
hardly moves them. The double pole near 12 kHz would be bent there, so it is kept where it is by ``exp(-2 pi f T)``, and a
numerator of second order is chosen so that the level is right at 0 Hz, at a quarter of the rate and at half the rate (M.
Vicanek, "Matched second order digital filters", 2016: the method). What is left at 48 kHz: 0.1 dB up to 12.5 kHz, 0.4 dB at
16 kHz, 0.9 dB at 20 kHz, where class 1 allows 2, 2.5 and 3 dB. Z takes nothing away but the converter's own offset: one
pole at 1 Hz.

Time weighting is an exponential mean of the square, with a time constant of 125 ms (F) or 1 s (S); IEC 61672-1:2013, 5.8.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.weighting import BETWEEN_HZ, HIGHEST_HZ, LOWEST_HZ, REFERENCE_HZ

__all__ = ["TIME_CONSTANTS_S", "Weighting", "exponential_share", "weighting_sections"]

Real = NDArray[np.float64]
Weighting = Literal["A", "C", "Z"]

TIME_CONSTANTS_S = {"F": 0.125, "S": 1.0}
OFFSET_HZ = 1.0  #: Z lets everything through but what does not move
MATCHED = 0.25  #: of the rate, where the double pole's level is right besides the two ends
LEAST_RATE_HZ = 32_000.0  #: below it half the rate comes too near to the double pole


def weighting_sections(weighting: Weighting, *, sample_rate_hz: float) -> Real:
    """Sections ``[b0, b1, b2, a0, a1, a2]``, shape (sections, 6), 0 dB at 1 kHz exactly.

    Raises ``ValueError`` for a rate below 32 kHz, or a name that is none of the three.
    """
    from scipy.signal import freqz_sos  # slow to import

    if not sample_rate_hz >= LEAST_RATE_HZ:
        raise ValueError(f"weighting needs a sample rate of at least {LEAST_RATE_HZ:g} Hz, got {sample_rate_hz}")
    if weighting not in ("A", "C", "Z"):
        raise ValueError(f"weighting must be A, C or Z, got {weighting!r}")
    if weighting == "Z":
        numerator, denominator = _high_pass(OFFSET_HZ, sample_rate_hz)
        return np.array([[*numerator, 0.0, *denominator, 0.0]])
    low = _high_pass(LOWEST_HZ, sample_rate_hz)
    sections = [_pair(low, low), _double_low_pass(HIGHEST_HZ, sample_rate_hz)]
    if weighting == "A":
        sections.append(_pair(*(_high_pass(pole, sample_rate_hz) for pole in BETWEEN_HZ)))
    made = np.array(sections)
    _, response = freqz_sos(made, worN=[REFERENCE_HZ], fs=sample_rate_hz)
    made[0, :3] /= abs(response[0])
    return made


def exponential_share(*, time_constant_s: float, sample_rate_hz: float) -> float:
    """Share of one sample in an exponential mean of that time constant. Raises ``ValueError`` for what is not above 0."""
    if not (time_constant_s > 0.0 and sample_rate_hz > 0.0):
        raise ValueError(f"time constant and rate must be above 0, got {time_constant_s} and {sample_rate_hz}")
    return float(-np.expm1(-1.0 / (time_constant_s * sample_rate_hz)))


def _high_pass(frequency_hz: float, rate: float) -> tuple[list[float], list[float]]:
    k = np.tan(np.pi * frequency_hz / rate)
    return [1.0 / (1.0 + k), -1.0 / (1.0 + k)], [1.0, -(1.0 - k) / (1.0 + k)]


def _pair(one: tuple[list[float], list[float]], two: tuple[list[float], list[float]]) -> Real:
    return np.concatenate([np.polymul(one[0], two[0]), np.polymul(one[1], two[1])])


def _double_low_pass(frequency_hz: float, rate: float) -> Real:
    """Two equal poles; squares of level in terms of sin² of half the angle, solved at the three frequencies."""
    pole = np.exp(-2.0 * np.pi * frequency_hz / rate)
    below = np.array([1.0, -2.0 * pole, pole * pole])

    def wanted(at: float) -> float:
        """Square of the numerator's level at this part of the rate."""
        level = 1.0 / (1.0 + (at * rate / frequency_hz) ** 2) ** 2
        return float(abs(np.polyval(below, np.exp(2j * np.pi * at))) ** 2 * level)

    start, end = wanted(0.0), wanted(0.5)
    high = np.sin(np.pi * MATCHED) ** 2
    curve = (wanted(MATCHED) - start * (1.0 - high) - end * high) / (4.0 * high * (1.0 - high))
    both = 0.5 * (np.sqrt(start) + np.sqrt(end))
    first = 0.5 * (both + np.sqrt(both * both + curve))
    return np.array([first, 0.5 * (np.sqrt(start) - np.sqrt(end)), -curve / (4.0 * first), *below])
