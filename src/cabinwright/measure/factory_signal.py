"""``factory-signal.wav``: what the car's own radio plays while its outputs are captured, and as functions of time.

Exponential sweeps: left alone, right alone, both; left, then right alone at three rising levels; both on a ladder of five.
The first three play 30 dB below full scale, where limiters rest; the ladders reach almost full scale, as music does. An
output that carries the difference of the sides is silent while both play, and a limiter may mind one side only, so each
climbs alone as well.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import NDArray

from cabinwright.build.checks import HIGHEST
from cabinwright.build.document import Build, Processor
from cabinwright.physics.sweep import Sweep

__all__ = ["LADDER_DB", "SIDE_LADDER_DB", "FactorySignal", "Segment", "factory_files", "make_factory_signal"]

LADDER_DB = (-42.0, -32.0, -22.0, -12.0, -2.0)
SIDE_LADDER_DB = LADDER_DB[-3:]
ALONE_DB = -30.0
BOTH_DB = -36.0  #: coherent on both sides, so a sum of them is as loud as one side alone
ALONE_S, RUNG_S, LEFT_RUNG_S, RIGHT_RUNG_S = (
    6.0,
    4.0,
    3.0,
    2.5,
)  #: of unlike length, so that no ladder is taken for the other
LEAD_S, GAP_S, TAIL_S = 0.5, 0.75, 1.0
LOW_HZ, HIGH_HZ = 7.0, 23_000.0


@dataclass(frozen=True, slots=True)
class Segment:
    """One sweep of the file: when it starts, how loud, and on which sides (1 or 0)."""

    sweep: Sweep
    start_s: float
    level_db: float
    left: float
    right: float

    @property
    def level(self) -> float:
        """Peak, linear full scale."""
        return float(10.0 ** (self.level_db / 20.0))


@dataclass(frozen=True, slots=True)
class FactorySignal:
    """The whole file. ``segments``: left alone, right alone, both, then the ladders of left, of right and of both."""

    sample_rate_hz: int
    segments: tuple[Segment, ...]
    length_s: float

    @property
    def left_ladder(self) -> tuple[Segment, ...]:
        """Left alone, rising."""
        return self.segments[3 : 3 + len(SIDE_LADDER_DB)]

    @property
    def right_ladder(self) -> tuple[Segment, ...]:
        """Right alone, rising."""
        return self.segments[3 + len(SIDE_LADDER_DB) : -len(LADDER_DB)]

    @property
    def ladder(self) -> tuple[Segment, ...]:
        """Both, rising."""
        return self.segments[-len(LADDER_DB) :]

    def samples(self) -> NDArray[np.float64]:
        """Both channels, shape ``(samples, 2)``."""
        wave = np.zeros((round(self.length_s * self.sample_rate_hz), 2))
        for part in self.segments:
            first = round(part.start_s * self.sample_rate_hz)
            last = round((part.start_s + part.sweep.length_s) * self.sample_rate_hz) + 1
            time = np.arange(first, last) / self.sample_rate_hz - part.start_s
            one = part.level * part.sweep.at(time)
            wave[first:last] += one[:, None] * np.array([part.left, part.right])
        return wave


def _sweep(length_s: float, rate: float) -> Sweep:
    high_hz = min(HIGH_HZ, HIGHEST * rate)
    octave_s = length_s / np.log2(high_hz / LOW_HZ)
    return Sweep(LOW_HZ, high_hz, length_s, fade_in_s=float(0.5 * octave_s), fade_out_s=float(octave_s / 16.0))


def make_factory_signal(build: Build) -> FactorySignal:
    """The signal at the processor's rate; the same for every build of that rate."""
    rate = round((build.processor or Processor()).sample_rate_hz)
    plan = [(ALONE_S, ALONE_DB, 1.0, 0.0), (ALONE_S, ALONE_DB, 0.0, 1.0), (ALONE_S, BOTH_DB, 1.0, 1.0)]
    plan += [(LEFT_RUNG_S, level, 1.0, 0.0) for level in SIDE_LADDER_DB]
    plan += [(RIGHT_RUNG_S, level, 0.0, 1.0) for level in SIDE_LADDER_DB]
    plan += [(RUNG_S, level, 1.0, 1.0) for level in LADDER_DB]
    segments, at = [], LEAD_S
    for length_s, level_db, left, right in plan:
        segments.append(Segment(_sweep(length_s, rate), at, level_db, left, right))
        at += length_s + GAP_S
    return FactorySignal(rate, tuple(segments), at - GAP_S + TAIL_S)


def factory_files(build: Build) -> Mapping[str, bytes | str]:
    """``factory-signal.wav`` (24 bit, 2 channels, the same bytes every time) and the page on how to use it."""
    from cabinwright.measure.factory_page import factory_page  # it needs this module's classes

    signal = make_factory_signal(build)
    held = io.BytesIO()
    soundfile.write(held, signal.samples(), signal.sample_rate_hz, format="WAV", subtype="PCM_24")
    return {"factory-signal.wav": held.getvalue(), "factory-signal.html": factory_page(build, signal)}
