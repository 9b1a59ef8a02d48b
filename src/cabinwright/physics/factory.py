"""What captures of a car's own radio give: complex transfers of each output from left and right, at each volume."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding

__all__ = ["FactoryCapture", "FactoryResponses", "factory_grid", "transform_bins"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

PER_OCTAVE = 24
LOW_HZ, HIGH_HZ = 10.0, 21_000.0


def transform_bins(sample_rate_hz: float) -> int:
    """Length of the transform whose bins the grid lies on: a power of two, longer than 1.3 s."""
    return int(2 ** np.ceil(np.log2(1.3 * sample_rate_hz)))


def factory_grid(sample_rate_hz: float) -> Real:
    """Frequencies [Hz], about 24 to the octave, each on a bin of a transform of ``transform_bins`` samples."""
    high_hz = min(HIGH_HZ, 0.44 * sample_rate_hz)
    count = int(np.log2(high_hz / LOW_HZ) * PER_OCTAVE)
    step = sample_rate_hz / transform_bins(sample_rate_hz)
    wanted = LOW_HZ * 2.0 ** (np.arange(count + 1) / PER_OCTAVE)
    return np.asarray(np.unique(np.round(wanted / step)) * step)


@dataclass(frozen=True)
class FactoryCapture:
    """One output at one volume. Responses count from the moment the reference output played the same sample.

    ``left`` and ``right``: transfer (F,) with that side of the file playing alone; ``both``: with the same signal on both;
    ``ladder``: the same as ``both`` (rungs, F), at rising levels; ``left_ladder``, ``right_ladder``: one side alone at the
    loudest of them.
    ``noise_db`` (F,): noise of ``left`` in dB, as a transfer.
    """

    output: str
    volume: int | None
    left: Complex
    right: Complex
    both: Complex
    ladder: Complex
    noise_db: Real
    ladder_noise_db: Real  #: (rungs, F)
    distortion: Real  #: (rungs,) harmonics over fundamental, the worst third octave of each rung; NaN where unknown
    clock_drift_ppm: float
    peak: float  #: of full scale
    left_ladder: Complex | None = None  #: (some rungs, F)
    left_ladder_noise_db: Real | None = None
    right_ladder: Complex | None = None
    right_ladder_noise_db: Real | None = None


@dataclass(frozen=True)
class FactoryResponses:
    """Everything read from the captures of a build."""

    sample_rate_hz: float
    frequency_hz: Real  #: (F,)
    ladder_db: tuple[float, ...]  #: level of each rung, dB below full scale, rising
    captures: tuple[FactoryCapture, ...]
    left_out: dict[str, str] = field(default_factory=dict)  #: file: why
    findings: tuple[Finding, ...] = ()
