"""Which single tape would help a weak point most.

One more measurement with row ``a`` and standard deviation ``sigma`` turns the covariance ``Q`` into
``Q - Q a' a Q / (sigma^2 + a Q a')`` (Sherman & Morrison 1950), so every tape that could be taken is tried at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cabinwright.physics.network.adjust import Adjusted
from cabinwright.physics.network.equations import Array
from cabinwright.physics.network.floats import candidates, tape_rows

__all__ = ["NextTape", "next_tapes", "point_sigma_m"]

WORTH = 0.95  #: a tape is worth its while where it brings the point's sigma below this share
TAPE_SIGMA_M = 0.003


@dataclass(frozen=True)
class NextTape:
    """A tape that is not there yet, and what it would do."""

    ends: tuple[int, int]
    point: int
    sigma_before_m: float  #: root of the sum of the squares of the point's three standard deviations
    sigma_after_m: float


def point_sigma_m(current: Adjusted) -> Array:
    """(points,) root of the sum of squares of each point's three standard deviations (Helmert's point error)."""
    return np.asarray(np.sqrt(np.diag(current.coordinates_m2).reshape(-1, 3).sum(axis=1)))


def next_tapes(current: Adjusted, *, most: int = 5, tape_sigma_m: float = TAPE_SIGMA_M) -> tuple[NextTape, ...]:
    """For up to ``most`` of the weakest points: the single new tape [m] that brings its sigma down most, weakest point first."""
    network, covariance = current.network, current.coordinates_m2
    pairs = candidates(network, current.at_m, taped=~current.used[: network.tapes])
    if not len(pairs):
        return ()
    rows = tape_rows(current.at_m, pairs)
    seen = rows @ covariance
    gain = tape_sigma_m**2 + np.einsum("ij,ij->i", seen, rows)
    squared = seen.reshape(len(pairs), -1, 3) ** 2
    less = squared.sum(axis=2) / gain[:, None]
    before = point_sigma_m(current)
    found: list[NextTape] = []
    used: set[int] = set()
    for point in np.argsort(-before, kind="stable"):
        best = int(np.argmax(less[:, point]))
        after = float(np.sqrt(max(before[point] ** 2 - less[best, point], 0.0)))
        if len(found) == most or before[point] <= 0.0:
            break
        if best not in used and after < WORTH * before[point]:
            used.add(best)
            ends = (int(pairs[best, 0]), int(pairs[best, 1]))
            found.append(NextTape(ends, int(point), float(before[point]), after))
    return tuple(found)
