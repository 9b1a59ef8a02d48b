"""Thousands of lines made as few as a screen has columns, without losing a tone or a dip.

The narrow-band spectrum keeps the highest line of each 1/48 octave. The transfer function is averaged over each 1/24 octave,
every line weighed by what the reference holds there: its amount as power, its phase as the angle of the sum, its coherence as
a mean. Low down, where a line is wider than a column, the lines stay as they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.live.spectra import Transfer
from cabinwright.physics.averages import coherence_by_chance, transfer_error

__all__ = ["Thinned", "TransferCurves"]

Real = NDArray[np.float64]
LOW_HZ, HIGH_HZ = 18.0, 22_400.0
NARROW, BROAD = 48, 24  #: columns in an octave
NOTHING_DB = -70.0  #: of the reference against its loudest column: below, there is nothing to compare


@dataclass(frozen=True)
class TransferCurves:
    """A transfer function to draw, (points,); NaN where the reference holds nothing or the coherence may be chance."""

    frequency_hz: Real
    level_db: Real
    phase_deg: Real  #: -180 to 180, the delay taken out
    coherence: Real
    error_db: Real  #: one standard deviation of the level, by its coherence and the averages
    delay_s: float
    independent: float
    least_coherence: float  #: what unrelated signals exceed once in twenty


def _columns(frequency_hz: Real, per_octave: int) -> tuple[NDArray[np.intp], int]:
    """First line of every column that has any, and the line after the last."""
    first, last = np.searchsorted(frequency_hz, [LOW_HZ, HIGH_HZ])
    column = np.floor(per_octave * np.log2(frequency_hz[first:last] / LOW_HZ))
    return np.asarray(first + np.flatnonzero(np.diff(column, prepend=-1.0))), int(last)


class Thinned:
    """For one set of lines."""

    def __init__(self, frequency_hz: Real) -> None:
        self._narrow, self._end = _columns(frequency_hz, NARROW)
        self._broad, _ = _columns(frequency_hz, BROAD)
        self.narrow_hz = self._middle(frequency_hz, self._narrow)
        self.broad_hz = self._middle(frequency_hz, self._broad)

    def _middle(self, frequency_hz: Real, starts: NDArray[np.intp]) -> Real:
        ends = np.append(starts[1:], self._end)
        return np.asarray(np.sqrt(frequency_hz[starts] * frequency_hz[ends - 1]))

    def highest(self, mean_square: Real) -> Real:
        """The highest line of each column."""
        return np.asarray(np.maximum.reduceat(mean_square[: self._end], self._narrow))

    def _sum(self, values: Real) -> Real:
        return np.asarray(np.add.reduceat(values[: self._end], self._broad))

    def transfer(self, full: Transfer) -> TransferCurves:
        """Amount, phase and coherence by columns."""
        weight = full.reference
        there = self._sum(weight)
        whole = np.maximum(there, 1e-300)
        amount = self._sum(weight * np.abs(full.response) ** 2) / whole
        phase = np.degrees(np.arctan2(self._sum(weight * full.response.imag), self._sum(weight * full.response.real)))
        coherence = self._sum(weight * full.coherence) / whole
        least = coherence_by_chance(independent=full.independent)
        lines = np.diff(np.append(self._broad, self._end))
        loud = 10.0 * np.log10(np.maximum(there / lines, 1e-300))
        hidden = (loud < loud.max() + NOTHING_DB) | (coherence <= least)
        share = transfer_error(coherence=coherence, independent=full.independent)
        level = 10.0 * np.log10(np.maximum(amount, 1e-300))
        nothing = np.where(hidden, np.nan, 0.0)
        return TransferCurves(
            frequency_hz=self.broad_hz,
            level_db=level + nothing,
            phase_deg=phase + nothing,
            coherence=np.where(loud < loud.max() + NOTHING_DB, np.nan, coherence),
            error_db=20.0 * np.log10(1.0 + share) + nothing,
            delay_s=full.delay_s,
            independent=full.independent,
            least_coherence=least,
        )
