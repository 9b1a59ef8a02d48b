"""One capture of a factory output: found in the file, put on one clock, and deconvolved sweep by sweep.

Radio and recorder run on clocks of their own. The sweep is a function of time, so it is evaluated on the recorder's clock
instead of resampling the capture: start and drift come from when each rung of the ladder arrives, in three passes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.measure.deconvolve import (
    THIRDS,
    Reference,
    deconvolve,
    distortion_ratio,
    noise_density,
    transform_size,
)
from cabinwright.measure.factory_signal import FactorySignal, Segment
from cabinwright.physics.factory import factory_grid, transform_bins

__all__ = ["FADE_HZ", "Clock", "SegmentResponse", "Window", "find_clock", "lag_s", "read_segment"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

BEFORE_S, AFTER_S = 0.2, 0.6  #: cut out around a sweep
LONG_S = (0.06, 0.45)  #: kept before and after the peak of a response, for bass
SHORT_S = (0.008, 0.05)  #: for treble, where less is room enough and noise would only add
FADE_HZ = (800.0, 1600.0)  #: from one to the other
CLEAR = 1000.0  #: by how much the right moment stands out of all others, median
SURE = 0.3  #: likeness that only the ladder itself reaches
TIMED = 3  #: the loudest rungs, which tell the clock
REACH_S = 0.012  #: a lag is looked for so far from where the peaks say


@dataclass(frozen=True, slots=True)
class Clock:
    """When the file began on the recorder's clock, and by what part that clock runs fast."""

    begin_s: float
    drift: float
    unsteady_s: float  #: largest deviation of a rung from an even clock


@dataclass(frozen=True, slots=True)
class Window:
    """Where the response of one channel stands, in samples after the sweep's moment."""

    peak: int


@dataclass(frozen=True)
class SegmentResponse:
    """One sweep in one channel: its transfer (F,) counted from when the sweep was played, and its noise power (F,)."""

    transfer: Complex
    noise: Real
    distortion: float  #: harmonics over fundamental in the worst third octave; NaN where unknown
    energy: float  #: of the gated response


def find_clock(channels: NDArray[np.float32], signal: FactorySignal, *, sample_rate_hz: float) -> Clock | None:
    """Start and drift from ``channels`` (samples, 2) at ``sample_rate_hz``; None where no such signal is in it."""
    found = []
    # An output that carries the difference of both sides is silent on the ladder of both: then left's ladder tells.
    for rungs in (signal.ladder, signal.left_ladder):
        for which in (1, 0):
            start = _coarse(channels[:, which], signal, rungs)
            if start is not None:
                found.append((*start, rungs))
        if found and max(found, key=lambda item: item[0])[0] > SURE:
            break
    if not found:
        return None
    _, at, rungs = max(found, key=lambda item: item[0])
    clock = Clock(at / sample_rate_hz, 0.0, 0.0)
    for _ in range(3):
        clock = _refined(channels, rungs[-TIMED:], clock, sample_rate_hz)
    return clock


def _coarse(wave: NDArray[np.float32], signal: FactorySignal, rungs: tuple[Segment, ...]) -> tuple[float, int] | None:
    """How well one of the file's ladders is found (1 is the best there is), and the sample at which the file begins."""
    first = round(rungs[0].start_s * signal.sample_rate_hz)
    last = round((rungs[-1].start_s + rungs[-1].sweep.length_s) * signal.sample_rate_hz) + 1
    template = signal.samples()[first:last, 0].astype(np.float32)
    size = int(next_fast_len(len(wave) + len(template), real=True))
    found = np.abs(irfft(rfft(wave, n=size) * rfft(template, n=size).conj(), n=size))
    at = int(np.argmax(found))
    if found[at] < CLEAR * float(np.median(found)) or found[at] <= 0.0:
        return None
    likeness = float(found[at] / (np.linalg.norm(wave) * np.linalg.norm(template)))
    return likeness, (at if at <= len(wave) else at - size) - first


def _refined(channels: NDArray[np.float32], rungs: tuple[Segment, ...], clock: Clock, rate: float) -> Clock:
    """One pass: when the rungs arrive against the loudest of them."""
    frequency = factory_grid(rate)
    top = [read_segment(channels[:, k], rungs[-1], clock, None, sample_rate_hz=rate) for k in (0, 1)]
    weights = [1.0 / max(item[0].energy, 1e-30) for item in top]
    lags, sure = [0.0], [1.0]
    for rung in rungs[-2::-1]:
        cross = np.zeros(len(frequency), dtype=np.complex128)
        apart = []
        for k in (0, 1):
            part, window = read_segment(channels[:, k], rung, clock, None, sample_rate_hz=rate)
            clear = np.abs(part.transfer) ** 2 > 30.0 * part.noise
            cross += weights[k] * clear * part.transfer * top[k][0].transfer.conj()
            apart.append((window.peak - top[k][1].peak) / rate)
        if not np.any(cross):
            continue
        lags.append(lag_s(cross, frequency, around_s=min(apart, key=abs)))
        sure.append(10.0 ** (rung.level_db / 20.0))
    times = np.array([rungs[-1].start_s, *[rung.start_s for rung in rungs[-2::-1]]])[: len(lags)]
    if len(lags) < 2:
        return clock
    slope, offset = np.polyfit(times, lags, 1, w=np.sqrt(sure))
    rest = float(np.max(np.abs(np.asarray(lags) - slope * times - offset)))
    drift = clock.drift + slope * (1.0 + clock.drift)
    return Clock(clock.begin_s + offset, drift, rest)


def lag_s(cross: Complex, frequency_hz: Real, *, around_s: float = 0.0) -> float:
    """By how much the first of two like responses is later, from their cross spectrum (F,), near ``around_s``."""
    best = around_s
    for reach, count in ((REACH_S, 2401), (1e-5, 201)):
        tried = best + np.linspace(-reach, reach, count)
        score = (np.exp(2j * np.pi * tried[:, None] * frequency_hz) @ cross).real
        best = float(tried[int(np.argmax(score))])
    # What is left is a small angle at each frequency: a straight line through them.
    rest = np.angle(cross * np.exp(2j * np.pi * frequency_hz * best))
    weight = np.abs(cross) * (np.abs(rest) < 1.0)
    turn = 2.0 * np.pi * frequency_hz
    return best - float(np.sum(weight * turn * rest) / max(float(np.sum(weight * turn**2)), 1e-30))


def read_segment(
    wave: NDArray[np.float32],
    segment: Segment,
    clock: Clock,
    window: Window | None,
    *,
    sample_rate_hz: float,
    harmonics: bool = False,
) -> tuple[SegmentResponse, Window]:
    """Deconvolve one sweep of ``wave`` (samples,). ``window`` None: around the response's own peak."""
    rate, slow = sample_rate_hz, 1.0 + clock.drift
    origin = clock.begin_s + segment.start_s * slow
    begin = round((origin - BEFORE_S) * rate)
    end = round((origin + (segment.sweep.length_s + AFTER_S) * slow) * rate)
    size = transform_size(round((segment.sweep.length_s + AFTER_S + BEFORE_S + 0.1) * rate))
    part = np.zeros(end - begin)
    first, last = max(begin, 0), min(end, len(wave))
    if last > first:  # what lies beyond the file is silence
        part[first - begin : last - begin] = wave[first:last]
    time = (np.arange(begin, begin + len(part)) / rate - origin) / slow
    sweep = segment.sweep
    ends = sweep.frequency_hz(np.array([0.5 * sweep.fade_in_s, sweep.length_s - 0.5 * sweep.fade_out_s]))
    band = (float(ends[0]), min(float(ends[1]), 0.49 * rate))
    spectrum = rfft(segment.level * sweep.at(time), n=size)
    reference = Reference(spectrum, size, rate, *band, sweep.growth_s * slow)
    response = deconvolve(part, reference)
    if window is None:
        reach = round(BEFORE_S * rate)
        near = np.concatenate([response[-reach:], response[:reach]])
        window = Window(int(np.argmax(np.abs(near))) - reach)
    density = noise_density(response, reference)
    ratio = distortion_ratio(response, reference, density=density) if harmonics else None
    transfer, noise, energy = _gated(response, window, density, rate, slow)
    worst = float("nan") if ratio is None else _worst(ratio, transfer, noise, rate)
    return SegmentResponse(transfer, noise, worst, energy), window


def _worst(ratio: Real, transfer: Complex, noise: Real, rate: float) -> float:
    """The largest share of harmonics where the output carries the fundamental itself, clear of noise."""
    power = np.abs(transfer) ** 2
    carried = (power > 1e-2 * float(power.max())) & (power > 1e3 * noise)
    centre = THIRDS.centres_hz
    here = np.interp(np.log(centre), np.log(factory_grid(rate)), carried) > 0.99
    here &= (centre >= 25.0) & (centre <= 0.1 * rate)
    return float(ratio[here].max()) if np.any(here) else float("nan")


def _gated(response: Real, window: Window, density: Real, rate: float, slow: float) -> tuple[Complex, Real, float]:
    """Transfer on the grid through a long gate in the bass and a short one in the treble, its noise, its energy."""
    bins = transform_bins(rate)
    frequency = factory_grid(rate)
    index = np.round(frequency * bins / rate).astype(int)
    parts, lengths, energy = [], [], 0.0
    for before_s, after_s in (LONG_S, SHORT_S):
        before, after = round(before_s * rate), round(after_s * rate)
        gate = np.ones(before + after)
        rise, fall = before // 2, after // 3
        gate[:rise] = np.sin(0.5 * np.pi * np.arange(rise) / rise) ** 2
        gate[-fall:] = np.cos(0.5 * np.pi * np.arange(fall) / fall) ** 2
        cut = gate * response[np.arange(window.peak - before, window.peak + after) % len(response)]
        buffer = np.zeros(bins)
        buffer[: len(cut)] = cut
        spectrum = rfft(buffer)[index]
        parts.append(spectrum * np.exp(2j * np.pi * frequency * before / rate))
        lengths.append(float(np.sum(gate**2)))
        energy = max(energy, float(cut @ cut))
    share = np.clip(np.log(frequency / FADE_HZ[0]) / np.log(FADE_HZ[1] / FADE_HZ[0]), 0.0, 1.0)
    transfer = (1.0 - share) * parts[0] + share * parts[1]
    # The recorder's samples are a little off in length; the peak's moment is put back on the radio's clock.
    transfer = transfer * np.exp(-2j * np.pi * frequency * window.peak / (rate * slow))
    length = (1.0 - share) * lengths[0] + share * lengths[1]
    noise = np.interp(np.log(frequency), np.log(THIRDS.centres_hz), density) * length
    return transfer, noise, energy
