"""Delay, polarity and all-pass of one output: the phase that its level alone does not explain.

The phase of a minimum-phase response follows from its level (Bode 1945; computed through the folded cepstrum, Oppenheim and
Schafer, "Discrete-Time Signal Processing", chapter on the Hilbert transform). What is left is a delay, a sign, all-passes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from cabinwright.physics.prototypes import all_pass, warp
from cabinwright.stages.signal.factory.result import AllPass

__all__ = ["ExcessPhase", "excess_phase", "minimum_phase"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

SIZE = 1 << 17
REACH_S, STEP_S = 0.06, 2e-5
DEEP_DB = 45.0  #: level below the passband up to which a slope is followed before it is continued
KNOWN_DB = 55.0  #: level below the top that is still read
SLOPE_POINTS = 12  #: its steepness is read off the last of these, half an octave
ORDER_DB, ROUND_UP = 6.02, 0.7  #: one order of a filter, and from which part on a slope is taken for the next order
UNEXPLAINED_DEG = 30.0  #: rms, from which an all-pass is looked for
MENDED = 0.6  #: an all-pass must leave no more than this of it
CORNERS_HZ = 40.0 * 2.0 ** (np.arange(0, 61) / 8.0)
QS = (0.35, 0.5, 0.71, 1.0, 1.4, 2.0, 3.0)


@dataclass(frozen=True)
class ExcessPhase:
    """Delay [s] on the captures' common time, polarity, an all-pass where one is needed, and what is left [deg rms]."""

    delay_s: float
    polarity: Literal["normal", "inverted"]
    all_pass: AllPass | None
    left_deg: float


def minimum_phase(level_db: Real, frequency_hz: Real, *, sample_rate_hz: float) -> Real:
    """Phase [rad] (F,) that belongs to a level [dB] (F,); outside the grid the level's slope is continued."""
    bins = np.arange(SIZE // 2 + 1) * sample_rate_hz / SIZE
    bins[0], bins[-1] = 0.25 * bins[1], 0.5 * (bins[-2] + bins[-1])
    # Slopes of digital filters are straight lines over the warped frequency, up to half the sample rate.
    log_grid, at = (np.log2(np.tan(np.pi * item / sample_rate_hz)) for item in (frequency_hz, bins))
    level = np.interp(at, log_grid, level_db)
    for side in (0, -1):
        near = slice(0, SLOPE_POINTS) if side == 0 else slice(-SLOPE_POINTS, None)
        slope = _settled(float(np.polyfit(log_grid[near], level_db[near], 1)[0]))
        beyond = at < log_grid[0] if side == 0 else at > log_grid[-1]
        level[beyond] = level_db[side] + slope * (at[beyond] - log_grid[side])
    bins[0], bins[-1] = 0.0, 0.5 * sample_rate_hz
    cepstrum = irfft(np.maximum(level, level.max() - 240.0) * (np.log(10.0) / 20.0), n=SIZE)
    cepstrum[1 : SIZE // 2] *= 2.0
    cepstrum[SIZE // 2 + 1 :] = 0.0
    phase: Real = rfft(cepstrum).imag
    return np.interp(frequency_hz, bins, phase)


def _settled(slope_db: float) -> float:
    """What a slope [dB per octave] comes to further out: filters end in whole orders, and most draw near from below."""
    return float(np.sign(slope_db) * ORDER_DB * np.floor(abs(slope_db) / ORDER_DB + ROUND_UP))


def excess_phase(
    transfer: Complex, trusted: NDArray[np.bool_], frequency_hz: Real, *, sample_rate_hz: float
) -> ExcessPhase:
    """What is left of ``transfer`` (F,) without its minimum phase; ``trusted`` (F,): clear of noise."""
    level = 20.0 * np.log10(np.maximum(np.abs(transfer), 1e-15))
    use = _around_the_top(level, trusted)
    frequency, part = frequency_hz[use], transfer[use]
    # All that is known of the level counts, also beyond a notch: a stop band that comes back up belongs to the slope.
    known = trusted & (level > level[trusted].max() - KNOWN_DB)
    known &= np.convolve(known, np.ones(5), mode="same") >= 3.0  # noise stands out here and there, never in a row
    whole = minimum_phase(level[known], frequency_hz[known], sample_rate_hz=sample_rate_hz)
    phase = np.interp(frequency, frequency_hz[known], whole)
    # Each part of an octave counts by its level, the passband about evenly.
    weight = np.minimum(np.abs(part) / np.median(np.abs(part[level[use] > level[use].max() - 10.0])), 1.0)
    unit = weight * np.exp(1j * (np.angle(part) - phase))
    delay, sum_ = _delay(unit, frequency)
    left = _rms_deg(unit, frequency, delay, sum_)
    found = None
    if left > UNEXPLAINED_DEG:
        candidate = _with_all_pass(unit, frequency, sample_rate_hz)
        if candidate[3] < MENDED * left:
            found, delay, sum_, left = candidate
    return ExcessPhase(delay, "normal" if sum_.real >= 0.0 else "inverted", found, left)


def _around_the_top(level: Real, trusted: NDArray[np.bool_]) -> slice:
    """The unbroken run of trusted frequencies around the loudest one."""
    good = trusted & (level > level[trusted].max() - DEEP_DB)
    top = int(np.argmax(np.where(trusted, level, -np.inf)))
    first, last = top, top
    while first > 0 and good[first - 1]:
        first -= 1
    while last < len(level) - 1 and good[last + 1]:
        last += 1
    return slice(first, last + 1)


def _delay(unit: Complex, frequency: Real, around_s: float = 0.0, reach_s: float = REACH_S) -> tuple[float, complex]:
    """The delay under which all parts of ``unit`` (F,) agree best, up to their common sign."""
    best = around_s
    for reach, step in ((reach_s, STEP_S), (2.0 * STEP_S, STEP_S / 50.0)):
        tried = best + np.arange(-reach, reach + step, step)
        score = np.abs((np.exp(2j * np.pi * tried[:, None] * frequency) @ unit).real)
        best = float(tried[int(np.argmax(score))])
    return best, complex(np.sum(unit * np.exp(2j * np.pi * frequency * best)))


def _rms_deg(unit: Complex, frequency: Real, delay_s: float, sum_: complex) -> float:
    rest = unit * np.exp(2j * np.pi * frequency * delay_s) * (1.0 if sum_.real >= 0.0 else -1.0)
    weight = np.abs(unit)
    return float(np.degrees(np.sqrt(np.sum(weight * np.angle(rest) ** 2) / np.sum(weight))))


def _with_all_pass(unit: Complex, frequency: Real, rate: float) -> tuple[AllPass, float, complex, float]:
    """The one second-order all-pass that leaves least."""
    best: tuple[AllPass, float, complex, float] | None = None
    tried = np.arange(-REACH_S, REACH_S, 2.0 * STEP_S)
    turns = np.exp(2j * np.pi * tried[:, None] * frequency)
    trials = [(float(corner), q) for corner in CORNERS_HZ for q in QS if frequency[0] < corner < frequency[-1]]
    if not trials:
        return AllPass(float(frequency[0]), 1.0), 0.0, 1.0 + 0j, 999.0
    banks = [
        all_pass(*warp(frequency_hz=frequency, corner_hz=np.array([corner]), sample_rate_hz=rate), q=np.array([q]))[0]
        for corner, q in trials
    ]
    undone = unit[:, None] * np.stack(banks, axis=1).conj()
    score = np.abs((turns @ undone).real)
    for number in np.argsort(score.max(axis=0))[::-1][:12]:
        around = float(tried[int(np.argmax(score[:, number]))])
        delay, sum_ = _delay(undone[:, number], frequency, around, 3.0 * STEP_S)
        left = _rms_deg(undone[:, number], frequency, delay, sum_)
        if best is None or left < best[3]:
            best = (AllPass(*trials[number]), delay, sum_, left)
    assert best is not None
    return best
