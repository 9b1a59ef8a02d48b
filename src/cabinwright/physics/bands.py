"""Fractional-octave bands with exact base-ten frequencies.

IEC 61260-1:2014, section 5: with the octave ratio ``G = 10^(3/10)`` and the bandwidth designator ``1/b``, mid-band
frequencies are ``1000 G^(x/b)`` for odd ``b`` and ``1000 G^((2x+1)/(2b))`` for even ``b`` (x whole), and the edges lie
``G^(±1/(2b))`` from them. For even ``b`` 1000 Hz is therefore a band edge and not a centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["OCTAVE_RATIO", "REFERENCE_HZ", "Bands", "octave_bands"]

OCTAVE_RATIO = 10.0**0.3
REFERENCE_HZ = 1000.0


@dataclass(frozen=True)
class Bands:
    """Neighbouring bands; each array has shape ``(bands,)`` and rises."""

    centres_hz: NDArray[np.float64]
    lower_hz: NDArray[np.float64]
    upper_hz: NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.centres_hz.size)


def octave_bands(*, fraction: int, low_hz: float, high_hz: float) -> Bands:
    """Every ``1/fraction`` octave band whose nominal range meets ``low_hz`` to ``high_hz``.

    The first is the band nearest ``low_hz`` and the last the band nearest ``high_hz`` on the logarithmic axis, so that
    nominal frequencies may be asked for: thirds from 20 to 20000 Hz are the 31 bands from 19.95 to 19953 Hz. Where a
    limit lies on an edge the band inside the range is taken. Raises ``ValueError`` for a fraction outside 1 to 48 or a
    range that is not positive and rising.
    """
    if not 1 <= fraction <= 48:
        raise ValueError(f"fraction must lie between 1 and 48, got {fraction}")
    if not 0.0 < low_hz <= high_hz < math.inf:
        raise ValueError(f"low_hz must be positive and not above high_hz, got {low_hz} and {high_hz}")
    shift = 0.0 if fraction % 2 else 0.5
    step = math.log(OCTAVE_RATIO) / fraction
    near = 1e-9  # a limit exactly on an edge must not fall on either side by rounding
    first = math.floor(math.log(low_hz / REFERENCE_HZ) / step - shift + 0.5 + near)
    last = max(first, math.ceil(math.log(high_hz / REFERENCE_HZ) / step - shift - 0.5 - near))
    centres = REFERENCE_HZ * OCTAVE_RATIO ** ((np.arange(first, last + 1) + shift) / fraction)
    half = OCTAVE_RATIO ** (0.5 / fraction)
    return Bands(centres_hz=centres, lower_hz=centres / half, upper_hz=centres * half)
