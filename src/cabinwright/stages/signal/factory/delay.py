"""The delay under which two responses agree."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["best_delay"]

STEP_S, CLOSE_S, FINE_S = 1e-5, 2e-5, 2e-7


def best_delay(
    cross: NDArray[np.complex128], frequency_hz: NDArray[np.float64], *, reach_s: float
) -> tuple[float, float]:
    """By how much the first of two is later, from their cross spectrum (F,), within ``reach_s``; and how well they agree then.

    The agreement is the sum of what is in phase, negative where they are of opposite polarity.
    """
    # Every delay is a coarse one and a fine one, so all of them take one product of two small matrices.
    count = int(np.ceil(np.sqrt(2.0 * reach_s / STEP_S))) + 1
    coarse, fine = -reach_s + np.arange(count) * count * STEP_S, np.arange(count) * STEP_S
    score = ((np.exp(2j * np.pi * coarse[:, None] * frequency_hz) * cross) @ _turns(fine, frequency_hz)).real
    row, column = np.unravel_index(int(np.argmax(np.abs(score))), score.shape)
    tried = coarse[row] + fine[column] + np.arange(-CLOSE_S, CLOSE_S + FINE_S, FINE_S)
    near = (cross @ _turns(tried, frequency_hz)).real
    best = int(np.argmax(np.abs(near)))
    return float(tried[best]), float(near[best])


def _turns(delay_s: NDArray[np.floating[Any]], frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    return np.asarray(np.exp(2j * np.pi * frequency_hz[:, None] * delay_s))
