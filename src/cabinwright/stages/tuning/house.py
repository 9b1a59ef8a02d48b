"""The house curve: what level the listener is to hear at each frequency."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build

__all__ = ["DEFAULT_CURVE", "house_curve_db"]

Real = NDArray[np.float64]

#: Our own default: bass lifted by 9 dB below 60 Hz, level from 160 Hz to 1 kHz, then falling gently. It lies inside the range
#: that practice uses in cars (bass +6 to +15 dB, treble 0 to -2 dB per octave; common practice, no source).
DEFAULT_CURVE: tuple[tuple[float, float], ...] = (
    (20.0, 9.0),
    (60.0, 9.0),
    (160.0, 1.0),
    (300.0, 0.0),
    (1000.0, 0.0),
    (4000.0, -1.5),
    (10000.0, -4.0),
    (20000.0, -6.5),
)


def house_curve_db(build: Build, frequency_hz: Real) -> tuple[Real, str]:
    """Curve at ``frequency_hz``, straight lines over log frequency, flat outside its ends; and where it comes from."""
    tuning = build.tuning
    points, source = DEFAULT_CURVE, "our default (common practice, no source)"
    if tuning is not None and tuning.house_curve:
        points, source = tuning.house_curve, "the build"
    table = np.asarray(sorted(points), dtype=np.float64)
    return np.interp(np.log(frequency_hz), np.log(table[:, 0]), table[:, 1]), source
