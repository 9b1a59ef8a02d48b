"""Polarity and delay of the outputs of one sum, before any filter: so that none takes away what another gives.

The measure is what summing loses, the sum's level against that of all parts in step. It does not depend on the level's shape,
so filters can follow afterwards.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.signal.factory.delay import best_delay
from cabinwright.stages.signal.factory.model import Sum

__all__ = ["aligned", "lost_db", "matched"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

PERIODS = 0.75  #: a delay is tried this far either side of the measured one, in periods of where outputs meet
TRIED = 181
FAR_DB2 = 0.5  #: what a whole period away from the measured delay must gain, mean square of dB
FLIP_DB2 = 0.1  #: what the other polarity must gain
TURNED_DB2 = 0.05  #: what an all-pass must gain
ROUNDS = 3


def lost_db(parts: Complex) -> Real:
    """What summing loses at each frequency [dB], from ``parts`` (J, F)."""
    together, apart = np.abs(np.sum(parts, axis=0)), np.sum(np.abs(parts), axis=0)
    return np.asarray(20.0 * np.log10(np.maximum(apart, 1e-12) / np.maximum(together, 1e-3 * apart + 1e-15)))


def aligned(start: Sum, *, all_passes: int) -> Sum:
    """``start`` (delays and polarities as measured) with each output in turn moved to where the sum loses least."""
    best, cost = start, float(np.mean(lost_db(start.parts()) ** 2))
    for _ in range(ROUNDS if len(start.gain_db) > 1 else 0):
        before = cost
        for number in range(1, len(start.gain_db)):
            best, cost = _moved(best, cost, number, start)
        if before - cost < 1e-3:
            break
    if all_passes and cost > 0.5:
        best = _turned(best, cost, start)
    return best


def matched(start: Sum, follow: Complex, *, reach_s: float) -> Sum:
    """``start`` with each output at the delay and polarity that come nearest in phase to ``follow`` (F,).

    Each is moved by itself, weighed by what it gives to the sum; so where both sides are split alike they end up alike.
    """
    parts = start.parts()
    share = np.abs(parts) / np.sum(np.abs(parts), axis=0)
    unit = share * np.exp(1j * np.angle(parts * follow.conj()))
    delays, inverted = start.delay_s.copy(), list(start.inverted)
    for number in range(len(parts)):
        late, agree = best_delay(unit[number].conj(), start.frequency_hz, reach_s=reach_s)
        delays[number] += late
        inverted[number] ^= agree < 0.0
    return replace(start, delay_s=delays, inverted=tuple(inverted))


def _moved(at: Sum, cost: float, number: int, start: Sum) -> tuple[Sum, float]:
    """Output ``number`` at the delay and polarity that lose least, all others held."""
    parts = at.parts()
    others = np.sum(np.delete(parts, number, axis=0), axis=0)
    mine = parts[number]
    meeting = np.minimum(np.abs(others), np.abs(mine))
    if not np.any(meeting > 0.0):
        return at, cost
    log_meet = float(np.sum(meeting * np.log(at.frequency_hz)) / np.sum(meeting))
    period = 1.0 / float(np.exp(log_meet))
    offsets = np.linspace(-PERIODS, PERIODS, TRIED) * period + (start.delay_s[number] - at.delay_s[number])
    apart = np.sum(np.abs(np.delete(parts, number, axis=0)), axis=0) + np.abs(mine)
    away = FAR_DB2 * ((offsets + at.delay_s[number] - start.delay_s[number]) / period) ** 2
    turned = np.exp(-2j * np.pi * offsets[:, None] * at.frequency_hz) * mine
    found: list[tuple[float, float, bool]] = []
    for flip in (False, True):
        sums = np.abs(others + (-turned if flip else turned))
        loss = 20.0 * np.log10(apart / np.maximum(sums, 1e-3 * apart + 1e-15))
        score = (
            np.mean(loss**2, axis=1)
            + away
            + (FLIP_DB2 if flip != (at.inverted[number] != start.inverted[number]) else 0.0)
        )
        which = int(np.argmin(score))
        found.append((float(score[which]), float(offsets[which]), flip))
    score_, offset, flip = min(found)
    if score_ >= cost - 1e-6:
        return at, cost
    delays = at.delay_s.copy()
    delays[number] += offset
    inverted = tuple(not item if k == number and flip else item for k, item in enumerate(at.inverted))
    moved = replace(at, delay_s=delays - delays.min(), inverted=inverted)
    return moved, min(cost, float(np.mean(lost_db(moved.parts()) ** 2)))


def _turned(at: Sum, cost: float, start: Sum) -> Sum:
    """One all-pass on one output, where that mends what delay and polarity cannot."""
    best = at
    for number in range(len(at.gain_db)):
        for corner in 60.0 * 2.0 ** (np.arange(0, 30) / 4.0):
            for q in (0.5, 0.71, 1.0, 1.6):
                turns = tuple((float(corner), q) if k == number else None for k in range(len(at.gain_db)))
                trial = replace(at, turns=turns)
                for flip in (False, True):
                    inverted = tuple(not item if k == number and flip else item for k, item in enumerate(at.inverted))
                    flipped = replace(trial, inverted=inverted)
                    now = float(np.mean(lost_db(flipped.parts()) ** 2))
                    if now < cost - TURNED_DB2:
                        best, cost = flipped, now
    if best is not at:
        for number in range(1, len(start.gain_db)):
            best, cost = _moved(best, cost, number, start)
    return best
