"""The measurement signal: what ``sweep.wav`` holds, as samples and as functions of time.

Loopback timing: both channels carry the sweep. One goes to the car, the other straight back into the second input of
the sound card, so that no splitter is needed and the recording holds its own reference.

Marker timing: channel 1 carries the sweep, channel 2 a rising chirp before and a falling chirp after it. They go to one
fixed loudspeaker whatever channel is measured, so a mono recording tells its own start, and how fast its clock ran.
Gaps keep sweep and markers apart by more than half a second of reverberation.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from cabinwright.build.checks import HIGHEST
from cabinwright.build.document import Build, Processor, SweepSettings
from cabinwright.measure.roles import marker_band_hz, marker_speaker
from cabinwright.physics.sweep import Chirp, Sweep

__all__ = ["Markers", "SweepSignal", "make_sweep", "sweep_files"]

LEAD_S = 0.25
TAIL_S = 1.0  #: for the room to fall silent
GAP_S = 0.75
MARKER_S = 0.3
MARKER_BELOW_DB = 6.0  #: markers below the sweep
FADE_IN_OCTAVES = 0.5
FADE_OUT_OCTAVES = 1.0 / 12.0


@dataclass(frozen=True, slots=True)
class Markers:
    """A chirp before and one after the sweep, with the moments at which they start [s after the file's start]."""

    first: Chirp
    last: Chirp
    first_s: float
    last_s: float
    level: float  #: peak, linear full scale
    channel: str  #: the processor channel that plays them; empty where the build has none


@dataclass(frozen=True, slots=True)
class SweepSignal:
    """The whole signal. ``level`` is the sweep's peak, linear full scale; times are seconds after the file's start."""

    sample_rate_hz: int
    sweep: Sweep
    sweep_s: float  #: start of the sweep
    level: float
    length_s: float  #: of the file
    timing: Literal["loopback", "marker"]
    markers: Markers | None

    def samples(self) -> NDArray[np.float64]:
        """Both channels, shape ``(samples, 2)``."""
        time = np.arange(round(self.length_s * self.sample_rate_hz)) / self.sample_rate_hz
        one = self.level * self.sweep.at(time - self.sweep_s)
        if self.markers is None:
            return np.stack([one, one], axis=1)
        marks = self.markers
        two = marks.first.at(time - marks.first_s) + marks.last.at(time - marks.last_s)
        return np.stack([one, marks.level * two], axis=1)


def make_sweep(build: Build) -> SweepSignal:
    """The signal that this build's sweep settings, timing and processor ask for."""
    wish = build.tuning.sweep if build.tuning else SweepSettings()
    timing = (build.tuning.timing if build.tuning else None) or "loopback"
    rate = round((build.processor or Processor()).sample_rate_hz)
    high = min(wish.high_hz, HIGHEST * rate)
    octave_s = wish.length_s / np.log2(high / wish.low_hz)
    sweep = Sweep(
        low_hz=wish.low_hz,
        high_hz=high,
        length_s=wish.length_s,
        fade_in_s=float(min(FADE_IN_OCTAVES * octave_s, 0.25 * wish.length_s)),
        fade_out_s=float(FADE_OUT_OCTAVES * octave_s),
    )
    level = 10.0 ** (wish.level_db / 20.0)
    if timing == "loopback":
        return SweepSignal(rate, sweep, LEAD_S, level, LEAD_S + wish.length_s + TAIL_S, "loopback", None)
    low_hz, high_hz = marker_band_hz(build)
    found = marker_speaker(build)
    start = LEAD_S + MARKER_S + GAP_S
    marks = Markers(
        first=Chirp(low_hz, high_hz, MARKER_S, 0.1 * MARKER_S),
        last=Chirp(high_hz, low_hz, MARKER_S, 0.1 * MARKER_S),
        first_s=LEAD_S,
        last_s=start + wish.length_s + GAP_S,
        level=level * 10.0 ** (-MARKER_BELOW_DB / 20.0),
        channel=found[0] if found else "",
    )
    return SweepSignal(rate, sweep, start, level, marks.last_s + MARKER_S + TAIL_S, "marker", marks)


def sweep_files(build: Build) -> Mapping[str, bytes | str]:
    """``sweep.wav`` (24 bit, 2 channels, the same bytes every time) and the page on how to use it, by file name."""
    from cabinwright.measure.sweep_page import sweep_page  # it needs this module's classes

    signal = make_sweep(build)
    held = io.BytesIO()
    soundfile.write(held, signal.samples(), signal.sample_rate_hz, format="WAV", subtype="PCM_24")
    return {"sweep.wav": held.getvalue(), "sweep.html": sweep_page(build, signal)}
