"""Everything that the live view shows, from blocks of samples and nothing else: no device, no clock, no thread.

    engine = Engine(sample_rate_hz=48_000, unit_level_db=None)
    engine.feed(microphone, reference)       # blocks of any length; reference None: nothing to compare with
    engine.frame()                           # what a screen draws, in decibels

Memory does not grow: averages are sums, and four seconds of both signals are kept for finding the delay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.calibration import Calibration
from cabinwright.measure.live.bank import ThirdOctaveBank
from cabinwright.measure.live.corrected import Corrected
from cabinwright.measure.live.levels import LevelMeter
from cabinwright.measure.live.moving import MovingAverage, SpaceAverage
from cabinwright.measure.live.spectra import Averaging, Spectra
from cabinwright.measure.live.thinned import Thinned, TransferCurves
from cabinwright.physics.octave_filters import averaging_bandwidth_hz

__all__ = ["SHOWN", "Engine", "Frame", "decibels"]

Real = NDArray[np.float64]
RECENT_S = 4.0
FLOOR = 1e-10  #: rms of noise that is added: filters that fade into denormal numbers cost a hundred times as much
SHOWN = ("F", "S", "mean")  #: how third octaves are averaged


def decibels(mean_square: Real | float, unit_level_db: float | None) -> Real:
    """Level [dB re 20 µPa, or re an rms of 1 at full scale where nothing was calibrated]; -inf for nothing."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(mean_square, dtype=np.float64)) + (unit_level_db or 0.0))


@dataclass(frozen=True)
class Frame:
    """One picture. Levels in dB as ``decibels`` has them."""

    time_s: float  #: heard so far
    levels_db: dict[str, float]  #: "AF", "AS", "AF max", "AS max", "A mean", and the same for C and Z
    mean_time_s: float  #: how long the means are
    peak_db: float  #: the highest sample that the converter gave, re full scale
    centres_hz: Real  #: (bands,)
    thirds_db: Real  #: (bands,)
    narrow_hz: Real  #: (points,)
    narrow_db: Real
    narrow_averages: float  #: independent ones
    transfer: TransferCurves | None
    average_db: Real | None  #: (bands,) of the moved microphone, while there is one
    average_low_db: Real | None  #: relative to it
    average_high_db: Real | None
    average: SpaceAverage | None


class Engine:
    """One microphone, and what it is compared with."""

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        unit_level_db: float | None = None,
        calibration: Calibration | None = None,
        size: int = 16_384,
    ) -> None:
        self.sample_rate_hz, self.unit_level_db = sample_rate_hz, unit_level_db
        self._corrected = Corrected(calibration, sample_rate_hz=sample_rate_hz) if calibration else None
        self.bank = ThirdOctaveBank(sample_rate_hz=sample_rate_hz)
        self.meter = LevelMeter(sample_rate_hz=sample_rate_hz)
        self.spectra = Spectra(sample_rate_hz=sample_rate_hz, size=size, hop=size // 8)
        self._thinned = Thinned(self.spectra.frequency_hz)
        self._recent = np.zeros((2, round(RECENT_S * sample_rate_hz)), dtype=np.float32)
        self._heard, self.peak = 0, 0.0
        self._floor = np.random.default_rng(0).normal(scale=FLOOR, size=4096)
        self._mean_from, self._mean_from_s = self.bank.energy, 0.0
        self._energy = self.bank.energy
        self._moving: MovingAverage | None = None
        self.shown = "F"

    def feed(self, microphone: NDArray[np.floating], reference: NDArray[np.floating] | None = None) -> None:
        """Take the next samples of both, (frames,) each."""
        frames = len(microphone)
        if not frames:
            return
        data = np.asarray(microphone, dtype=np.float64) + np.resize(self._floor, frames)
        self.peak = max(self.peak, float(np.max(np.abs(microphone))))
        if self._corrected is not None:
            data = self._corrected.feed(data)
        other = None if reference is None else np.asarray(reference, dtype=np.float64)
        self.bank.feed(data)
        self.meter.feed(data)
        self.spectra.feed(data, other)
        self._heard += frames
        last = min(frames, self._recent.shape[1])
        at = np.arange(self._heard - last, self._heard) % self._recent.shape[1]
        self._recent[0, at] = data[-last:]
        self._recent[1, at] = 0.0 if other is None else other[-last:]
        if self._moving is not None:
            energy = self.bank.energy
            self._moving.add(energy - self._energy, time_s=frames / self.sample_rate_hz)
            self._energy = energy

    # What a person may ask

    def restart(self) -> None:
        """Means and maxima begin anew."""
        self.meter.restart()
        self.peak = 0.0
        self.spectra.restart()
        self._mean_from, self._mean_from_s = self.bank.energy, self.bank.time_s

    def average(self, averaging: Averaging, *, time_constant_s: float = 1.0) -> None:
        """How narrow-band spectrum and transfer function are averaged."""
        self.spectra.average(averaging, time_constant_s=time_constant_s)

    def recent(self) -> Real:
        """Microphone and reference of the last seconds, (2, frames)."""
        heard = min(self._heard, self._recent.shape[1])
        at = np.arange(self._heard - heard, self._heard) % self._recent.shape[1]
        return self._recent[:, at].astype(np.float64)

    def begin_average(self) -> None:
        """Begin to average while the microphone is moved."""
        self._energy = self.bank.energy
        self._moving = MovingAverage(bandwidth_hz=averaging_bandwidth_hz(self.bank.bands))

    def end_average(self) -> SpaceAverage | None:
        """End it; the average as it is now."""
        moving, self._moving = self._moving, None
        return moving.average() if moving is not None else None

    @property
    def averaging(self) -> bool:
        """Whether a moved microphone is being averaged."""
        return self._moving is not None

    # What a screen shows

    def loudness_db(self) -> float:
        """A-weighted level now, time weighting F."""
        return float(decibels(self.meter.levels()["A"].now["F"], self.unit_level_db))

    def thirds(self) -> Real:
        """Mean squares of the third octaves as they are shown."""
        if self.shown == "mean":
            return (self.bank.energy - self._mean_from) / max(self.bank.time_s - self._mean_from_s, 1e-9)
        return self.bank.mean_square(self.shown)

    def levels_db(self) -> dict[str, float]:
        """Every level by its name."""
        told: dict[str, float] = {}
        for name, levels in self.meter.levels().items():
            for constant, value in levels.now.items():
                told[f"{name}{constant}"] = float(decibels(value, self.unit_level_db))
                told[f"{name}{constant} max"] = float(decibels(levels.highest[constant], self.unit_level_db))
            told[f"{name} mean"] = float(decibels(levels.mean, self.unit_level_db))
        return told

    def frame(self) -> Frame:
        """What there is to draw now."""
        unit, narrow, transfer = self.unit_level_db, self.spectra.narrow(), self.spectra.transfer()
        average = self._moving.average() if self._moving is not None else None
        return Frame(
            time_s=self.bank.time_s,
            levels_db=self.levels_db(),
            mean_time_s=self.meter.time_s,
            peak_db=float(decibels(self.peak**2, None)),
            centres_hz=self.bank.bands.centres_hz,
            thirds_db=decibels(self.thirds(), unit),
            narrow_hz=self._thinned.narrow_hz,
            narrow_db=decibels(self._thinned.highest(narrow.mean_square), unit),
            narrow_averages=narrow.independent,
            transfer=self._thinned.transfer(transfer) if transfer is not None else None,
            average_db=decibels(average.mean_square, unit) if average is not None else None,
            average_low_db=average.low_db if average is not None else None,
            average_high_db=average.high_db if average is not None else None,
            average=average,
        )
