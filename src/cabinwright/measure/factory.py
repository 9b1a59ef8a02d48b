"""Captures of a car's own radio, from files to transfers of every output on one common time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.factory import FactoryRecording
from cabinwright.errors import PersonError
from cabinwright.findings import finding
from cabinwright.measure import faults
from cabinwright.measure.audio import Audio, read_audio, resample
from cabinwright.measure.factory_signal import LADDER_DB, SIDE_LADDER_DB, FactorySignal, make_factory_signal
from cabinwright.measure.factory_take import Clock, SegmentResponse, find_clock, lag_s, read_segment
from cabinwright.physics.factory import FactoryCapture, FactoryResponses, factory_grid

__all__ = ["read_factory", "unfit"]

Complex = NDArray[np.complex128]
DEAD = 1e-6  #: of full scale: nothing is connected
DRIFT_LIMIT = 300e-6
UNSTEADY_S = 0.5e-3  #: samples are lost or doubled in blocks longer than this
RAIL = 0.98  #: of full scale: below it a flat top is the radio's own
SNR_DB = 15.0  #: a sweep that is nowhere so far above the noise is not there


@dataclass(frozen=True)
class _Read:
    """One capture on its own time: responses of the output and of the reference to the same sweeps."""

    recording: FactoryRecording
    output: tuple[SegmentResponse, ...]
    reference: tuple[SegmentResponse, ...]
    clock: Clock
    peak: float


def read_factory(build: Build, folder: Path, progress: Callable[[str, float], None]) -> FactoryResponses:
    """Read every ``[[factory_recordings]]``. A capture that cannot be used is left out, with the reason as a finding."""
    signal = make_factory_signal(build)
    rate = float(signal.sample_rate_hz)
    taken: list[_Read] = []
    left_out: dict[str, str] = {}
    for number, item in enumerate(build.factory_recordings):
        progress("reading captures of the radio", number / len(build.factory_recordings))
        try:
            found = _read(item, read_audio(folder, item.file, max_channels=2), signal, rate)
        except PersonError as error:
            found = str(error)
        if isinstance(found, str):
            left_out[item.file] = found
        else:
            taken.append(found)
    frequency = factory_grid(rate)
    captures = tuple(_on_common_time(taken, build.factory_outputs[0].name, frequency)) if taken else ()
    findings = tuple(finding("factory.left_out", where=file, reason=reason) for file, reason in left_out.items())
    return FactoryResponses(rate, frequency, LADDER_DB, captures, left_out, findings)


def unfit(build: Build, folder: Path, item: FactoryRecording) -> str:
    """Why one capture cannot be used; nothing where it can."""
    signal = make_factory_signal(build)
    try:
        found = _read(item, read_audio(folder, item.file, max_channels=2), signal, float(signal.sample_rate_hz))
    except PersonError as error:
        return str(error)
    return found if isinstance(found, str) else ""


def _read(item: FactoryRecording, audio: Audio, signal: FactorySignal, rate: float) -> _Read | str:
    """The responses of one capture, or why there are none."""
    if audio.samples.shape[1] != 2:
        return "one channel only; channel 1 is the output, channel 2 the reference output, recorded at once"
    peaks = np.abs(audio.samples).max(axis=0)
    for which, words in ((0, "channel 1, the output,"), (1, "channel 2, the reference output,")):
        if peaks[which] < DEAD:
            return f"{words} is silent"
        if peaks[which] >= RAIL and faults.clipped(audio.samples[:, which], step=audio.step) is not None:
            return f"{words} is clipped by the recorder; turn its level down and capture all outputs again"
    channels = resample(audio.samples, from_hz=audio.sample_rate_hz, to_hz=rate)
    clock = find_clock(channels, signal, sample_rate_hz=rate)
    if clock is None:
        return "factory-signal.wav is not to be found in it"
    slow = 1.0 + clock.drift
    last = signal.segments[-1]
    first_s = clock.begin_s + signal.segments[0].start_s * slow
    last_s = clock.begin_s + (last.start_s + last.sweep.length_s) * slow
    if first_s < 0.0 or last_s > len(channels) / rate:
        # A ladder that is cut off is taken for another part of itself, so which end is missing cannot be told.
        return "it does not hold all sweeps: the recording began too late or stopped too early"
    if abs(clock.drift) > DRIFT_LIMIT or clock.unsteady_s > UNSTEADY_S:
        return "samples were lost or doubled: the sweeps are not as far apart as in the file"
    both = [_responses(channels[:, which], signal, clock, rate) for which in (0, 1)]
    for which, words in ((0, "channel 1, the output,"), (1, "channel 2, the reference output,")):
        if max(_snr_db(part) for part in both[which]) < SNR_DB:
            return f"{words} holds no sweep"
    return _Read(item, both[0], both[1], clock, float(peaks.max()))


def _responses(
    wave: NDArray[np.float32], signal: FactorySignal, clock: Clock, rate: float
) -> tuple[SegmentResponse, ...]:
    """Every sweep of the file in one channel, through one gate: around the peak of the strongest of the first three."""
    first = [read_segment(wave, part, clock, None, sample_rate_hz=rate) for part in signal.segments[:3]]
    window = max(first, key=lambda pair: pair[0].energy)[1]
    return tuple(
        read_segment(wave, part, clock, window, sample_rate_hz=rate, harmonics=part in signal.ladder)[0]
        for part in signal.segments
    )


def _snr_db(part: SegmentResponse) -> float:
    ratio = np.abs(part.transfer) ** 2 / np.maximum(part.noise, 1e-30)
    return float(10.0 * np.log10(np.quantile(ratio, 0.9) + 1e-30))


def _on_common_time(taken: list[_Read], reference: str, frequency: NDArray[np.float64]) -> list[FactoryCapture]:
    """Every capture counted from one moment: when the reference output's captures are laid over one another."""
    first = next((item for item in taken if item.recording.output == reference), taken[0])
    found = []
    for item in taken:
        # The same volume, where the reference was captured at it: a limiter may turn its phase.
        like = next(
            (
                other
                for other in taken
                if other.recording.output == reference and other.recording.volume == item.recording.volume
            ),
            first,
        )
        late = _late_s(item, like, frequency) + (_late_s(like, first, frequency) if like is not first else 0.0)
        turn = np.exp(2j * np.pi * frequency * late)
        found.append(_capture(item, turn))
    return found


def _late_s(item: _Read, other: _Read, frequency: NDArray[np.float64]) -> float:
    """By how much the reference comes later in ``item`` than in ``other``, both on the time of their own clocks."""
    if item is other:
        return 0.0
    cross = np.zeros(len(frequency), dtype=np.complex128)
    for one, two in zip(item.reference[:3], other.reference[:3], strict=True):
        clear = np.minimum(
            np.abs(one.transfer) ** 2 / np.maximum(one.noise, 1e-30),
            np.abs(two.transfer) ** 2 / np.maximum(two.noise, 1e-30),
        )
        cross += (clear > 30.0) * one.transfer * two.transfer.conj()
    around = _slope_s(cross, frequency)
    return lag_s(cross, frequency, around_s=around)


def _slope_s(cross: Complex, frequency: NDArray[np.float64]) -> float:
    """A first guess of the lag within 0.1 s, from the envelope of the cross spectrum's transform."""
    tried = np.linspace(-0.1, 0.1, 8001)
    return float(tried[int(np.argmax((np.exp(2j * np.pi * tried[:, None] * frequency) @ cross).real))])


def _capture(item: _Read, turn: Complex) -> FactoryCapture:
    high = len(SIDE_LADDER_DB)
    rungs, left, right = slice(-len(LADDER_DB), None), slice(3, 3 + high), slice(3 + high, 3 + 2 * high)
    transfers = [part.transfer * turn for part in item.output]
    noises = [10.0 * np.log10(np.maximum(part.noise, 1e-30)) for part in item.output]
    return FactoryCapture(
        output=item.recording.output,
        volume=item.recording.volume,
        left=transfers[0],
        right=transfers[1],
        both=transfers[2],
        ladder=np.stack(transfers[rungs]),
        noise_db=noises[0],
        ladder_noise_db=np.stack(noises[rungs]),
        distortion=np.array([part.distortion for part in item.output[rungs]]),
        clock_drift_ppm=1e6 * item.clock.drift,
        peak=item.peak,
        left_ladder=np.stack(transfers[left]),
        left_ladder_noise_db=np.stack(noises[left]),
        right_ladder=np.stack(transfers[right]),
        right_ladder_noise_db=np.stack(noises[right]),
    )
