"""What a late copy of a sound does to it: comb dips, and whether it draws the image.

Dips of a copy of the same polarity lie at ``(2 n + 1) / (2 delay)``; with the copy at a part ``r`` of the pressure they are
``20 log10(1 - r)`` deep, the tops ``20 log10(1 + r)`` high. Where over a head's places the dip wanders by less than half a
third octave a filter may help there; where it wanders more, none does.

Precedence, approximate (Blauert 1997, chapter 3.1: summing localisation below about 1 ms; Haas 1951): a copy within 1 ms
shifts the image by its level, one within 30 ms is heard with the direct sound and shifts little.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PULL_DB", "PULL_S", "STAYS_OCTAVES", "dip_hz", "dips_wander", "draws_image", "peak_to_dip_db"]

Real = NDArray[np.float64]
STAYS_OCTAVES = 1.0 / 6.0
PULL_S, PULL_DB = 0.001, -12.0  #: earlier and louder than this it shifts the image noticeably (approximate)


def dip_hz(delay_s: ArrayLike) -> Real:
    """Frequency of the first dip of a copy late by ``delay_s``."""
    return np.asarray(0.5 / np.asarray(delay_s, dtype=np.float64))


def peak_to_dip_db(level_db: ArrayLike) -> Real:
    """Height of the tops over the dips of a comb whose copy lies ``level_db`` below the direct sound."""
    part = np.minimum(10.0 ** (np.asarray(level_db, dtype=np.float64) / 20.0), 0.999)
    return np.asarray(20.0 * np.log10((1.0 + part) / (1.0 - part)))


def dips_wander(delays_s: ArrayLike) -> tuple[float, float, bool]:
    """Lowest and highest first dip in Hz over a head's places, and whether it stays put."""
    dips = dip_hz(delays_s)
    low, high = float(dips.min()), float(dips.max())
    return low, high, bool(np.log2(high / low) < STAYS_OCTAVES)


def draws_image(delay_s: ArrayLike, level_db: ArrayLike) -> NDArray[np.bool_]:
    """Whether copies come early and loud enough to shift the image (approximate)."""
    return np.asarray((np.asarray(delay_s) < PULL_S) & (np.asarray(level_db) > PULL_DB))
