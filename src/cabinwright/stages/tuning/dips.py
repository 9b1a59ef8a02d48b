"""Dips that no filter removes: those that move from position to position, and those that are not minimum phase.

A dip that moves is an interference pattern: what fills it at one place makes a peak at another. A dip that is not minimum
phase stays, in time, whatever its level is made (Neely & Allen 1979, "Invertibility of a room impulse response", J.
Acoust. Soc. Am. 66(1)): its excess group delay over the minimum-phase response of the same magnitude is positive and long.
Thresholds below are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, rfft

from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.model import Model
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, octave_mean

__all__ = ["Dip", "find_dips", "leave_alone"]

Real = NDArray[np.float64]

DEPTH_DB = 5.0  #: below its surroundings of one octave
SPREAD_DB = 5.0  #: standard deviation of the dip's depth over the positions
EXCESS_PERIODS = 2.0  #: excess group delay in periods of the dip's frequency
LEFT_WEIGHT = 0.3  #: what a dip that is left alone still counts
SIZE = 1 << 15


@dataclass(frozen=True)
class Dip:
    """One dip of a sum's spatial average that is left alone."""

    sum_name: str
    frequency_hz: float
    low_hz: float
    high_hz: float
    depth_db: float
    spread_db: float
    moves: bool
    minimum_phase: bool


def find_dips(problem: Problem, state: State, responses: RecordedResponses) -> list[Dip]:
    """Dips of each sum with the settings of ``state`` that filters should not chase."""
    found: list[Dip] = []
    names = [name for name in problem.sum_names if name != EVERYTHING or len(problem.sum_names) == 1]
    for name in names:
        levels = _position_levels(problem, state, name)
        mean = 10.0 * np.log10(np.mean(10.0 ** (levels / 10.0), axis=0)) - problem.target_db
        rough, each = mean - octave_mean(mean), levels - problem.target_db
        excess = None
        for low, high in _runs(rough, problem.reach[name]):
            bottom = low + int(np.argmin(rough[low:high]))
            depth = -float(rough[bottom])
            local = each[:, bottom] - np.mean(each[:, max(0, bottom - 6) : bottom + 7], axis=1)
            spread = float(np.std(local)) if len(local) > 1 else 0.0
            if excess is None:
                excess = _excess_periods(problem, state, responses, name)
            late = float(np.median(excess[:, bottom]))
            if spread >= SPREAD_DB or late >= EXCESS_PERIODS:
                edge = problem.spectra.group_hz * 10.0 ** (0.15 / 12)
                found.append(
                    Dip(
                        name,
                        float(problem.spectra.group_hz[bottom]),
                        float(edge[low] * 10.0 ** (-0.3 / 12)),
                        float(edge[high - 1]),
                        depth,
                        spread,
                        spread >= SPREAD_DB,
                        late < EXCESS_PERIODS,
                    )
                )
    return found


def leave_alone(problem: Problem, dips: list[Dip]) -> Problem:
    """The problem with those dips all but forgiven, and hardly boosted (``Problem.boost_limit_db``)."""
    group = problem.spectra.group_hz
    leave = {name: np.ones_like(group) for name in problem.sum_names}
    for dip in dips:
        inside = (group > dip.low_hz) & (group < dip.high_hz)
        leave[dip.sum_name][inside] = LEFT_WEIGHT
    return replace(problem, leave=leave)


def _position_levels(problem: Problem, state: State, name: str) -> Real:
    """(positions, groups) level of a sum at each of its positions."""
    members = problem.members(name)
    g = Model(state.layout, problem.spectra.frequency_hz).responses(state.vector)[members]
    rows = []
    for position in problem.positions_of(name):
        cross = problem.spectra.cross[position][:, members[:, None], members[None, :]]
        power = np.einsum("cb,db,bcd->b", g, g.conj(), cross, optimize=True).real
        rows.append(power.reshape(-1, BANDS_PER_GROUP).mean(axis=1))
    return np.asarray(10.0 * np.log10(np.maximum(np.asarray(rows), 1e-30)))


def _runs(rough: Real, reach: Real) -> list[tuple[int, int]]:
    """Runs of groups around each dip deeper than the limit, out to two thirds of its depth."""
    runs = []
    deep = np.flatnonzero((rough < -DEPTH_DB) & (reach > 0.5))
    for piece in np.split(deep, np.flatnonzero(np.diff(deep) > 1) + 1):
        if not len(piece):
            continue
        low, high = int(piece[0]), int(piece[-1]) + 1
        edge = 2 / 3 * float(rough[low:high].min())
        while low > 0 and rough[low - 1] < edge:
            low -= 1
        while high < len(rough) and rough[high] < edge:
            high += 1
        runs.append((low, high))
    return runs


def _excess_periods(problem: Problem, state: State, responses: RecordedResponses, name: str) -> Real:
    """(positions, groups): excess group delay above its octave's median, in periods."""
    rate, members = responses.sample_rate_hz, problem.members(name)
    group = problem.spectra.group_hz
    frequency = np.arange(SIZE // 2 + 1) * rate / SIZE
    grid = np.clip(frequency, problem.spectra.frequency_hz[0], problem.spectra.frequency_hz[-1])
    bank = Model(state.layout, grid).responses(state.vector)[members]
    out = []
    for position in problem.positions_of(name):
        spectrum = rfft(responses.impulse[members, position, :SIZE], n=SIZE, axis=-1)
        travel = responses.zero_sample / rate + problem.spectra.shift_s[members]
        total = (spectrum * bank * np.exp(2j * np.pi * frequency * travel[:, None])).sum(axis=0)
        phase = np.unwrap(np.angle(total)) - _minimum_phase(np.abs(total))
        delay = -np.gradient(phase, 2.0 * np.pi * rate / SIZE)
        smooth = np.asarray([_band_mean(delay, frequency, f, 1 / 12) for f in group])
        out.append((smooth - _octave_median(smooth)) * group)
    return np.asarray(out)


def _minimum_phase(magnitude: Real) -> Real:
    """Phase of the minimum-phase response with this magnitude (folded real cepstrum; Oppenheim & Schafer)."""
    floor = np.maximum(magnitude, 1e-6 * magnitude.max())
    full = np.concatenate([floor, floor[-2:0:-1]])
    cepstrum = ifft(np.log(full)).real
    half = len(full) // 2
    cepstrum[1:half] *= 2.0
    cepstrum[half + 1 :] = 0.0
    return np.asarray(fft(cepstrum).imag[: half + 1])


def _band_mean(values: Real, frequency: Real, centre: float, octaves: float) -> float:
    half = 2.0 ** (octaves / 2.0)
    first, last = np.searchsorted(frequency, [centre / half, centre * half])
    return float(values[first : max(last, first + 1)].mean())


def _octave_median(values: Real) -> Real:
    padded = np.pad(values, 6, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 13), axis=-1))
