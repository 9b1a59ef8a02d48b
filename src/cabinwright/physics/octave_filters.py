"""Third-octave filters after IEC 61260-1:2014, class 1, and the halving of the rate between them.

Each band is a Butterworth band-pass of order 10 (a low-pass of order 5) whose edges lie exactly on those of ``bands``,
taken through the bilinear transform with both edges pre-warped. That transform shears the lower skirt of a band near half
the rate, and a filter whose band is a small part of the rate is costly and coarse. So the two highest octaves run at the
full rate and every octave below at half the rate of the one above: all bands then lie below 0.24 of their rate, but for the
two highest octaves below 0.47.

The low-pass before each halving is elliptic: it is level to 2 thousandths of a decibel in what the lower bands
hear and 90 dB down where its mirror image would fall into them. In between, where nobody listens, it may do as it likes.

A band is left out where its upper edge lies above 0.47 of the rate: at 44.1 kHz the highest is the one at 16 kHz.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.bands import OCTAVE_RATIO, Bands, octave_bands

__all__ = ["ORDER", "BandPlan", "averaging_bandwidth_hz", "band_sections", "halving_sections", "plan_bands"]

Real = NDArray[np.float64]

ORDER = 5  #: of the low-pass that the band-pass is made from; 3 would do for class 1 in the middle, not at the top
HIGHEST = 0.47  #: of the rate, for the upper edge of a band
HALVED = 0.235  #: of its rate, for the upper edge of a band whose rate was halved
RIPPLE_DB, STOPPED_DB = 0.002, 90.0


@dataclass(frozen=True)
class BandPlan:
    """Which third octaves there are, and how often the rate is halved for each."""

    bands: Bands
    halvings: NDArray[np.int64]  #: (bands,)
    sample_rate_hz: float

    def rate_hz(self, halvings: int) -> float:
        """Rate after so many halvings."""
        return float(self.sample_rate_hz / 2**halvings)


def plan_bands(*, sample_rate_hz: float, low_hz: float = 20.0, high_hz: float = 20_000.0) -> BandPlan:
    """Third octaves between two nominal frequencies that fit under half the rate.

    Raises ``ValueError`` where none fits.
    """
    bands = octave_bands(fraction=3, low_hz=low_hz, high_hz=high_hz)
    fit = bands.upper_hz <= HIGHEST * sample_rate_hz
    if not fit.any():
        raise ValueError(f"no third octave from {low_hz} to {high_hz} Hz lies below half of {sample_rate_hz} Hz")
    kept = Bands(bands.centres_hz[fit], bands.lower_hz[fit], bands.upper_hz[fit])
    depth = np.floor(np.log2(HALVED * sample_rate_hz / kept.upper_hz))
    return BandPlan(kept, np.maximum(depth, 0.0).astype(np.int64), sample_rate_hz)


def band_sections(*, centre_hz: float, sample_rate_hz: float) -> Real:
    """Sections ``[b0, b1, b2, a0, a1, a2]``, shape (5, 6), of the third octave around ``centre_hz``.

    Raises ``ValueError`` where its upper edge does not lie below half the rate.
    """
    from scipy.signal import butter  # slow to import

    half = OCTAVE_RATIO ** (1.0 / 6.0)
    if not 0.0 < centre_hz * half < 0.5 * sample_rate_hz:
        raise ValueError(f"the band's upper edge must lie below half the rate, got {centre_hz * half:.0f} Hz")
    edges = (centre_hz / half, centre_hz * half)
    return np.asarray(butter(ORDER, edges, btype="bandpass", fs=sample_rate_hz, output="sos"))


@lru_cache(maxsize=1)
def _halving() -> Real:
    from scipy.signal import ellip, ellipord

    # Of the rate before it is halved: what is kept, and the mirror of that about half the new rate.
    order, edge = ellipord(HALVED / 2.0, 0.5 - HALVED / 2.0, RIPPLE_DB, STOPPED_DB, fs=1.0)
    return np.asarray(ellip(order, RIPPLE_DB, STOPPED_DB, edge, fs=1.0, output="sos"))


def halving_sections() -> Real:
    """Sections, shape (sections, 6), of the low-pass before every second sample is left out; the same at every rate."""
    return _halving().copy()


def averaging_bandwidth_hz(bands: Bands) -> Real:
    """Noise bandwidth [Hz] of each filter: (pi / 2n) / sin(pi / 2n) times the band's, for a Butterworth of order n."""
    share = math.pi / (2 * ORDER)
    return np.asarray((bands.upper_hz - bands.lower_hz) * share / math.sin(share))
