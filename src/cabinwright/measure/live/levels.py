"""One figure for how loud it is: levels by frequency weighting A, C, Z and time weighting F, S; their maxima and the mean (Leq).

IEC 61672-1:2013. Mean squares in, decibels where they are shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.weighting_filters import TIME_CONSTANTS_S, Weighting, exponential_share, weighting_sections

__all__ = ["LevelMeter", "Levels"]

Real = NDArray[np.float64]
WEIGHTINGS: tuple[Weighting, ...] = ("A", "C", "Z")
SETTLED_S = 0.5  #: the filters' own beginning is not taken for a maximum


@dataclass(frozen=True, slots=True)
class Levels:
    """Mean squares, full scale 1, of one frequency weighting."""

    now: dict[str, float]  #: by time weighting
    highest: dict[str, float]  #: the greatest of them since the start
    mean: float  #: over the whole time


class _Weighted:
    """One frequency weighting."""

    def __init__(self, weighting: Weighting, rate_hz: float) -> None:
        self._sections = weighting_sections(weighting, sample_rate_hz=rate_hz)
        self._memory = np.zeros((len(self._sections), 2))
        self._shares = {
            name: exponential_share(time_constant_s=constant, sample_rate_hz=rate_hz)
            for name, constant in TIME_CONSTANTS_S.items()
        }
        self._means = {name: np.zeros(1) for name in self._shares}
        self.restart()

    def restart(self) -> None:
        self.sum, self.frames = 0.0, 0
        self.highest = dict.fromkeys(self._shares, 0.0)

    def feed(self, samples: Real, settled: bool) -> None:
        from scipy.signal import lfilter, sosfilt

        heard, self._memory = sosfilt(self._sections, samples, zi=self._memory)
        square = heard * heard
        self.sum += float(square.sum())
        self.frames += len(square)
        for name, share in self._shares.items():
            mean, self._means[name] = lfilter([share], [1.0, share - 1.0], square, zi=self._means[name])
            if settled:
                self.highest[name] = max(self.highest[name], float(mean.max()))

    def levels(self) -> Levels:
        # What the filter holds for its next sample is the mean less the share that has not come yet.
        now = {name: float(held[0]) / (1.0 - self._shares[name]) for name, held in self._means.items()}
        return Levels(now, dict(self.highest), self.sum / max(self.frames, 1))


class LevelMeter:
    """All weightings of one signal."""

    def __init__(self, *, sample_rate_hz: float) -> None:
        self._rate_hz = sample_rate_hz
        self._weighted = {name: _Weighted(name, sample_rate_hz) for name in WEIGHTINGS}
        self._heard = self._began = 0

    def feed(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples, (frames,)."""
        data = np.asarray(samples, dtype=np.float64)
        if not len(data):
            return
        self._heard += len(data)
        for weighted in self._weighted.values():
            weighted.feed(data, self._heard > SETTLED_S * self._rate_hz)

    def restart(self) -> None:
        """Mean and maxima begin anew; filters and time weightings run on."""
        self._began = self._heard
        for weighted in self._weighted.values():
            weighted.restart()

    @property
    def time_s(self) -> float:
        """How long the mean is."""
        return (self._heard - self._began) / self._rate_hz

    def levels(self) -> dict[str, Levels]:
        """By frequency weighting."""
        return {name: weighted.levels() for name, weighted in self._weighted.items()}
