"""Loopback timing: the recording's second channel is an electrical copy of whatever was played.

Any sweep may have been used, so its band, length and kind are read off the copy: the loudest frequency, frame by frame,
must rise steadily over several octaves and hold the frame's energy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from cabinwright.measure.deconvolve import Reference, transform_size

__all__ = ["Track", "cut_loopback", "follow_sweep", "jump_at"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
FRAME = 1024
ACTIVE_DB = -25.0  #: frames above this, against the loudest, belong to the sweep
OCTAVES = 3.0  #: a sweep covers at least these
PURITY = 0.5  #: share of a frame's energy near its loudest frequency, median
RISING = 0.9  #: share of frames whose frequency is not below the one before
BEFORE_S, AFTER_S = 0.1, 1.2
FADE_S = 0.005
JUMP, JUMP_ALONE = 0.1, 4.0  #: of the sweep's amplitude, and against the largest within 20 ms
HANN = np.hanning(FRAME + 1)[:-1].astype(np.float32)  #: periodic


@dataclass(frozen=True, slots=True)
class Track:
    """A sweep found in one channel; samples are those of the channel."""

    start: int
    stop: int
    growth_s: float | None  #: L of an exponential sweep
    steadiness_db: float  #: spread of the envelope: a copy holds its level, a room does not
    reaches_end: bool  #: it still sounds when the file stops
    opening_hz: float | None  #: its frequency where the file begins, if it already sounds there


def follow_sweep(channel: NDArray[np.float32], *, sample_rate_hz: float) -> Track | str:
    """The sweep in ``channel`` (samples,), or why it is none, in words that follow "channel 2 …"."""
    rate = sample_rate_hz
    count = len(channel) // FRAME
    if count < 8:
        return "is too short to hold a sweep"
    frames = channel[: count * FRAME].reshape(count, FRAME)
    power = np.mean(frames**2, axis=1)
    top = float(np.quantile(power, 0.98)) if count > 50 else float(power.max())
    if top < 1e-9:
        return "is silent"
    active = np.flatnonzero(power > top * 10.0 ** (ACTIVE_DB / 10.0))
    first, last = int(active[0]), int(active[-1])
    spectrum = np.abs(rfft(frames[first : last + 1] * HANN, axis=1)) ** 2
    bins = np.argmax(spectrum[:, 1:], axis=1) + 1
    frequency = bins * rate / FRAME
    near = np.abs(np.arange(spectrum.shape[1]) - bins[:, None]) <= 4 + 0.12 * bins[:, None]
    purity = float(np.median(np.sum(spectrum * near, axis=1) / np.maximum(spectrum.sum(axis=1), 1e-30)))
    rising = float(np.mean(np.diff(frequency) >= -rate / FRAME * 1.01)) if len(bins) > 1 else 0.0
    octaves = math.log2(np.quantile(frequency, 0.99) / max(np.quantile(frequency, 0.01), 1.0))
    if purity < PURITY or rising < RISING or octaves < OCTAVES:
        return "holds no sweep (its loudest frequency does not rise steadily)"
    start, stop = _edges(channel, first, last, top)
    growth, opening = _growth(frequency, rate)
    level = 10.0 * np.log10(np.maximum(power[first + 2 : last - 1], 1e-15))
    steadiness = float(np.subtract(*np.quantile(level, [0.9, 0.1]))) if len(level) > 4 else 99.0
    tail = channel[-round(0.01 * rate) :]
    reaches_end = bool(np.mean(tail**2) > 0.05 * top)
    sounds = bool(np.mean(channel[: round(0.01 * rate)] ** 2) > 0.05 * top)
    return Track(start, stop, growth, steadiness, reaches_end, opening if sounds else None)


def _edges(channel: NDArray[np.float32], first: int, last: int, top: float) -> tuple[int, int]:
    """Where it starts and stops: the first and last samples clearly above silence, near the active frames."""
    begin, end = max(0, (first - 20) * FRAME), min(len(channel), (last + 2) * FRAME)
    loud = np.flatnonzero(np.abs(channel[begin:end]) > 0.005 * math.sqrt(2.0 * top))
    return begin + int(loud[0]), begin + int(loud[-1]) + 1


def _band(spectrum: Complex, step_hz: float, rate: float) -> tuple[float, float]:
    """Where the energy per octave is at least a tenth of its usual value, judged in 24ths of an octave."""
    energy = spectrum.real**2 + spectrum.imag**2
    edges = np.exp(np.arange(math.log(max(5.0, 4.0 * step_hz)), math.log(0.499 * rate), math.log(2.0) / 24.0))
    index = np.unique(np.round(edges / step_hz).astype(int))
    per_octave = np.add.reduceat(energy, index)[:-1] / np.log(index[1:] / index[:-1])
    loud = np.flatnonzero(per_octave > 0.1 * np.median(per_octave))
    return float(index[loud[0]] * step_hz), float(index[loud[-1] + 1] * step_hz)


def _growth(frequency: Real, rate: float) -> tuple[float | None, float]:
    """L, and the frequency at the first frame, from the slope of the logarithm of frequency.

    L is ``None`` where that is no straight line from the tenth bin on (469 Hz at 48 kHz).
    """
    use = (frequency > 10.0 * rate / FRAME) & (frequency < 0.42 * rate)
    if np.count_nonzero(use) < 8:
        return None, float(frequency[0])
    time = np.flatnonzero(use) * FRAME / rate
    slope, offset = np.polyfit(time, np.log(frequency[use]), 1)
    error = np.log(frequency[use]) - slope * time - offset
    if slope <= 0.0 or float(np.std(error)) > 0.06:
        return None, float(frequency[0])
    return float(1.0 / slope), float(np.exp(offset))


def jump_at(copy: NDArray[np.float32], track: Track, *, sample_rate_hz: float) -> int | None:
    """Sample at which the sweep in ``copy`` is not continued: sound was lost or doubled there.

    Three neighbouring samples of a steady tone fix one another, ``x[n+1] + x[n-1] = 2 cos(w) x[n]``; what a slow sweep
    leaves of that is small, and a jump leaves about its own size. It must stand alone: noise and clipping do not.
    """
    from scipy.ndimage import uniform_filter1d  # slow to import

    wave = copy[track.start : track.stop].astype(np.float64)
    if len(wave) < 4 * FRAME:
        return None
    inner, both = wave[1:-1], wave[2:] + wave[:-2]
    span = 33
    turn = uniform_filter1d(inner * both, span) / np.maximum(uniform_filter1d(inner**2, span), 1e-20)
    size = np.sqrt(2.0 * uniform_filter1d(inner**2, 8 * span))
    rest = np.abs(both - np.clip(turn, -2.0, 2.0) * inner) / np.maximum(size, 1e-4 * float(size.max()) + 1e-20)
    edge = FRAME  # the fades at the ends are no tone
    at = edge + int(np.argmax(rest[edge:-edge]))
    away, far = round(0.001 * sample_rate_hz), round(0.02 * sample_rate_hz)
    around = np.concatenate([rest[max(0, at - far) : at - away], rest[at + away : at + far]])
    return track.start + 1 + at if rest[at] > max(JUMP, JUMP_ALONE * float(around.max())) else None


def cut_loopback(
    microphone: NDArray[np.float32], copy: NDArray[np.float32], track: Track, *, sample_rate_hz: float
) -> tuple[Real, Reference, int]:
    """The microphone around the sweep and the copy as its reference, silent outside the sweep; and where that begins."""
    rate = sample_rate_hz
    begin = max(0, track.start - round(BEFORE_S * rate))
    end = min(len(copy), track.stop + round(AFTER_S * rate))
    clean = np.zeros(end - begin)
    fade = round(FADE_S * rate)
    first, last = max(begin, track.start - fade), min(end, track.stop + fade)
    clean[first - begin : last - begin] = copy[first:last]
    size = transform_size(end - begin)
    spectrum = rfft(clean, n=size)
    low_hz, high_hz = _band(spectrum, rate / size, rate)
    reference = Reference(spectrum, size, rate, low_hz, high_hz, track.growth_s)
    return microphone[begin:end].astype(np.float64), reference, begin
