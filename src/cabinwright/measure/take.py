"""From one file to one raw response on its own clock, with all that can be told from that file alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Recording
from cabinwright.errors import RecordingError
from cabinwright.measure import faults
from cabinwright.measure.audio import Audio, read_audio, resample
from cabinwright.measure.deconvolve import (
    Reference,
    deconvolve,
    distortion_ratio,
    noise_density,
    residual,
    welch_thirds,
)
from cabinwright.measure.faults import Fault
from cabinwright.measure.loopback import Track, cut_loopback, follow_sweep, jump_at
from cabinwright.measure.marker import MarkerResponse, cut_marker, find_start
from cabinwright.measure.signal import SweepSignal

__all__ = ["EARLY_S", "LATE_S", "Take", "read_take"]

Real = NDArray[np.float64]
DEAD, ABSURD = 1e-6, 1e3  #: of full scale: a microphone that is not connected, and numbers that are no recording
EARLY_S = 0.06  #: kept before time zero, enough for any shift between clocks
LATE_S = 1.2  #: kept after it
BEFORE_S = 0.025  #: no equipment hears a sweep so long before it is sent
DRIFT_LIMIT = 300e-6
STEADY_DB = 3.0  #: envelope of an electrical copy
CUT = 1.5  #: a recording that opens with the sweep already this far up has missed its start
OPENING_S = 0.05  #: a break this near the file's start is the start
CUT_START = "the recording began after the sweep did: its start is cut off"
SAME = 0.9999
SEVERAL_SWEEPS = (
    "a marker recording is the microphone alone. Export that channel as a mono file, or write timing = "
    '"loopback" if channel 2 is an electrical copy of the sweep.'
)
SEVERAL_IMPULSES = "an impulse file holds one response. Export each as a mono file of its own."


@dataclass(frozen=True)
class Take:
    """One recording. ``raw`` starts ``EARLY_S`` before its own time zero; empty where a fault left nothing to look at."""

    index: int
    recording: Recording
    digest: str
    raw: Real
    density: Real  #: (31,) noise per sample and bin
    distortion: Real | None  #: (31,) harmonics over fundamental
    fault: Fault | None
    drift: float = 0.0
    marker: MarkerResponse | None = None
    clarity: float = 0.0
    unexplained: float = 0.0  #: share of the recording's energy that does not follow the sweep


def read_take(
    build: Build, folder: Path, index: int, recording: Recording, signal: SweepSignal, *, sample_rate_hz: float
) -> Take:
    """Read and deconvolve one recording. Raises ``RecordingError`` where the file cannot be read at all."""
    audio = read_audio(folder, recording.file)
    if recording.kind == "impulse":
        return _impulse(audio, index, recording, sample_rate_hz)
    timing = build.tuning.timing if build.tuning else None
    if timing == "loopback":
        return _loopback(audio, index, recording, signal, sample_rate_hz)
    return _marker(audio, index, recording, signal, sample_rate_hz)


def _nothing(audio: Audio, index: int, recording: Recording, fault: Fault) -> Take:
    return Take(index, recording, audio.digest, np.zeros(0), np.zeros(31), None, fault)


def _no_sweep(reason: str) -> Fault:
    return Fault("recording-no-sweep", reason)


def _impulse(audio: Audio, index: int, recording: Recording, rate: float) -> Take:
    """An impulse response as it stands; another rate changes the weight of a sample."""
    before, after = round(EARLY_S * rate), round(LATE_S * rate)
    first = _one_channel(audio, SEVERAL_IMPULSES)
    limit = round(LATE_S * audio.sample_rate_hz)
    lead = round(EARLY_S * audio.sample_rate_hz)
    padded = np.concatenate([np.zeros(lead, dtype=np.float32), first[:limit]])
    wave = resample(padded, from_hz=audio.sample_rate_hz, to_hz=rate).astype(np.float64) * (audio.sample_rate_hz / rate)
    late = lead * rate / audio.sample_rate_hz - before  # a part of a sample where the rates are not commensurate
    raw = np.zeros(before + after)
    count = min(len(wave), len(raw))
    raw[:count] = wave[:count]
    if abs(late) > 1e-6:
        turn = np.exp(2j * np.pi * np.fft.rfftfreq(len(raw)) * late)
        raw = np.asarray(np.fft.irfft(np.fft.rfft(raw) * turn, n=len(raw)))
    sound = np.flatnonzero(first)
    if not len(sound):
        return _nothing(audio, index, recording, _no_sweep("the impulse response is silent"))
    stop = min(before + round((int(sound[-1]) + 1) * rate / audio.sample_rate_hz), len(raw))
    tail = raw[max(before, stop - max(512, (stop - before) // 4)) : stop]
    density = welch_thirds(tail, sample_rate_hz=rate) if len(tail) >= 64 else np.zeros(31)
    # A bass mode that still rings in the tail is no noise: noise of a deconvolved sweep does not rise towards the bass.
    density = np.minimum(density, 4.0 * np.median(density))
    return Take(index, recording, audio.digest, raw, density, None, faults.clipped_impulse(first))


def _loopback(audio: Audio, index: int, recording: Recording, signal: SweepSignal, rate: float) -> Take:
    if audio.samples.shape[1] < 2:
        reason = "one channel only; a loopback recording has the microphone in channel 1 and the copy in channel 2"
        return _nothing(audio, index, recording, _no_sweep(reason))
    microphone, copy = audio.samples[:, 0], audio.samples[:, 1]
    loudest = float(np.abs(microphone).max(initial=0.0))
    if loudest < DEAD:
        return _nothing(audio, index, recording, _no_sweep("channel 1, the microphone, is silent"))
    if loudest > ABSURD:
        return _nothing(audio, index, recording, _no_sweep(f"samples reach {loudest:.3g} times full scale"))
    track = follow_sweep(copy, sample_rate_hz=audio.sample_rate_hz)
    wrong = _copy_fault(microphone, copy, track, audio, low_hz=signal.sweep.low_hz)
    if wrong is not None:
        return _nothing(audio, index, recording, wrong)
    assert isinstance(track, Track)
    early = (
        faults.clipped(microphone, step=audio.step)
        or _copy_gap(copy, audio, track)
        or _gap(microphone, audio, track.start, track.stop)
    )
    both = resample(audio.samples[:, :2], from_hz=audio.sample_rate_hz, to_hz=rate)
    if audio.sample_rate_hz != rate:
        again = follow_sweep(both[:, 1], sample_rate_hz=rate)
        track = again if isinstance(again, Track) else track
    part, reference, begin = cut_loopback(both[:, 0], both[:, 1], track, sample_rate_hz=rate)
    take = _finish(audio, index, recording, part, reference, early, offset_s=begin / rate)
    if take.fault is not None and track.opening_hz is not None and take.fault.figures.get("gap_at_s", 1.0) < OPENING_S:
        return replace(take, fault=_no_sweep(CUT_START))
    return take


def _copy_fault(
    microphone: NDArray[np.float32], copy: NDArray[np.float32], track: Track | str, audio: Audio, *, low_hz: float
) -> Fault | None:
    """What is wrong with the electrical copy, told apart from its being in the other channel.

    ``low_hz`` is where the build's sweep begins; another one may have been played, if it was played from its start.
    """
    scale = float(np.sqrt(np.sum(microphone**2, dtype=np.float64) * np.sum(copy**2, dtype=np.float64)))
    alike = float(np.sum(microphone * copy, dtype=np.float64)) / scale if scale > 0.0 else 0.0
    if abs(alike) > SAME:
        return _no_sweep("both channels hold the same; the microphone belongs in channel 1, the copy in channel 2")
    if isinstance(track, Track) and track.opening_hz is not None and track.opening_hz > CUT * low_hz:
        return _no_sweep(CUT_START)
    if isinstance(track, Track) and track.steadiness_db < STEADY_DB and not track.reaches_end:
        return None
    other = follow_sweep(microphone, sample_rate_hz=audio.sample_rate_hz)
    if isinstance(other, Track) and other.steadiness_db < STEADY_DB:
        return _no_sweep("channels 1 and 2 are swapped: the electrical copy is in channel 1")
    if isinstance(track, str):
        return _no_sweep(f"channel 2 {track}")
    if track.reaches_end:
        return _no_sweep("the sweep is cut off at the end of the file")
    return None  # an unsteady copy (a filter in its path) still divides out


def _copy_gap(copy: NDArray[np.float32], audio: Audio, track: Track) -> Fault | None:
    found = faults.gap(copy, start=track.start, stop=track.stop, sample_rate_hz=audio.sample_rate_hz, step=audio.step)
    at = None if found else jump_at(copy, track, sample_rate_hz=audio.sample_rate_hz)
    if at is None:
        return found
    at_s = at / audio.sample_rate_hz
    reason = f"samples were lost or doubled {at_s:.2f} s into the recording: the electrical copy jumps"
    return Fault("recording-gap", reason, figures={"gap_at_s": at_s})


def _gap(wave: NDArray[np.float32], audio: Audio, start: int, stop: int) -> Fault | None:
    return faults.gap(wave, start=start, stop=stop, sample_rate_hz=audio.sample_rate_hz, step=audio.step)


def _marker(audio: Audio, index: int, recording: Recording, signal: SweepSignal, rate: float) -> Take:
    wave = _one_channel(audio, SEVERAL_SWEEPS)
    recorded = resample(wave, from_hz=audio.sample_rate_hz, to_hz=rate)
    start = find_start(recorded, signal, sample_rate_hz=rate)
    if isinstance(start, Fault):
        return _nothing(audio, index, recording, start)
    if abs(start.drift) > DRIFT_LIMIT:
        reason = f"the markers are {1e6 * start.drift:+.0f} ppm from their distance: samples were lost or doubled"
        figures = {"clock_drift_ppm": 1e6 * start.drift}
        fault = Fault("recording-gap", reason, round(1e6 * start.drift), 1e6 * DRIFT_LIMIT, "ppm", figures)
        return _nothing(audio, index, recording, fault)
    scale = audio.sample_rate_hz
    first = round((start.begin_s + signal.sweep_s) * scale)
    last = first + round(signal.sweep.length_s * scale)
    early = faults.clipped(wave, step=audio.step) or _gap(wave, audio, max(0, first), last)
    part, reference, begin = cut_marker(recorded, signal, start, sample_rate_hz=rate)
    take = _finish(audio, index, recording, part, reference, early, offset_s=begin / rate)
    return replace(take, drift=start.drift, marker=start.response, clarity=start.clarity)


def _one_channel(audio: Audio, what: str) -> NDArray[np.float32]:
    """The microphone, or the response: the only channel, or the only one that holds anything of its own."""
    columns = audio.samples.T
    if len(columns) == 1:
        return np.ascontiguousarray(columns[0])
    levels = [float(np.mean(column**2, dtype=np.float64)) for column in columns]
    top = max(levels)
    alive = [number for number, level in enumerate(levels) if level > 1e-6 * top] or [0]
    same = all(np.array_equal(columns[alive[0]], columns[number]) for number in alive[1:])
    if not same:
        raise RecordingError(f"{audio.file}: {len(columns)} different channels; {what}")
    return np.ascontiguousarray(columns[alive[0]])


def _finish(
    audio: Audio,
    index: int,
    recording: Recording,
    part: Real,
    reference: Reference,
    early: Fault | None,
    *,
    offset_s: float,
) -> Take:
    """Deconvolve, look for interruptions, keep the part around time zero."""
    rate = reference.sample_rate_hz
    response = deconvolve(part, reference)
    density = noise_density(response, reference)
    distortion = distortion_ratio(response, reference, density=density)
    rest = residual(response, reference)
    unexplained = float(rest @ rest) / max(float(part @ part), 1e-30)
    fault = (
        early or _before_copy(response, rate) or faults.interrupted(part, rest, sample_rate_hz=rate, offset_s=offset_s)
    )
    before, after = round(EARLY_S * rate), min(round(LATE_S * rate), len(response) // 2)
    raw = np.zeros(before + round(LATE_S * rate))
    raw[:before] = response[-before:]
    raw[before : before + after] = response[:after]
    return Take(index, recording, audio.digest, raw, density, distortion, fault, unexplained=unexplained)


def _before_copy(response: Real, rate: float) -> Fault | None:
    """Sound that comes well before the signal that caused it: one of the two was moved."""
    at = int(np.argmax(np.abs(response)))
    early = len(response) - at
    if not round(BEFORE_S * rate) < early < len(response) // 2:
        return None
    near = response[max(0, at - round(0.05 * rate)) : at + round(0.15 * rate)]
    if near @ near < 0.5 * (response @ response):
        return None  # nothing but noise, which is judged elsewhere
    return faults.elsewhere_in_time(-early / rate, limit_s=-BEFORE_S, against="the signal that it is the sound of")
