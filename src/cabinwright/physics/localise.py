"""From what two ears tell to where a sound seems to come from: the direction whose cues on a rigid sphere fit best.

In each band the cues of a far source are worked out with the very analysis that the sound goes through (``interaural``), for
directions in front from the left ear to the right. The direction is that at which

    ((time - time of the direction) / TIME_S)^2 + ((level - level of the direction) / LEVEL_DB)^2

is least. Below 1.5 kHz time decides, above it level (duplex theory, Rayleigh 1907; time at low frequencies outweighs the rest,
Wightman & Kistler 1992). How much each counts is our own choice. A sphere tells neither front from back nor height: the answer is
a lateral angle, taken to lie in front at the height of the ears.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.interaural import FINE_BELOW_HZ, Cues, cues
from cabinwright.physics.sphere import sphere_response

__all__ = ["Placed", "lateral_deg", "placed"]

Real = NDArray[np.float64]
TIME_S = (40e-6, 200e-6)  #: below and above ``FINE_BELOW_HZ``
LEVEL_DB = (4.0, 1.5)
STEP_DEG, FINE_DEG = 10.0, 0.5
SAMPLES, LEAD_S = 1024, 0.004
HEARD_FROM_M = 1.0  #: usual in a car
VOICE_HZ = (200.0, 5000.0)  #: bands in which a voice is placed (common practice)
SHARES = (0.16, 0.5, 0.84)


@dataclass(frozen=True, slots=True)
class Placed:
    """One image."""

    at_deg: float  #: weighted median over the bands of a voice; positive to the right
    low_deg: float  #: two thirds of the bands lie between these
    high_deg: float

    @property
    def spread_deg(self) -> float:
        """Half of what lies between ``low_deg`` and ``high_deg``."""
        return 0.5 * (self.high_deg - self.low_deg)


def lateral_deg(heard: Cues, *, sample_rate_hz: float, centres_hz: Real, speed_m_s: float) -> Real:
    """(bands,) lateral angle [deg], positive to the right; NaN where there are no cues."""
    angles, time_s, level_db = _templates(sample_rate_hz, tuple(map(float, centres_hz)), speed_m_s)
    low = (np.asarray(centres_hz) < FINE_BELOW_HZ)[:, None]
    miss = ((heard.time_s[:, None] - time_s) / np.where(low, *TIME_S)) ** 2
    miss += ((heard.level_db[:, None] - level_db) / np.where(low, *LEVEL_DB)) ** 2
    known = np.isfinite(miss).all(axis=1)
    return np.where(known, angles[np.argmin(np.where(np.isfinite(miss), miss, np.inf), axis=1)], np.nan)


def placed(lateral: Real, likeness: Real, *, centres_hz: Real) -> Placed | None:
    """The image of a voice from its bands (bands,), those in which the ears agree counting more; None where none is heard."""
    inside = (centres_hz >= VOICE_HZ[0]) & (centres_hz <= VOICE_HZ[1]) & np.isfinite(lateral)
    weight = np.where(inside, likeness**2, 0.0)
    if not weight.sum() > 0.0:
        return None
    order = np.argsort(np.where(np.isfinite(lateral), lateral, 0.0), kind="stable")
    order = order[weight[order] > 0.0]
    share = np.cumsum(weight[order]) - 0.5 * weight[order]
    low, at, high = np.interp(SHARES, share / weight.sum(), lateral[order])
    return Placed(float(at), float(low), float(high))


@lru_cache(maxsize=8)
def _templates(rate: float, centres_hz: tuple[float, ...], speed_m_s: float) -> tuple[Real, Real, Real]:
    """Angles (n,), and times and levels (bands, n) of a source at each."""
    coarse = np.arange(0.0, 90.0 + STEP_DEG, STEP_DEG)
    frequency = np.fft.rfftfreq(SAMPLES, 1.0 / rate)
    ears = [
        sphere_response(
            frequency_hz=frequency, incidence_deg=90.0 + side * coarse, distance_m=HEARD_FROM_M, speed_m_s=speed_m_s
        )
        for side in (1.0, -1.0)
    ]
    turn = np.exp(-2j * np.pi * frequency * LEAD_S)
    pairs = [np.fft.irfft(np.stack([left, right]) * turn, n=SAMPLES) for left, right in zip(*ears, strict=True)]
    found = [cues(*pair, sample_rate_hz=rate, centres_hz=np.asarray(centres_hz)) for pair in pairs]
    angles = np.arange(-90.0, 90.0 + FINE_DEG, FINE_DEG)
    tables = []
    for rows in (np.array([item.time_s for item in found]), np.array([item.level_db for item in found])):
        tables.append(np.stack([np.sign(angles) * np.interp(np.abs(angles), coarse, row) for row in rows.T]))
    return angles, tables[0], tables[1]
