"""Markers: found whatever the lead, and the true reason where they are not."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.build.codec import parse
from cabinwright.measure.faults import Fault
from cabinwright.measure.marker import Start, find_start
from cabinwright.measure.signal import SweepSignal, make_sweep

from .rig import RATE, document, record

Array = NDArray[np.float64]
SWEEP_S = 1.5


@cache
def signal() -> SweepSignal:
    return make_sweep(parse(document("marker", sweep_s=SWEEP_S)))


def strong_echo() -> Array:
    """A loudspeaker whose echo, 1.9 ms late, is as loud as its first sound: the search may take either."""
    out = np.zeros(4800)
    rng = np.random.default_rng(2)
    out[300:2000] = rng.normal(size=1700) * np.exp(-np.arange(1700) / 300.0) * 0.02
    out[300], out[391] = 1.0, 1.0
    return out


def heard(rng: np.random.Generator, *, markers: Array | None = None) -> Array:
    impulse = np.zeros(4800)
    impulse[350:400] = np.hanning(50) / 25.0
    return record(signal().samples(), impulse, rng, marker=strong_echo() if markers is None else markers)


def found(recording: Array) -> Start | Fault:
    return find_start(recording.astype(np.float32), signal(), sample_rate_hz=RATE)


def test_no_lead_spoils_a_good_recording() -> None:
    """From nothing to 3 s in odd steps: the two markers must never look different, and the clock runs right."""
    rng = np.random.default_rng(1)
    plain = heard(rng)
    noise = float(np.std(plain[:1500]))
    worst = 0.0
    for lead in range(0, 3 * RATE, 3331):
        start = found(np.concatenate([rng.normal(scale=noise, size=lead), plain]))
        assert isinstance(start, Start), (lead, start)
        worst = max(worst, abs(start.drift))
    assert worst < 1e-6


@pytest.mark.parametrize("echo", [47, 77, 91, 115])
@pytest.mark.parametrize("drift_ppm", [-200.0, 0.0, 200.0])
def test_an_echo_as_loud_as_the_first_sound(echo: int, drift_ppm: float) -> None:
    marker = np.zeros(4800)
    marker[300], marker[300 + echo] = 1.0, 1.0
    impulse = np.zeros(4800)
    impulse[350:400] = np.hanning(50) / 25.0
    for seed in range(3):
        rng = np.random.default_rng(seed)
        start = found(record(signal().samples(), impulse, rng, marker=marker, drift_ppm=drift_ppm))
        assert isinstance(start, Start)
        assert abs(start.drift - 1e-6 * drift_ppm) < 1e-6


def first_sound(recording: Array) -> int:
    return int(np.flatnonzero(np.abs(recording) > 0.1 * np.abs(recording).max())[0])


def cut_start(recording: Array, seconds: float) -> Array:
    return recording[first_sound(recording) + round(seconds * RATE) :]


def cut_end(recording: Array, seconds: float) -> Array:
    return recording[: first_sound(recording) + round(seconds * RATE)]


def lose(recording: Array, seconds: float) -> Array:
    at = first_sound(recording) + RATE
    return np.delete(recording, slice(at, at + round(seconds * RATE)))


def double(recording: Array, seconds: float) -> Array:
    at = first_sound(recording) + RATE
    return np.concatenate([recording[:at], recording[at - round(seconds * RATE) :]])


@pytest.mark.parametrize(
    ("spoil", "seconds", "code", "words"),
    [
        (cut_start, 0.1, "recording-no-sweep", "began 0.1 s after the first marker"),
        (cut_start, 0.5, "recording-no-sweep", "began 0.5 s after the first marker"),
        (cut_start, 1.5, "recording-no-sweep", "began 1.5 s after the first marker"),
        (cut_end, 0.5, "recording-no-sweep", "ends before the second marker"),
        (cut_end, 1.9, "recording-no-sweep", "ends before the second marker"),
        (lose, 0.006, "recording-gap", "6.0 ms of sound were lost"),
        (lose, 0.1, "recording-gap", "100.0 ms of sound were lost"),
        (double, 0.006, "recording-gap", "6.0 ms of sound were doubled"),
        (double, 0.2, "recording-gap", "200.0 ms of sound were doubled"),
    ],
)
def test_the_true_fault_is_named(spoil: object, seconds: float, code: str, words: str) -> None:
    plain = np.zeros(4800)
    plain[300] = 1.0
    recording = heard(np.random.default_rng(4), markers=plain)
    assert callable(spoil)
    fault = found(spoil(recording, seconds))
    assert isinstance(fault, Fault)
    assert fault.code == code
    assert words in fault.reason


@pytest.mark.parametrize(
    ("silent", "words"),
    [
        ("first", "holds only the second of the two"),
        ("last", "holds only the first of the two"),
        ("both", "holds neither"),
    ],
)
def test_a_marker_that_did_not_play(silent: str, words: str) -> None:
    plain = np.zeros(4800)
    plain[300] = 1.0
    recording = heard(np.random.default_rng(5), markers=plain if silent != "both" else 0.0 * plain)
    at = first_sound(recording)
    noise = float(np.std(recording[:1500]))
    rng = np.random.default_rng(6)
    if silent == "first":
        recording[at - 480 : at + RATE // 2] = rng.normal(scale=noise, size=480 + RATE // 2)
    if silent == "last":
        end = at + round((SWEEP_S + 1.4) * RATE)
        recording[end:] = rng.normal(scale=noise, size=len(recording) - end)
    fault = found(recording)
    assert isinstance(fault, Fault)
    assert words in fault.reason
