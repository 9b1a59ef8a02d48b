"""Curves and figures of a finished tune: what was heard before, what is predicted, how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.result import ChannelCurves, SumCurves
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import EVERYTHING, LEFT_SIDE, RIGHT_SIDE
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, Spectra
from cabinwright.stages.tuning.ways import safe_range

__all__ = [
    "Loss",
    "arrival_difference",
    "band_level_db",
    "channel_curves",
    "channel_responses",
    "coherent_loss",
    "rms_error_db",
    "sum_curves",
    "sum_levels_db",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


def channel_responses(problem: Problem, settings: Settings, shift_s: Real) -> Complex:
    """(channels, sub-bands): what the processor does, turned to match spectra with ``shift_s`` taken out."""
    freq = problem.spectra.frequency_hz
    rows = [
        settings.channel(name).response(freq, sample_rate_hz=settings.sample_rate_hz) for name in problem.channels
    ]
    return np.stack(rows) * np.exp(-2j * np.pi * freq[None, :] * shift_s[:, None])


def band_level_db(power: Real) -> Real:
    """(..., groups) level of (..., sub-bands) power: mean over the sub-bands of each twelfth octave."""
    grouped = power.reshape(*power.shape[:-1], -1, BANDS_PER_GROUP).mean(axis=-1)
    return np.asarray(10.0 * np.log10(np.maximum(grouped, 1e-30)))


def sum_levels_db(problem: Problem, settings: Settings, name: str) -> tuple[Real, Real]:
    """Level of one sum: (groups,) spatial average and (positions, groups) with NaN where a recording is missing."""
    members = problem.members(name)
    response = channel_responses(problem, settings, problem.spectra.shift_s)[members]
    whole = problem.present[members].all(axis=0)
    out = np.full((problem.present.shape[1], len(problem.spectra.group_hz)), np.nan)
    power = np.zeros(len(problem.spectra.frequency_hz))
    for position in np.flatnonzero(whole):
        cross = problem.spectra.cross[position][:, members[:, None], members[None, :]]
        here = np.einsum("cb,db,bcd->b", response, response.conj(), cross, optimize=True).real
        out[position] = band_level_db(here)
        power += here / whole.sum()
    return band_level_db(power), out


def free_level_db(level: Real, target: Real, weight: Real) -> float:
    """Overall level that brings ``target`` closest to ``level``."""
    return float(np.sum(weight**2 * (level - target)) / np.sum(weight**2))


def rms_error_db(level: Real, target: Real, weight: Real) -> float:
    """Weighted rms difference, overall level free."""
    rest = level - target - free_level_db(level, target, weight)
    return float(np.sqrt(np.sum(weight**2 * rest**2) / np.sum(weight**2)))


def sum_curves(problem: Problem, before: Settings, after: Settings) -> dict[str, SumCurves]:
    """Every sum before and after; both sides share one overall level."""
    names = problem.sum_names
    level = {name: sum_levels_db(problem, after, name) for name in names}
    earlier = {name: sum_levels_db(problem, before, name)[0] for name in names}
    sides = [name for name in names if name != EVERYTHING] or names
    shared = float(np.mean([free_level_db(level[n][0], problem.target_db, problem.reach[n]) for n in sides]))
    early = float(np.mean([free_level_db(earlier[n], problem.target_db, problem.reach[n]) for n in sides]))
    curves = {}
    for name in names:
        own = shared if name in sides else free_level_db(level[name][0], problem.target_db, problem.reach[name])
        was = early if name in sides else free_level_db(earlier[name], problem.target_db, problem.reach[name])
        members = tuple(problem.channels[k] for k in problem.members(name))
        target = problem.target_db + own
        # "Before" is drawn at the level of "after", so that shapes can be compared.
        curves[name] = SumCurves(name, members, target, earlier[name] - was + own, *level[name])
    return curves


def channel_curves(problem: Problem, responses: RecordedResponses, settings: Settings, nearest: int, before_s: float, length_s: float) -> dict[str, ChannelCurves]:
    """Every channel on its own, and its processed impulse response around the aligned arrival."""
    filters = channel_responses(problem, settings, np.zeros(len(problem.channels)))
    power = np.einsum("pbcc->cpb", problem.spectra.cross).real
    aligned = float(np.max([problem.arrivals.at_head_s[c] + settings.channel(n).delay_s for c, n in enumerate(problem.channels) if _stage(problem, c)]))
    out = {}
    for c, name in enumerate(problem.channels):
        rows = problem.present[c]
        each = band_level_db(power[c])
        each[~rows] = np.nan
        mean = power[c][rows].mean(axis=0)
        gain = np.abs(filters[c]) ** 2
        low, high, source = safe_range(problem.build, name)
        position = nearest if rows[nearest] else int(np.flatnonzero(rows)[0])
        out[name] = ChannelCurves(
            name,
            band_level_db(mean),
            each,
            band_level_db(gain),
            band_level_db(mean * gain),
            low,
            high,
            source,
            float(problem.arrivals.at_head_s[c]),
            _processed(responses, settings, c, name, position, aligned - before_s, length_s),
        )
    return out


def _stage(problem: Problem, channel: int) -> bool:
    return not next(way for way in problem.ways if channel in way.channels).fill


def _processed(responses: RecordedResponses, settings: Settings, channel: int, name: str, position: int, start_s: float, length_s: float) -> Real:
    """Impulse response through the processor, from ``start_s`` after the common time zero."""
    rate = responses.sample_rate_hz
    source = responses.impulse[channel, position]
    size = 2 * len(source)
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    bank = settings.channel(name).response(np.minimum(frequency, 0.4999 * rate), sample_rate_hz=rate)
    first = responses.zero_sample / rate + start_s
    turned = rfft(source, n=size) * bank * np.exp(2j * np.pi * frequency * first)
    return np.asarray(irfft(turned, n=size)[: round(length_s * rate)])


def arrival_difference(problem: Problem, settings: Settings, head: Spectra) -> tuple[float, Real]:
    """Left minus right arrival at the head centre in seconds: broadband, and (groups,) by third octave around each.

    ``head`` holds spectra in which every response was moved to the head centre along its direct path, so that direct sounds
    line up over the positions while reflections average out. The broadband figure is the peak of the generalised
    cross-correlation of the side sums, 500 Hz to 4 kHz (Knapp & Carter 1976, phase transform).
    """
    freq, group = head.frequency_hz, head.group_hz
    left = np.asarray([c for c in problem.members(LEFT_SIDE) if c not in problem.members(RIGHT_SIDE)], dtype=int)
    right = np.asarray([c for c in problem.members(RIGHT_SIDE) if c not in problem.members(LEFT_SIDE)], dtype=int)
    if not len(left) or not len(right):
        return float("nan"), np.full(len(group), np.nan)
    response = channel_responses(problem, settings, head.shift_s)
    whole = problem.present[left].all(axis=0) & problem.present[right].all(axis=0)
    cross = head.cross[whole].mean(axis=0)
    mix = np.einsum("cb,db,bcd->b", response[left], response[right].conj(), cross[:, left[:, None], right[None, :]], optimize=True)
    own = [np.einsum("cb,db,bcd->b", response[m], response[m].conj(), cross[:, m[:, None], m[None, :]], optimize=True).real for m in (left, right)]
    phase = mix / np.sqrt(np.maximum(own[0] * own[1], 1e-30))
    lags = np.linspace(-1.5e-3, 1.5e-3, 3001)
    turn = np.exp(2j * np.pi * np.outer(lags, freq))
    band = (freq > 500.0) & (freq < 4000.0)
    broad = float(lags[int(np.argmax((turn[:, band] @ phase[band]).real))])
    by_group = np.full(len(group), np.nan)
    for k, centre in enumerate(group):
        near = np.abs(np.log2(freq / centre)) < 1 / 6
        if centre < 150.0 or np.abs(phase[near]).mean() < 0.25:
            continue
        inside = np.abs(lags - broad) < 0.5 / centre
        score = (turn[np.ix_(inside, near)] @ phase[near]).real
        by_group[k] = lags[inside][int(np.argmax(score))]
    return broad, by_group


@dataclass(frozen=True)
class Loss:
    """How far a sum lies below the best that polarity and delay of one way could give with the same filters."""

    loss_db: float
    role: str = ""
    delay_s: float = 0.0
    inverted: bool = False


def coherent_loss(problem: Problem, settings: Settings, name: str) -> Loss:
    """Shortfall of the 40 to 500 Hz level of a sum against a brute-force search, +-12 ms in 50 us steps, both polarities.

    Ways are moved whole (left and right together): moving one side alone would move the image.
    """
    members = problem.members(name)
    freq = problem.spectra.frequency_hz
    band = (freq > 40.0) & (freq < 500.0)
    response = channel_responses(problem, settings, problem.spectra.shift_s)[members][:, band]
    share = np.einsum("cb,db,bcd->bcd", response, response.conj(), problem.cross_of(name)[band], optimize=True)
    total = share.sum(axis=(1, 2)).real
    lags = np.linspace(-12e-3, 12e-3, 481)
    turn = np.exp(-2j * np.pi * np.outer(lags, freq[band]))
    now = 10.0 * np.log10(np.maximum(total, 1e-30)).mean()
    worst = Loss(0.0)
    for way in problem.ways:
        mine = np.flatnonzero(np.isin(members, way.channels))
        rest = np.flatnonzero(~np.isin(members, way.channels))
        mix = share[:, mine][:, :, rest].sum(axis=(1, 2))
        still, swing = total - 2.0 * mix.real, 2.0 * (turn * mix).real
        for inverted, sign in ((False, 1.0), (True, -1.0)):
            level = 10.0 * np.log10(np.maximum(still + sign * swing, 1e-30)).mean(axis=1)
            best = int(np.argmax(level))
            if level[best] - now > worst.loss_db:
                worst = Loss(float(level[best] - now), way.role, float(lags[best]), inverted)
    return worst
