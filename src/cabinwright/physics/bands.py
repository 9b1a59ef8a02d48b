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

__all__ = ["OCTAVE_RATIO", "REFERENCE_HZ", "Bands", "nominal_third_hz", "octave_bands"]

OCTAVE_RATIO = 10.0**0.3
REFERENCE_HZ = 1000.0
TENS = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)  #: R10 of ISO 266: what third octaves are called by
NOMINAL = 0.005  #: a nominal frequency lies this near the exact one, as a ratio


@dataclass(frozen=True)
class Bands:
    """Neighbouring bands; each array has shape ``(bands,)`` and rises."""

    centres_hz: NDArray[np.float64]
    lower_hz: NDArray[np.float64]
    upper_hz: NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.centres_hz.size)


def octave_bands(*, fraction: int, low_hz: float, high_hz: float) -> Bands:
    """Every ``1/fraction`` octave band of which a part lies between ``low_hz`` and ``high_hz``.

    Nominal frequencies may be asked for: a limit within 0.5 % of an edge counts as that edge, so thirds from 20 to
    20000 Hz are the 31 bands centred on 19.95 to 19953 Hz. Where that leaves none, the band that holds ``low_hz`` is
    given. Raises ``ValueError`` for a fraction outside 1 to 48 or a range that is not positive and rising.
    """
    if not 1 <= fraction <= 48:
        raise ValueError(f"fraction must lie between 1 and 48, got {fraction}")
    if not 0.0 < low_hz <= high_hz < math.inf:
        raise ValueError(f"low_hz must be positive and not above high_hz, got {low_hz} and {high_hz}")
    shift = 0.0 if fraction % 2 else 0.5
    step = math.log(OCTAVE_RATIO) / fraction
    near = min(0.25, NOMINAL / step)
    first = math.floor(math.log(low_hz / REFERENCE_HZ) / step - shift + 0.5 + near)
    last = max(first, math.ceil(math.log(high_hz / REFERENCE_HZ) / step - shift - 0.5 - near))
    centres = REFERENCE_HZ * OCTAVE_RATIO ** ((np.arange(first, last + 1) + shift) / fraction)
    half = OCTAVE_RATIO ** (0.5 / fraction)
    return Bands(centres_hz=centres, lower_hz=centres / half, upper_hz=centres * half)


def nominal_third_hz(centre_hz: float) -> float:
    """What the third octave around ``centre_hz`` is called by: 1250 for 1258.9 Hz (IEC 61260-1:2014, Annex E)."""
    decade, tenth = divmod(round(10.0 * math.log10(centre_hz)), 10)
    return float(TENS[tenth] * 10.0**decade)
