"""Sound that bends round an edge where a facet hides the source.

Thin screens after Kurze & Anderson 1971, their formula for Maekawa's chart (1968): with the Fresnel number
``N = 2 d / wavelength`` of the detour ``d``, ``loss = 5 + 20 log10(sqrt(2 pi N) / tanh(sqrt(2 pi N)))`` dB, held at 24 dB,
more than which no single edge is found to give. Against the exact rigid half plane (Macdonald 1915), over a car's distances
and for N above 0.1, it says 1 dB less loss on average and 2.5 dB less at worst; sides of the edge and several edges in a
row are approximate. Edges that another facet continues (a seam) or rests on (a seat on the floor) are no way round.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cabinwright.physics.facets import Facet, blocked, open_edges

__all__ = ["MOST_LOSS_DB", "detour_m", "free_edges", "screen_loss_db"]

Real = NDArray[np.float64]
MOST_LOSS_DB = 24.0
RESTS_M = 0.005  #: an edge this close to another facet rests on it


def screen_loss_db(*, detour_m: ArrayLike, frequency_hz: ArrayLike, speed_m_s: float) -> Real:
    """Loss behind a thin screen, dB (positive); 5 dB in the plane of the edge. Infinite detour: the most there is."""
    fresnel = 2.0 * np.asarray(detour_m, dtype=np.float64) * np.asarray(frequency_hz) / speed_m_s
    root = np.sqrt(2.0 * np.pi * np.maximum(fresnel, 0.0))
    safe = np.clip(root, 1e-9, 1e6)
    loss = 5.0 + 20.0 * np.log10(safe / np.tanh(safe))
    return np.asarray(np.where(root < 1e-9, 5.0, np.minimum(loss, MOST_LOSS_DB)))


def detour_m(facets: Sequence[Facet], source_m: Real, receiver_m: Real, *, edges_m: Real | None = None) -> float:
    """How much longer the shortest way round free edges is than the straight one; infinite where there is none.

    One edge, or two in a row where one does not do. ``edges_m`` is what ``free_edges(facets)`` gives, for those who ask often.
    """
    straight = float(np.linalg.norm(receiver_m - source_m))
    ends = free_edges(facets) if edges_m is None else edges_m
    if not len(ends):
        return float("inf")
    first = _over(ends, source_m, receiver_m)
    length = np.linalg.norm(first - source_m, axis=1) + np.linalg.norm(first - receiver_m, axis=1)
    start = _clear(facets, np.broadcast_to(source_m, first.shape), first)
    goal = _clear(facets, first, np.broadcast_to(receiver_m, first.shape))
    direct = start & goal
    if direct.any():
        return max(float(length[direct].min()) - straight, 0.0)
    best = float("inf")
    for near in np.flatnonzero(start):
        second = _over(ends, first[near], receiver_m)
        leg = np.linalg.norm(second - first[near], axis=1) + np.linalg.norm(second - receiver_m, axis=1)
        open_way = _clear(facets, np.broadcast_to(first[near], second.shape), second)
        open_way &= _clear(facets, second, np.broadcast_to(receiver_m, second.shape))
        if open_way.any():
            best = min(best, float(np.linalg.norm(first[near] - source_m)) + float(leg[open_way].min()))
    return max(best - straight, 0.0)


def free_edges(facets: Sequence[Facet]) -> Real:
    """(n, 2, 3): ends of the edges that sound can bend round."""
    out = []
    for index, ends in open_edges(facets):
        middle = ends.mean(axis=0)[None]
        if not any(other.holds(middle, within_m=RESTS_M)[0] for k, other in enumerate(facets) if k != index):
            out.append(ends)
    return np.asarray(out).reshape(-1, 2, 3)


def _over(ends: Real, source_m: Real, receiver_m: Real) -> Real:
    """(n, 3): point of each edge on the shortest way from source to receiver (unfolded about the edge)."""
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1, keepdims=True)
    unit = along / length

    def foot(point: Real) -> tuple[Real, Real]:
        moved = point - ends[:, 0]
        at = (moved * unit).sum(axis=1)
        return at, np.linalg.norm(moved - at[:, None] * unit, axis=1)

    (s, ds), (r, dr) = foot(source_m), foot(receiver_m)
    total = np.maximum(ds + dr, 1e-12)
    at = np.clip((s * dr + r * ds) / total, 0.0, length[:, 0])
    return np.asarray(ends[:, 0] + at[:, None] * unit)


def _clear(facets: Sequence[Facet], start: Real, end: Real) -> NDArray[np.bool_]:
    out = np.ones(len(start), dtype=bool)
    for facet in facets:
        out &= ~blocked(facet, start, end)
    return out
