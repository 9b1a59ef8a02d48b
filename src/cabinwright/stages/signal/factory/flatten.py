"""Peaking filters that make one side's sum flat, and of one phase with a sum to follow, inside the processor's bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.physics.prototypes import peaking, warp
from cabinwright.stages.signal.factory.model import TO_DB, Bell, Sum, ripple_db
from cabinwright.stages.tuning.solver import solve

__all__ = ["fitted", "flattened", "snapped"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

GOOD_DB = 0.2  #: no further filter is spent below this ripple
POOR_DB = 0.5  #: above it more is tried
EARLY_DB = 0.05  #: nor one that gains less
HOLD = 0.15  #: pull of every filter's gain to nothing: a bounded inverse spends no more than it must
LEVEL_HOLD = 0.3  #: pull of every output's gain to where its passband is level with the others'
CARRIES_DB = 18.0  #: a filter works on the outputs that are no further below the sum at its frequency
FOLLOW = 0.15  #: what a step of phase weighs against the same step of level
MOVES_MS = 0.1  #: a delay may be fitted by so much where there is a phase to follow
REACH_HZ = (20.0, 19_000.0)
CORNERS_HZ = np.geomspace(22.0, 18_000.0, 40)  #: where a further filter is tried, and how wide
QS = np.array([0.4, 0.7, 1.2, 2.0, 3.5, 6.0])
ITERATIONS = 30


def flattened(start: Sum, processor: Processor, follow: Complex | None = None) -> Sum:
    """Add filters one at a time where the sum is furthest from flat, and refit everything each time."""
    at = fitted(start, processor, follow, evenly=True)
    best = fitted(at, processor, follow)
    ripple = ripple_db(best.level_db())
    worse = 0
    while ripple > GOOD_DB and worse < (3 if ripple < POOR_DB else 6):
        trial = _with_one_more(at, processor)
        if trial is None:
            break
        # The path goes by least squares; what counts in the end is the largest deviation.
        at = fitted(trial, processor, follow, evenly=True)
        polished = fitted(at, processor, follow)
        now = ripple_db(polished.level_db())
        if now < ripple - EARLY_DB or now < GOOD_DB:
            best, ripple, worse = polished, now, 0
        else:
            worse += 1
    return best


def _with_one_more(at: Sum, processor: Processor) -> Sum | None:
    """``at`` with the filter that takes away most of its deviation; None where no output has one left."""
    level = at.level_db()
    away = level - np.mean(level)
    corner, q = (item.ravel() for item in np.meshgrid(CORNERS_HZ, _qs(processor), indexing="ij"))
    shape = _shapes(at, corner, q)
    shape = shape - shape.mean(axis=1, keepdims=True)
    energy = np.sum(shape**2, axis=1) + HOLD**2
    gain = np.clip(-(shape @ away) / energy, processor.peaking_gain_min_db, processor.peaking_gain_max_db)
    taken = -2.0 * gain * (shape @ away) - gain**2 * energy
    used = [at.taken[k] + sum(bell.on[k] for bell in at.bells) for k in range(len(at.gain_db))]
    parts = np.abs(at.parts())
    for best in np.argsort(taken)[::-1]:
        here = parts[:, int(np.argmin(np.abs(at.frequency_hz - corner[best])))]
        strong = here > 10.0 ** (-CARRIES_DB / 20.0) * here.max()
        on = tuple(bool(yes and used[k] < processor.peaking_filters) for k, yes in enumerate(strong))
        if any(on):
            return replace(
                at, bells=(*at.bells, Bell(float(corner[best]), float(0.9 * gain[best]), float(q[best]), on))
            )
    return None


def _qs(processor: Processor) -> Real:
    return np.unique(np.clip(QS, processor.peaking_q_min, processor.peaking_q_max))


def _shapes(at: Sum, corner_hz: Real, q: Real) -> Real:
    """What filters of 1 dB would change [dB], (filters, F), taken from such of 4 dB."""
    x, slope = warp(frequency_hz=at.frequency_hz, corner_hz=corner_hz[:, None], sample_rate_hz=at.sample_rate_hz)
    whole = peaking(x, slope, gain_db=np.full((len(q), 1), 4.0), q=q[:, None])[0]
    return np.asarray(5.0 * np.log10(np.abs(whole)))


def fitted(
    start: Sum,
    processor: Processor,
    follow: Complex | None = None,
    *,
    bells: bool = True,
    delays: bool = True,
    evenly: bool = False,
) -> Sum:
    """Levenberg-Marquardt over gains and filters; unless ``evenly``, large deviations count more from round to round.

    With a sum to ``follow`` (F,) its phase counts too and delays are fitted a little. Without one they stay where alignment
    put them: moved for the sake of level alone, they would part left from right.
    """
    count = len(start.gain_db)
    begin = start.vector()
    lower, upper = begin.copy(), begin.copy()
    lower[1:count], upper[1:count] = begin[1:count] - 12.0, begin[1:count] + 12.0
    lower[0], upper[0] = begin[0] - 24.0, begin[0] + 24.0
    if follow is not None and delays:
        lower[count : 2 * count] -= MOVES_MS
        upper[count : 2 * count] += MOVES_MS
    if bells and start.bells:
        rows = slice(2 * count, None)
        ends = np.log([REACH_HZ[0], min(REACH_HZ[1], 0.45 * start.sample_rate_hz)])
        q = np.log([processor.peaking_q_min, processor.peaking_q_max])
        lower[rows] = np.tile([ends[0], processor.peaking_gain_min_db, q[0]], len(start.bells))
        upper[rows] = np.tile([ends[1], processor.peaking_gain_max_db, q[1]], len(start.bells))
    weight = np.ones(len(start.frequency_hz))
    middle = np.asarray(start.even_db if start.even_db is not None else start.gain_db)
    at = start
    for power in (0.0,) if evenly else (1.0, 1.0):
        level = at.level_db()
        if power:
            weight = weight * np.maximum(np.abs(level) / max(float(np.sqrt(np.mean(level**2))), 1e-9), 0.3) ** 0.5
            weight /= np.sqrt(np.mean(weight**2))
        at = at.at(_solved(at, lower, upper, weight, middle, follow))
    return at


def _solved(at: Sum, lower: Real, upper: Real, weight: Real, middle: Real, follow: Complex | None) -> Real:
    count = len(at.gain_db)
    pulled = np.zeros((count + len(at.bells), len(lower)))
    pulled[:count, :count] = LEVEL_HOLD * np.eye(count)
    for k in range(len(at.bells)):
        pulled[count + k, 2 * count + 3 * k + 1] = HOLD
    anchor = np.concatenate([LEVEL_HOLD * middle, np.zeros(len(at.bells))])

    def residuals(vector: Real, wanted: bool) -> tuple[Real, Real | None]:
        trial = at.at(vector)
        total, slopes = trial.slopes() if wanted else (np.sum(trial.parts(), axis=0), None)
        rows = [weight * TO_DB * np.log(np.maximum(np.abs(total), 1e-12)), pulled @ vector - anchor]
        if follow is not None:
            rows.append(FOLLOW * TO_DB * np.angle(total * follow.conj()))
        if slopes is None:
            return np.concatenate(rows), None
        slope_rows = [TO_DB * weight[:, None] * slopes.real, pulled]
        if follow is not None:
            slope_rows.append(FOLLOW * TO_DB * slopes.imag)
        return np.concatenate(rows), np.concatenate(slope_rows)

    return solve(residuals, at.vector(), lower=lower, upper=upper, iterations=ITERATIONS).vector


def near(value: float, step: float, low: float, high: float) -> float:
    """The multiple of ``step`` nearest to ``value`` between ``low`` and ``high``."""
    count = round(min(max(value, low), high) / step)
    return float(np.round(min(max(count, np.ceil(low / step - 1e-9)), np.floor(high / step + 1e-9)) * step, 12))


def snapped_bell(bell: Bell, processor: Processor, sample_rate_hz: float) -> Bell:
    """The same filter in the processor's steps."""
    low, high = processor.peaking_gain_min_db, processor.peaking_gain_max_db
    return replace(
        bell,
        frequency_hz=near(
            bell.frequency_hz, processor.frequency_step_hz, processor.frequency_step_hz, 0.45 * sample_rate_hz
        ),
        gain_db=near(bell.gain_db, processor.peaking_gain_step_db, low, high),
        q=near(bell.q, processor.peaking_q_step, processor.peaking_q_min, processor.peaking_q_max),
    )


def snapped(at: Sum, processor: Processor, follow: Complex | None = None) -> Sum:
    """Delays on the processor's grid and the rest fitted anew; then filters, and gains fitted anew; then these too."""
    step = processor.delay_step_s
    shifts = np.arange(8) / 8.0 * step if len(at.gain_db) > 1 and follow is None else np.zeros(1)
    off = [
        float(np.mean((np.round((at.delay_s + shift) / step) - (at.delay_s + shift) / step) ** 2)) for shift in shifts
    ]
    delays = np.round((at.delay_s + shifts[int(np.argmin(off))]) / step) * step
    fixed = fitted(replace(at, delay_s=delays), processor, follow, delays=False)
    bells = tuple(snapped_bell(bell, processor, at.sample_rate_hz) for bell in fixed.bells)
    bells = tuple(bell for bell in bells if bell.gain_db != 0.0)
    fixed = replace(fixed, bells=bells, delay_s=delays)
    fixed = replace(fitted(fixed, processor, follow, bells=False, delays=False), bells=bells, delay_s=delays)
    gains = np.round(fixed.gain_db / processor.gain_step_db) * processor.gain_step_db
    return replace(fixed, gain_db=gains)
