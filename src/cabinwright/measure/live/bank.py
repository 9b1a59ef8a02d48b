"""Third octaves of a signal that never ends: filters with memory, rates halved octave by octave, energy counted.

A block costs two octaves of filters at the full rate and less than one more for everything below.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.octave_filters import band_sections, halving_sections, plan_bands
from cabinwright.physics.weighting_filters import TIME_CONSTANTS_S

__all__ = ["ThirdOctaveBank"]

Real = NDArray[np.float64]
LONGEST = 4096  #: samples worked on at once; longer blocks are cut


class _Rate:
    """All bands of one rate, and the halving that feeds the next."""

    def __init__(self, index: NDArray[np.intp], centres_hz: Real, rate_hz: float) -> None:
        self.index, self.rate_hz = index, rate_hz
        self._sections = [band_sections(centre_hz=float(centre), sample_rate_hz=rate_hz) for centre in centres_hz]
        self._memory = [np.zeros((len(sections), 2)) for sections in self._sections]
        self._down = halving_sections()
        self._down_memory = np.zeros((len(self._down), 2))
        self._next = 0  #: first sample of the coming block that is kept when the rate is halved
        constants = np.array(list(TIME_CONSTANTS_S.values()))
        ages = np.arange(LONGEST, -1, -1)
        self._kept = np.exp(
            -ages[:, None] / (constants * rate_hz)
        )  #: (ages, F and S): what is left after so many samples
        self._share = 1.0 - self._kept[-2]  #: of one sample

    def feed(self, samples: Real, means: Real, energy: Real) -> None:
        from scipy.signal import sosfilt

        count = len(samples)
        if not count:
            return
        weights = self._kept[-count:] * self._share  # the last sample has age 0
        for number, sections, memory in zip(range(len(self.index)), self._sections, self._memory, strict=True):
            heard, self._memory[number] = sosfilt(sections, samples, zi=memory)
            square = heard * heard
            at = self.index[number]
            means[:, at] = means[:, at] * self._kept[-1 - count] + square @ weights
            energy[at] += square.sum() / self.rate_hz

    def halve(self, samples: Real) -> Real:
        from scipy.signal import sosfilt

        if not len(samples):
            return samples
        low, self._down_memory = sosfilt(self._down, samples, zi=self._down_memory)
        kept = low[self._next :: 2]
        self._next += 2 * len(kept) - len(samples)
        return np.asarray(kept)


class ThirdOctaveBank:
    """Mean squares of every third octave, by time weighting and as energy since the start."""

    def __init__(self, *, sample_rate_hz: float, low_hz: float = 20.0, high_hz: float = 20_000.0) -> None:
        plan = plan_bands(sample_rate_hz=sample_rate_hz, low_hz=low_hz, high_hz=high_hz)
        self.bands = plan.bands
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._means = np.zeros((len(TIME_CONSTANTS_S), len(plan.bands)))
        self._energy = np.zeros(len(plan.bands))
        self._rates = []
        for halvings in range(int(plan.halvings.max()) + 1):
            index = np.flatnonzero(plan.halvings == halvings)
            self._rates.append(_Rate(index, plan.bands.centres_hz[index], plan.rate_hz(halvings)))

    def feed(self, samples: NDArray[np.floating]) -> None:
        """Take the next samples, (frames,), of any number."""
        for start in range(0, len(samples), LONGEST):
            part = np.asarray(samples[start : start + LONGEST], dtype=np.float64)
            self._frames += len(part)
            for number, rate in enumerate(self._rates):
                part = rate.halve(part) if number else part
                rate.feed(part, self._means, self._energy)

    @property
    def time_s(self) -> float:
        """What was heard so far."""
        return self._frames / self._rate_hz

    @property
    def energy(self) -> Real:
        """Sum of squares times the time of a sample [full scale² s], (bands,); its rise between two moments is what came."""
        return self._energy.copy()

    def mean_square(self, constant: str) -> Real:
        """Exponential mean of the square, (bands,), with time constant F or S."""
        return np.asarray(self._means[list(TIME_CONSTANTS_S).index(constant)].copy())
