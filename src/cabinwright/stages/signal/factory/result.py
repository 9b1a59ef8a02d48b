"""What is known of a car's own radio, and the repair."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.physics.filters import Filter, filter_sections, sections_response

__all__ = ["AllPass", "Branch", "Change", "FactoryResult", "OutputFacts"]

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class AllPass:
    """A second-order all-pass that explains most of an output's excess phase."""

    frequency_hz: float
    q: float


@dataclass(frozen=True)
class Change:
    """What becomes of one output at one volume as the signal grows."""

    volume: int | None
    gain_db: float | None  #: against the volume that the repair is made for, median over its band
    contour_db: (
        float | None
    )  #: largest change of shape against that volume, after its gain; null where none is to compare
    contour_hz: float | None  #: where
    linear_to_db: (
        float | None
    )  #: peak below full scale up to which it stays linear; null where not even the lowest rung is
    limited_db: float  #: largest loss at the top of the ladder
    limited_hz: float | None  #: where
    distortion: float | None  #: harmonics over fundamental at the top of the ladder


@dataclass(frozen=True)
class OutputFacts:
    """One output at the volume that the repair is made for."""

    low_hz: float  #: -3 dB against the passband
    high_hz: float
    delay_s: float  #: against the reference output, minimum phase taken off
    polarity: Literal["normal", "inverted"]
    left_db: float  #: how much of left it carries, passband median; at most this where it is noise
    right_db: float
    noise_db: float  #: as a transfer, passband median
    equalisation_db: tuple[float, float]  #: lowest and highest level in its band against the passband
    all_pass: AllPass | None
    phase_left_deg: float  #: excess phase that neither delay nor all-pass explains, rms
    clock_drift_ppm: float
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Branch:
    """One output's way into a side's sum."""

    output: str
    gain_db: float
    polarity: Literal["normal", "inverted"]
    delay_s: float
    filters: tuple[Filter, ...]

    def response(self, frequency_hz: NDArray[np.float64], *, sample_rate_hz: float) -> Complex:
        """Complex response with gain, polarity, delay and filters."""
        bank = sections_response(
            self.sections(sample_rate_hz), frequency_hz=frequency_hz, sample_rate_hz=sample_rate_hz
        )
        sign = -1.0 if self.polarity == "inverted" else 1.0
        turn = np.exp(-2j * np.pi * frequency_hz * self.delay_s)
        return np.asarray(sign * 10.0 ** (self.gain_db / 20.0) * turn * bank)

    def sections(self, sample_rate_hz: float) -> NDArray[np.float64]:
        """All filters in series, shape ``(sections, 6)``."""
        banks = [filter_sections(item, sample_rate_hz=sample_rate_hz) for item in self.filters]
        return np.concatenate(banks) if banks else np.empty((0, 6))


@dataclass(frozen=True)
class FactoryResult:
    """Every output, and the sums that are flat, in time and free of the other side; or why there are none."""

    sample_rate_hz: float
    outputs: dict[str, OutputFacts]
    repair: dict[str, tuple[Branch, ...]]  #: "left", "right"
    volume: int | None  #: the volume that the repair is made for
    ripple_db: float | None  #: largest deviation from flat, 30 Hz to 16 kHz, both sides
    ripple_sides_db: dict[str, float]
    other_side_db: dict[
        str, float
    ]  #: how much of the other side is left in each sum, the worst third octave above mono bass
    mono_below_hz: dict[
        str, float | None
    ]  #: below this a sum carries both sides, because only such outputs reach there
    phase_apart_deg: float | None  #: largest angle between the sums of left and right, 100 Hz to 4 kHz
    holds_to_volume: int | None
    holds_from_volume: int | None
    holds_to_db: float | None  #: peak of the music below full scale, at the volume that the repair is made for
    refused: str | None
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """``signal.factory`` of ``plan.json``."""
        return {
            "outputs": self.outputs,
            "repair": {side: [self._branch(item) for item in rows] for side, rows in self.repair.items()},
            "sample_rate_hz": self.sample_rate_hz,
            "volume": self.volume,
            "ripple_db": self.ripple_db,
            "ripple_sides_db": self.ripple_sides_db,
            "other_side_db": self.other_side_db,
            "mono_below_hz": self.mono_below_hz,
            "phase_apart_deg": self.phase_apart_deg,
            "holds_to_volume": self.holds_to_volume,
            "holds_from_volume": self.holds_from_volume,
            "holds_to_db": self.holds_to_db,
            "refused": self.refused,
        }

    def _branch(self, item: Branch) -> dict[str, Any]:
        return {
            "output": item.output,
            "gain_db": item.gain_db,
            "polarity": item.polarity,
            "delay_s": item.delay_s,
            "sections": item.sections(self.sample_rate_hz).tolist(),
            "filters": [row.to_dict() for row in item.filters],
        }
