"""What a network leaves free, and which tapes would hold it.

The normal matrix of a network that floats has directions without resistance (eigenvalue 0: Ghilani 2017, chapter 13), and
one that hangs by a thread has directions whose standard deviation is beyond use. A tape holds a direction by the
change that its length sees.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cabinwright.physics.network.adjust import Adjusted
from cabinwright.physics.network.equations import Array, Indices, Mask, Network

__all__ = ["FLOATS_M", "Floating", "candidates", "floating", "tape_rows"]

FLOATS_M = 0.3  #: standard deviation of a direction that counts as free
TAKES_PART = 0.1  #: share of the largest movement above which a point takes part in it
MOST_CURES = 6
SHORTEST_M = 0.05


@dataclass(frozen=True)
class Floating:
    """Part of a network that can move while its measurements stay as they are."""

    points: tuple[int, ...]  #: what moves
    cures: tuple[tuple[int, int], ...]  #: tapes that together would hold it; empty where none could
    directions: int  #: in how many ways it moves
    still_flat: bool  #: whether it is only the centre line or a flat surface that is not held


def floating(current: Adjusted) -> Floating | None:
    """What floats at these coordinates; None where everything is held."""
    values, vectors, scale = current.spectrum
    real = vectors / scale[:, None]
    size = np.linalg.norm(real, axis=0)
    # A direction's standard deviation: its length in metres over the root of its eigenvalue.
    free = values < (size / FLOATS_M) ** 2
    if not free.any():
        return None
    basis, _ = np.linalg.qr(real[:, free])
    network = current.network
    move = np.zeros((3 * network.points, basis.shape[1]))
    unknown = np.flatnonzero(network.free[: 3 * network.points])
    move[unknown] = basis[: unknown.size]
    reach = np.linalg.norm(move.reshape(network.points, 3, -1), axis=(1, 2))
    if reach.max(initial=0.0) < 1e-6:
        return Floating((), (), basis.shape[1], True)
    points = np.flatnonzero(reach > TAKES_PART * reach.max())
    return Floating(
        tuple(int(point) for point in points[np.argsort(-reach[points], kind="stable")]),
        _cures(network, current.at_m, move, points),
        basis.shape[1],
        False,
    )


def _cures(network: Network, at_m: Array, move: Array, points: Indices) -> tuple[tuple[int, int], ...]:
    """Tapes that hold the movements one after the other, each the one that sees most of what is left."""
    pairs = candidates(network, at_m, taped=np.zeros(network.tapes, dtype=np.bool_))
    pairs = pairs[np.isin(pairs, points).any(axis=1)]
    chosen: list[tuple[int, int]] = []
    rows = tape_rows(at_m, pairs)
    left = move
    while left.shape[1] and len(chosen) < MOST_CURES and len(pairs):
        seen = rows @ left
        best = int(np.argmax(np.linalg.norm(seen, axis=1)))
        if np.linalg.norm(seen[best]) < 1e-3:
            return ()
        chosen.append((int(pairs[best, 0]), int(pairs[best, 1])))
        away = np.linalg.svd(seen[best][None], full_matrices=True)[2][1:]
        left = left @ away.T
    return tuple(chosen)


def candidates(network: Network, at_m: Array, taped: Mask) -> Indices:
    """(pairs, 2) points that could be joined by a tape; ``taped`` (tapes,) says which existing ones count as missing."""
    joined = {tuple(sorted(ends)) for ends in network.tape_ends[~taped].tolist()}
    known = np.asarray(np.isfinite(network.fixed_m).all(axis=1))
    pairs = [
        pair
        for pair in combinations(range(network.points), 2)
        if pair not in joined and not (known[pair[0]] and known[pair[1]])
    ]
    found = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    far = np.linalg.norm(at_m[found[:, 0]] - at_m[found[:, 1]], axis=1) > SHORTEST_M
    return np.asarray(found[far])


def tape_rows(at_m: Array, pairs: Indices) -> Array:
    """(pairs, 3 points) derivative of each distance by all coordinates."""
    gap = at_m[pairs[:, 0]] - at_m[pairs[:, 1]]
    unit = gap / np.linalg.norm(gap, axis=1, keepdims=True)
    rows = np.zeros((len(pairs), len(at_m), 3))
    here = np.arange(len(pairs))
    rows[here, pairs[:, 0]] = unit
    rows[here, pairs[:, 1]] = -unit
    return rows.reshape(len(pairs), 3 * len(at_m))
