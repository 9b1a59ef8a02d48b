"""Curves and figures of a finished tune: what was heard before, what is predicted, how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.arrivals import onset_times
from cabinwright.stages.tuning.fit import objective_for
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.result import ChannelCurves, SumCurves
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import EVERYTHING, LEFT_SIDE, RIGHT_SIDE
from cabinwright.stages.tuning.solved import Solved
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, third_levels_db, third_octaves
from cabinwright.stages.tuning.ways import safe_range

__all__ = [
    "Loss",
    "arrival_difference",
    "band_level_db",
    "channel_curves",
    "channel_responses",
    "coherent_loss",
    "headroom_db",
    "rms_error_db",
    "side_difference_db",
    "sum_curves",
    "sum_levels_db",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
FIRST_LEAD_S, FIRST_SPAN_S = 0.002, 0.004  #: the first sound, before and after the aligned arrival
FIRST_BAND_HZ = (400.0, 8000.0)


def channel_responses(problem: Problem, settings: Settings, shift_s: Real) -> Complex:
    """(channels, sub-bands): what the processor does, turned to match spectra with ``shift_s`` taken out."""
    freq = problem.spectra.frequency_hz
    rows = [settings.channel(name).response(freq, sample_rate_hz=settings.sample_rate_hz) for name in problem.channels]
    return np.asarray(np.stack(rows) * np.exp(-2j * np.pi * freq[None, :] * shift_s[:, None]))


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


def rms_error_db(problem: Problem, level: Real, name: str) -> float:
    """Rms over third octaves of a sum's level (groups,) against the house curve, overall level free."""
    thirds = third_octaves(problem.spectra.group_hz)
    weight = problem.reach[name][thirds].mean(axis=1)
    rest = third_levels_db(level, thirds) - third_levels_db(problem.target_db, thirds)
    rest = rest - np.average(rest, weights=weight**2)
    return float(np.sqrt(np.average(rest**2, weights=weight**2)))


def unrounded_error_db(solved: Solved, name: str) -> float:
    """What ``rms_error_db`` would be without the processor's steps."""
    state = solved.sized.state
    levels = objective_for(solved.problem, state).levels_db(state.vector)
    return rms_error_db(solved.problem, levels[solved.problem.sum_names.index(name)], name)


def expected_error_db(solved: Solved, after_db: dict[str, float]) -> dict[str, float]:
    """Per sum: rms error foreseen where nobody measured, with what rounding added (as powers: the two are unrelated)."""
    out = {}
    for name, foreseen in solved.sized.expected_db.items():
        added = after_db[name] ** 2 - unrounded_error_db(solved, name) ** 2
        out[name] = float(np.sqrt(foreseen**2 + max(added, 0.0)))
    return out


def side_difference_db(problem: Problem, left_db: Real, right_db: Real) -> float:
    """Root mean square of left minus right over the third octaves from 250 Hz to 8 kHz."""
    group = problem.spectra.group_hz
    thirds = third_octaves(group)
    centre = np.sqrt(group[thirds[:, 0]] * group[thirds[:, -1]])
    gap = third_levels_db(left_db, thirds) - third_levels_db(right_db, thirds)
    return float(np.sqrt(np.mean(gap[(centre > 240.0) & (centre < 8300.0)] ** 2)))


def headroom_db(problem: Problem, settings: Settings) -> dict[str, float]:
    """Per channel: how far its gain and filters together stay below 0 dB at their highest."""
    response = channel_responses(problem, settings, np.zeros(len(problem.channels)))
    return {n: float(-20.0 * np.log10(np.abs(response[c]).max())) for c, n in enumerate(problem.channels)}


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


def channel_curves(
    problem: Problem, responses: RecordedResponses, settings: Settings, nearest: int, before_s: float, length_s: float
) -> dict[str, ChannelCurves]:
    """Every channel on its own, and its processed impulse response around the aligned arrival."""
    filters = channel_responses(problem, settings, np.zeros(len(problem.channels)))
    power = np.einsum("pbcc->cpb", problem.spectra.cross).real
    start_s, length = _aligned_s(problem, settings) - before_s, round(length_s * responses.sample_rate_hz)
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
            _processed(responses, settings, c, name, position, start_s, length),
        )
    return out


def _processed(
    responses: RecordedResponses,
    settings: Settings,
    channel: int,
    name: str,
    position: int,
    start_s: float,
    length: int,
) -> Real:
    """``length`` samples of the impulse response through the processor, from ``start_s`` after the common time zero."""
    rate = responses.sample_rate_hz
    source = responses.impulse[channel, position]
    size = 2 * len(source)
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    bank = settings.channel(name).response(np.minimum(frequency, 0.4999 * rate), sample_rate_hz=rate)
    first = responses.zero_sample / rate + start_s
    turned = rfft(source, n=size) * bank * np.exp(2j * np.pi * frequency * first)
    return np.asarray(irfft(turned, n=size)[:length])


def arrival_difference(
    problem: Problem, settings: Settings, responses: RecordedResponses, move_s: Real
) -> tuple[float, Real]:
    """Left minus right arrival at the head centre in seconds: of the first sound, and (groups,) by third octave.

    Every response is moved to the head centre along its direct path by ``move_s`` (channels, positions), the sides are
    summed through the processor, and only the first sound is kept (4 ms, faded), since later reflections differ from
    place to place and are not where a listener hears the side. The first figure is the median over positions of the
    onsets' difference, 400 Hz to 8 kHz; by frequency it is the peak of the cross-correlation in each third octave, averaged
    over positions, within half a period of the first figure; NaN where the sides have too little in common.
    """
    rate, group = responses.sample_rate_hz, problem.spectra.group_hz
    nothing = np.full(len(group), np.nan)
    sides = [problem.members(LEFT_SIDE), problem.members(RIGHT_SIDE)]
    own = [np.setdiff1d(sides[k], sides[1 - k]) for k in (0, 1)]
    whole = np.flatnonzero(problem.present[own[0]].all(axis=0) & problem.present[own[1]].all(axis=0))
    if not len(own[0]) or not len(own[1]) or not len(whole):
        return float("nan"), nothing
    start_s = _aligned_s(problem, settings) - FIRST_LEAD_S
    sums = np.zeros((2, len(whole), round((FIRST_LEAD_S + FIRST_SPAN_S) * rate)))
    for side in (0, 1):
        for channel in own[side]:
            if problem.way_of(int(channel)).fill:
                continue
            name = problem.channels[channel]
            for k, position in enumerate(whole):
                begin = start_s + move_s[channel, position]
                sums[side, k] += _processed(
                    responses, settings, int(channel), name, int(position), begin, sums.shape[-1]
                )
    fade = round(0.5 * FIRST_SPAN_S * rate)
    sums[..., -fade:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / fade)
    onset = onset_times(sums, sample_rate_hz=rate, low_hz=FIRST_BAND_HZ[0], high_hz=FIRST_BAND_HZ[1]) / rate
    first = float(np.median(onset[0] - onset[1]))
    return first, _lag_by_band(sums, rate, group, first)


def _lag_by_band(sums: Real, rate: float, group: Real, first: float) -> Real:
    """(groups,) lag of the left first sound behind the right one."""
    size = 8192
    spectrum = rfft(sums, n=size, axis=-1)
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    cross = (spectrum[0] * spectrum[1].conj()).mean(axis=0)
    power = np.sqrt((np.abs(spectrum[0]) ** 2).mean(axis=0) * (np.abs(spectrum[1]) ** 2).mean(axis=0))
    lags = first + np.linspace(-1.5e-3, 1.5e-3, 1501)
    out = np.full(len(group), np.nan)
    for k, centre in enumerate(group):
        near = np.abs(np.log2(np.maximum(frequency, 1.0) / centre)) < 1 / 6
        if centre < 2.0 / FIRST_SPAN_S or near.sum() < 3:
            continue
        inside = np.abs(lags - first) < 0.5 / centre
        score = (np.exp(2j * np.pi * np.outer(lags[inside], frequency[near])) @ cross[near]).real
        if score.max() > 0.4 * power[near].sum():
            out[k] = lags[inside][int(np.argmax(score))]
    return out


def _aligned_s(problem: Problem, settings: Settings) -> float:
    """When the last channel of the stage is first heard at the head centre, processor delay included."""
    stage = {channel for way in problem.stage for channel in way.channels}
    arrival = problem.arrivals.at_head_s
    top = [arrival[c] + settings.channel(n).delay_s for c, n in enumerate(problem.channels) if c in stage]
    return float(np.median(top))


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
