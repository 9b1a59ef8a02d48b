"""Judging a tune from outside: true responses through SciPy's ``sosfilt``, none of the project's own functions.

Everything is judged on a car's true impulse responses and on the settings as ``settings.json`` carries them.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, correlate, sosfilt, sosfiltfilt

from cars import RATE, Car

Array = NDArray[np.float64]
COUNT = 65536
LOW_HZ, HIGH_HZ = 40.0, 12500.0
SUM_LOW_HZ, SUM_HIGH_HZ = 40.0, 500.0
SIDES = ("left", "right")


def played(impulse: Array, names: Sequence[str], settings: Mapping[str, Any]) -> Array:
    """Responses ``(channels, ..., samples)`` with the processor: sections, gain, polarity, delay (a phase ramp)."""
    rows = {row["name"]: row for row in settings["channels"]}
    out = np.empty_like(impulse)
    samples = impulse.shape[-1]
    f = np.fft.rfftfreq(2 * samples, 1.0 / settings["sample_rate_hz"])
    for index, name in enumerate(names):
        row = rows[name]
        sections = np.asarray(row["sections"], dtype=float).reshape(-1, 6)
        heard = sosfilt(sections, impulse[index]) if len(sections) else impulse[index]
        sign = -1.0 if row["polarity"] == "inverted" else 1.0
        turn = sign * 10.0 ** (row["gain_db"] / 20.0) * np.exp(-2j * np.pi * f * row["delay_s"])
        out[index] = np.fft.irfft(np.fft.rfft(heard, 2 * samples) * turn)[..., :samples]
    return out


def members(car: Car, side: str, *, centre: bool = True) -> list[int]:
    """Channels that sound when only ``side`` plays."""
    wanted = (side, "centre") if centre else (side,)
    return [i for i, item in enumerate(car.loudspeakers) if item.side in wanted]


def bands(per_octave: int) -> Array:
    """Centres of the fractional-octave bands inside 40 Hz to 12.5 kHz, base-ten ratio."""
    step = 0.3 / per_octave
    order = np.arange(np.ceil(np.log10(LOW_HZ / 1000.0) / step - 0.01), np.log10(HIGH_HZ / 1000.0) / step + 0.01)
    return 1000.0 * 10.0 ** (order * step)


def band_levels_db(impulse: Array, per_octave: int) -> Array:
    """Mean power over places (axis 0), then in bands."""
    power = (np.abs(np.fft.rfft(impulse, COUNT)) ** 2).mean(axis=0)
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    half = 10.0 ** (0.15 / per_octave)
    means = [power[(f >= c / half) & (f < c * half)].mean() for c in bands(per_octave)]
    return 10.0 * np.log10(means)


def house_db(car: Car, frequency_hz: Array) -> Array:
    points = np.asarray(car.house_curve)
    return np.interp(np.log(frequency_hz), np.log(points[:, 0]), points[:, 1])


@dataclass(frozen=True)
class SideScore:
    """One side against the house curve at places nobody measured."""

    error_db: float
    unavoidable_db: float  #: between averages over measured and over unmeasured places, same settings

    @property
    def excess_db(self) -> float:
        return self.error_db - self.unavoidable_db

    @property
    def quadrature_db(self) -> float:
        return float(np.sqrt(max(self.error_db**2 - self.unavoidable_db**2, 0.0)))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def side_scores(
    car: Car,
    settings: Mapping[str, Any],
    *,
    per_octave: int = 3,
    centre: bool = True,
    one_offset: bool = False,
    low_hz: float = LOW_HZ,
) -> dict[str, SideScore]:
    """Per side; ``one_offset`` moves the house curve once for both sides instead of once for each."""
    at = played(car.measured, car.channels, settings)
    away = played(car.unmeasured, car.channels, settings)
    f = bands(per_octave)
    use = f >= low_hz * 0.99
    target = house_db(car, f)[use]
    errors, spreads = {}, {}
    for side in SIDES:
        chosen = members(car, side, centre=centre)
        if not chosen:
            continue
        near = band_levels_db(at[chosen].sum(axis=0), per_octave)[use]
        far = band_levels_db(away[chosen].sum(axis=0), per_octave)[use]
        errors[side], spreads[side] = far - target, far - near
    shift = {side: np.mean(list(errors.values())) if one_offset else errors[side].mean() for side in errors}
    return {s: SideScore(_rms(errors[s] - shift[s]), _rms(spreads[s] - spreads[s].mean())) for s in errors}


def arrival_differences_s(car: Car, settings: Mapping[str, Any]) -> dict[str, float]:
    """Left minus right at the true head centre, by several estimators, on each side's own loudspeakers.

    ``direct``: cross-correlation, 500 Hz to 4 kHz, of what would arrive without walls; this one has no ambiguity.
    In the car itself: ``correlation`` of everything, ``first`` of the first 3 ms after onset, ``phat`` with whitened
    spectra (Knapp and Carter 1976), ``onset``: first crossing of -15 dB of the peak, ``centroid``: centre of energy of
    the 2 ms from that onset. Reflections pull each of these its own way.
    """
    band = butter(2, (500.0, 4000.0), "bandpass", fs=RATE, output="sos")

    def sides(impulse: Array) -> list[Array]:
        heard = played(impulse, car.channels, settings)
        own = [heard[members(car, side, centre=False)].sum(axis=0) for side in SIDES]
        # Zero-phase filtering moves no arrival; the padding keeps its ringing off the edges.
        return [sosfiltfilt(band, np.pad(side, (512, 0))) for side in own]

    wide = sides(car.centre)
    starts = [_onset(side) for side in wide]
    first = [_window(side, start, 0.003) for side, start in zip(wide, starts, strict=True)]
    return {
        "direct": _lag(*sides(car.direct)),
        "correlation": _lag(*wide),
        "first": _lag(*first),
        "phat": _lag(*wide, whiten=True),
        "onset": (starts[0] - starts[1]) / RATE,
        "centroid": _centroid(wide[0], starts[0]) - _centroid(wide[1], starts[1]),
    }


def _onset(signal: Array, down_db: float = 15.0) -> float:
    """First crossing of ``down_db`` below the peak, between samples by a straight line."""
    limit = np.abs(signal).max() * 10.0 ** (-down_db / 20.0)
    index = int(np.argmax(np.abs(signal) >= limit))
    before, after = np.abs(signal[index - 1]), np.abs(signal[index])
    return index - 1 + (limit - before) / (after - before)


def _window(signal: Array, start: float, length_s: float) -> Array:
    t = (np.arange(len(signal)) - start) / RATE
    rise = np.clip((t + 0.0005) / 0.0005, 0.0, 1.0)
    fall = np.clip((length_s + 0.001 - t) / 0.001, 0.0, 1.0)
    return signal * rise * 0.5 * (1.0 - np.cos(np.pi * fall))


def _centroid(signal: Array, start: float, length_s: float = 0.002) -> float:
    t = np.arange(len(signal))
    energy = signal**2 * ((t >= start) & (t < start + length_s * RATE))
    return float((energy * t).sum() / energy.sum() / RATE)


def _lag(left: Array, right: Array, *, whiten: bool = False, limit_s: float = 0.004) -> float:
    """Seconds by which ``left`` comes later, at the peak magnitude of the cross-correlation, between samples."""
    if whiten:
        f = np.fft.rfftfreq(2 * len(left), 1.0 / RATE)
        cross = np.fft.rfft(left, 2 * len(left)) * np.conj(np.fft.rfft(right, 2 * len(left)))
        cross = cross / np.maximum(np.abs(cross), 1e-30) * ((f > 500.0) & (f < 4000.0))
        correlation = np.fft.fftshift(np.fft.irfft(cross))
        lags = np.arange(len(correlation)) - len(correlation) // 2
    else:
        correlation = correlate(left, right, method="fft")
        lags = np.arange(len(correlation)) - (len(right) - 1)
    near = np.abs(lags) <= limit_s * RATE
    correlation, lags = np.abs(correlation[near]), lags[near]
    peak = int(np.clip(np.argmax(correlation), 1, len(correlation) - 2))
    a, b, c = correlation[peak - 1 : peak + 2]
    return float((lags[peak] + 0.5 * (a - c) / (a - 2 * b + c)) / RATE)


@dataclass(frozen=True)
class Lost:
    """Coherent level below the best found, dB: by mean power and by mean of levels."""

    power_db: float
    level_db: float


def coherent_losses(car: Car, settings: Mapping[str, Any], *, places: str = "unmeasured") -> dict[str, Lost]:
    """How far the sums from 40 to 500 Hz lie below the best polarities and delays with the same filters.

    ``sub``: the subwoofer alone is moved, judged on everything; ``left`` and ``right``: the same on a side;
    ``all``: every channel that matters below 500 Hz is moved, judged on everything (descent from several starts).
    """
    heard = played(getattr(car, places), car.channels, settings)
    f = np.geomspace(SUM_LOW_HZ, SUM_HIGH_HZ, 121)
    spectra = _at_frequencies(heard, f)
    low = [i for i in range(len(spectra)) if _matters(spectra, i)]
    losses = {}
    subs = [i for i, item in enumerate(car.loudspeakers) if item.role == "subwoofer"]
    if subs:
        losses["sub"] = _search(spectra, f, subs)
        for side in SIDES:
            chosen = members(car, side)
            losses[side] = _search(spectra[chosen], f, [chosen.index(subs[0])])
    if len(low) > 1:
        losses["all"] = _search(spectra, f, low[1:])
    return losses


def _at_frequencies(impulse: Array, f: Array) -> NDArray[np.complex128]:
    """(channels, places, frequencies) by interpolation on a dense transform of the (short) responses."""
    turn = np.exp(-2j * np.pi * np.outer(np.arange(impulse.shape[-1]), f) / RATE)
    return impulse @ turn


def _matters(spectra: NDArray[np.complex128], index: int) -> bool:
    own = (np.abs(spectra[index]) ** 2).mean()
    return bool(own > 0.003 * (np.abs(spectra) ** 2).mean(axis=(1, 2)).max())


def _levels(total: NDArray[np.complex128]) -> tuple[Array, Array]:
    """Mean power and mean of levels over places and frequencies, dB (leading axes kept)."""
    power = np.abs(total) ** 2
    mean = 10.0 * np.log10(power.mean(axis=(-2, -1)))
    return mean, (10.0 * np.log10(power.mean(axis=-2))).mean(axis=-1)


def _search(spectra: NDArray[np.complex128], f: Array, movable: Sequence[int]) -> Lost:
    """Every polarity and delay of ``movable`` within 8 ms either way; one by one in turn where there are several."""
    delays = np.arange(-0.008, 0.0080001, 0.0001)
    moves = np.concatenate([s * np.exp(-2j * np.pi * np.outer(delays, f)) for s in (1.0, -1.0)])
    now = _levels(spectra.sum(axis=0))
    best = list(map(float, now))
    for measure in (0, 1):
        for signs in itertools.product((1.0, -1.0), repeat=len(movable)):
            moved = spectra.copy()
            moved[list(movable)] *= np.asarray(signs)[:, None, None]
            reached = -np.inf
            for _ in range(8 if len(movable) > 1 else 1):
                for index in movable:
                    rest = moved.sum(axis=0) - moved[index]
                    levels = _levels(rest + moved[index] * moves[:, None, :])[measure]
                    moved[index] = moved[index] * moves[int(np.argmax(levels))]
                gained = float(levels.max())
                if gained < reached + 1e-3:
                    break
                reached = gained
            best[measure] = max(best[measure], gained)
    return Lost(best[0] - float(now[0]), best[1] - float(now[1]))


def sides_correlation(car: Car, settings: Mapping[str, Any], low_hz: float = 500.0, high_hz: float = 4000.0) -> float:
    """Normalised cross-correlation of the two sides without walls at its largest magnitude: below zero where they
    oppose each other, so that no image can form between them.
    """
    band = butter(2, (low_hz, high_hz), "bandpass", fs=RATE, output="sos")
    heard = played(car.direct, car.channels, settings)
    left, right = (sosfilt(band, heard[members(car, side, centre=False)].sum(axis=0)) for side in SIDES)
    correlation = correlate(left, right, method="fft") / np.sqrt((left**2).sum() * (right**2).sum())
    return float(correlation[np.argmax(np.abs(correlation))])


def true_arrivals_s(car: Car, settings: Mapping[str, Any]) -> dict[str, float]:
    """When each loudspeaker's direct sound reaches the head: geometry, its own latency and the processor's delay."""
    delays = {row["name"]: row["delay_s"] for row in settings["channels"]}
    away = {item.name: float(np.linalg.norm(item.position_m - car.head_m)) for item in car.loudspeakers}
    return {item.name: away[item.name] / 343.0 + item.latency_s + delays[item.name] for item in car.loudspeakers}


def pair_arrivals_s(car: Car, settings: Mapping[str, Any]) -> dict[str, float]:
    """Left minus right of each pair of like loudspeakers, from ``true_arrivals_s``; nothing in it can be misread."""
    at = true_arrivals_s(car, settings)
    pairs = {item.role for item in car.loudspeakers if item.side != "centre"}
    return {role: at[f"left {role}"] - at[f"right {role}"] for role in sorted(pairs)}


def pair_gains_db(car: Car, settings: Mapping[str, Any]) -> dict[str, float]:
    """Left minus right of each pair's gain, bells left out. Like loudspeakers differ by a few decibels of distance; far
    more than that means that a tune has silenced one of them.
    """
    gains = {row["name"]: row["gain_db"] for row in settings["channels"]}
    pairs = {item.role for item in car.loudspeakers if item.side != "centre"}
    return {role: gains[f"left {role}"] - gains[f"right {role}"] for role in sorted(pairs)}
