"""One all-pass that brings a sum's phase to that of the sum it follows, for processors that have any."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.prototypes import all_pass, warp
from cabinwright.stages.signal.factory.model import Sum

__all__ = ["turned"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Bools = NDArray[np.bool_]

CORNERS_HZ = 60.0 * 2.0 ** (np.arange(0, 46) / 6.0)
QS = np.array([0.35, 0.5, 0.7, 1.0, 1.4, 2.0])
CLOSER = (1.08, 1.02)  #: the grid is laid anew around the best, in steps of these ratios
DELAYS_S = np.arange(-60, 61) * 2e-5
WORTH = 0.02  #: share of full agreement that an all-pass must gain


def turned(at: Sum, follow: Complex) -> Sum:
    """``at`` with the all-pass, on one output or on all, that agrees best with ``follow`` (F,); as it is where none helps."""
    count = len(at.gain_db)
    masks = [np.arange(count) == number for number in range(count)] if count > 1 else []
    masks.append(np.ones(count, dtype=bool))
    now = _scores(at, follow, masks[-1], np.array([1.0]), np.array([0.5]))[0]  # so low that it turns nothing
    corner, q = (item.ravel() for item in np.meshgrid(CORNERS_HZ, QS, indexing="ij"))
    tried = [_best(at, follow, mask, corner, q) for mask in masks]
    number = int(np.argmax([item[0] for item in tried]))
    score, corner_hz, width = tried[number]
    if score < now + WORTH:
        return at
    for ratio in CLOSER:
        around = ratio ** np.arange(-3.0, 4.0)
        corner, q = (item.ravel() for item in np.meshgrid(corner_hz * around, width * around, indexing="ij"))
        score, corner_hz, width = _best(at, follow, masks[number], corner, q)
    turn = (float(np.round(corner_hz)), float(np.round(width, 2)))
    return replace(at, turns=tuple(turn if on else None for on in masks[number]))


def _best(at: Sum, follow: Complex, on: Bools, corner_hz: Real, q: Real) -> tuple[float, float, float]:
    scores = _scores(at, follow, on, corner_hz, q)
    best = int(np.argmax(scores))
    return float(scores[best]), float(corner_hz[best]), float(q[best])


def _scores(at: Sum, follow: Complex, on: Bools, corner_hz: Real, q: Real) -> Real:
    """Agreement with ``follow`` under the best delay and polarity, 0 to 1, for every all-pass on the outputs ``on``."""
    parts = replace(at, turns=()).parts()
    x, slope = warp(frequency_hz=at.frequency_hz, corner_hz=corner_hz[:, None], sample_rate_hz=at.sample_rate_hz)
    bank = all_pass(x, slope, q=q[:, None])[0]
    whole = np.sum(parts[~on], axis=0) + bank * np.sum(parts[on], axis=0)
    # A sum that grows agrees no better for it; one that cancels agrees less.
    unit = whole * follow.conj() / np.abs(follow) ** 2
    unit = unit / np.maximum(np.abs(unit), 1.0)
    turns = np.exp(2j * np.pi * at.frequency_hz[:, None] * DELAYS_S)
    return np.asarray(np.abs((unit @ turns).real).max(axis=1) / len(at.frequency_hz))
