"""Peaking filters that make one side's sum flat, on the processor's grid and inside its bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.stages.signal.factory.model import Bell, Sum, ripple_db
from cabinwright.stages.tuning.solver import solve

__all__ = ["flattened", "snapped"]

Real = NDArray[np.float64]

GOOD_DB = 0.25  #: no further filter is spent below this ripple
POOR_DB = 0.5  #: above it more is tried
EARLY_DB = 0.1  #: nor one that gains less
HOLD = 0.3  #: pull of every filter's gain to nothing: a bounded inverse spends no more than it must
LEVEL_HOLD = 0.3  #: pull of every output's gain to where its passband is level with the others'
CARRIES_DB = 18.0  #: a filter works on the outputs that are no further below the sum at its frequency
REACH_HZ = (20.0, 19_000.0)
ITERATIONS = 30


def flattened(start: Sum, processor: Processor) -> Sum:
    """Add filters one at a time where the sum is furthest from flat, and refit everything each time."""
    best = _fit(start, processor)
    ripple = ripple_db(best.level_db())
    worse = 0
    at = best
    while ripple > GOOD_DB and worse < (3 if ripple < POOR_DB else 6):
        trial = _with_one_more(at, processor)
        if trial is None:
            break
        at = _fit(trial, processor)
        now = ripple_db(at.level_db())
        if now < ripple - EARLY_DB or now < GOOD_DB:
            best, ripple, worse = at, now, 0
        else:
            worse += 1
    return best


def _with_one_more(at: Sum, processor: Processor) -> Sum | None:
    """``at`` with a filter at the centre of its largest deviation; None where no output has one left."""
    level = at.level_db()
    away = level - 0.5 * (level.max() + level.min())
    smooth = np.convolve(np.pad(away, 2, mode="edge"), np.ones(5) / 5.0, mode="valid")
    used = [sum(bell.on[k] for bell in at.bells) for k in range(len(at.gain_db))]
    parts = np.abs(at.parts())
    for peak in np.argsort(np.abs(smooth))[::-1]:
        frequency = float(np.clip(at.frequency_hz[peak], *REACH_HZ))
        strong = parts[:, peak] > 10.0 ** (-CARRIES_DB / 20.0) * parts[:, peak].max()
        on = tuple(bool(yes and used[k] < processor.peaking_filters) for k, yes in enumerate(strong))
        if any(on):
            break
    else:
        return None
    half = np.abs(smooth) > 0.5 * abs(smooth[peak])
    first = last = int(peak)
    while first > 0 and half[first - 1] and smooth[first - 1] * smooth[peak] > 0:
        first -= 1
    while last < len(half) - 1 and half[last + 1] and smooth[last + 1] * smooth[peak] > 0:
        last += 1
    width = float(np.log2(at.frequency_hz[last] / at.frequency_hz[first])) + 0.1
    q = float(np.clip(1.4 / width, processor.peaking_q_min, min(4.0, processor.peaking_q_max)))
    gain = float(np.clip(-smooth[peak], processor.peaking_gain_min_db, processor.peaking_gain_max_db))
    return replace(at, bells=(*at.bells, Bell(frequency, 0.7 * gain, q, on)))


def _fit(start: Sum, processor: Processor, *, bells: bool = True) -> Sum:
    """Levenberg-Marquardt over gains and filters; large deviations count more from round to round.

    Delays stay where alignment put them: moved for the sake of level, they would part left from right.
    """
    count = len(start.gain_db)
    begin = start.vector()
    lower, upper = begin.copy(), begin.copy()
    lower[1:count], upper[1:count] = begin[1:count] - 12.0, begin[1:count] + 12.0
    if count == 1:
        lower[:count], upper[:count] = begin[:count] - 24.0, begin[:count] + 24.0
    else:
        lower[0], upper[0] = begin[0] - 24.0, begin[0] + 24.0
    if bells and start.bells:
        rows = slice(2 * count, None)
        ends = np.log([REACH_HZ[0], min(REACH_HZ[1], 0.45 * start.sample_rate_hz)])
        q = np.log([processor.peaking_q_min, processor.peaking_q_max])
        lower[rows] = np.tile([ends[0], processor.peaking_gain_min_db, q[0]], len(start.bells))
        upper[rows] = np.tile([ends[1], processor.peaking_gain_max_db, q[1]], len(start.bells))
    weight = np.ones(len(start.frequency_hz))
    middle = np.asarray(start.even_db if start.even_db is not None else start.gain_db)
    at = start
    for power in (0.0, 1.0, 1.0):
        level = at.level_db()
        if power:
            weight = weight * np.maximum(np.abs(level) / max(float(np.sqrt(np.mean(level**2))), 1e-9), 0.3) ** 0.5
            weight /= np.sqrt(np.mean(weight**2))
        at = at.at(_solved(at, lower, upper, weight, middle))
    return at


def _solved(at: Sum, lower: Real, upper: Real, weight: Real, middle: Real) -> Real:
    count = len(at.gain_db)
    pulled = np.zeros((count + len(at.bells), len(lower)))
    pulled[:count, :count] = LEVEL_HOLD * np.eye(count)
    for k in range(len(at.bells)):
        pulled[count + k, 2 * count + 3 * k + 1] = HOLD
    anchor = np.concatenate([LEVEL_HOLD * middle, np.zeros(len(at.bells))])

    def residuals(vector: Real, wanted: bool) -> tuple[Real, Real | None]:
        trial = at.at(vector)
        rest = pulled @ vector - anchor
        if not wanted:
            return np.concatenate([weight * trial.level_db(), rest]), None
        level, slopes = trial.level_and_slopes()
        return np.concatenate([weight * level, rest]), np.concatenate([weight[:, None] * slopes, pulled])

    return solve(residuals, at.vector(), lower=lower, upper=upper, iterations=ITERATIONS).vector


def _near(value: float, step: float, low: float, high: float) -> float:
    """The multiple of ``step`` nearest to ``value`` between ``low`` and ``high``."""
    count = round(min(max(value, low), high) / step)
    return float(np.round(min(max(count, np.ceil(low / step - 1e-9)), np.floor(high / step + 1e-9)) * step, 12))


def snapped(at: Sum, processor: Processor) -> Sum:
    """Everything but gains on the processor's grid, gains fitted anew, then these too."""
    top = 0.45 * at.sample_rate_hz
    bells = tuple(
        replace(
            bell,
            frequency_hz=_near(bell.frequency_hz, processor.frequency_step_hz, processor.frequency_step_hz, top),
            gain_db=_near(
                bell.gain_db,
                processor.peaking_gain_step_db,
                processor.peaking_gain_min_db,
                processor.peaking_gain_max_db,
            ),
            q=_near(bell.q, processor.peaking_q_step, processor.peaking_q_min, processor.peaking_q_max),
        )
        for bell in at.bells
    )
    bells = tuple(bell for bell in bells if bell.gain_db != 0.0)
    early = at.delay_s - at.delay_s.min()
    delays = np.array([_near(float(item), processor.delay_step_s, 0.0, processor.delay_max_s) for item in early])
    fixed = replace(at, bells=bells, delay_s=delays)
    fixed = replace(_fit(fixed, processor, bells=False), bells=bells, delay_s=delays)
    gains = np.round(fixed.gain_db / processor.gain_step_db) * processor.gain_step_db
    return replace(fixed, gain_db=gains)
