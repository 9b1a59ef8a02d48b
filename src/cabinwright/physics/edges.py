"""Sound that bends round an edge where a facet hides the source.

Thin screens after Kurze & Anderson 1971, their formula for Maekawa's chart (1968): with the Fresnel number
``N = 2 d / wavelength`` of the detour ``d``, ``loss = 5 + 20 log10(sqrt(2 pi N) / tanh(sqrt(2 pi N)))`` dB, held at 24 dB,
more than which no single edge is found to give. Against the exact rigid half plane (Macdonald 1915), over a car's distances
and for N above 0.1, it says 1 dB less loss on average and 2.5 dB less at worst; sides of the edge and several edges in a
row are approximate.

Sound bends round an edge on whose open side there is more than a half turn: the free edge of a panel, and the seam where a
dash or a box of several facets juts into the cabin. There too the loss is that of a thin screen: against the exact rigid
right angle (Biot & Tolstoy 1957; Svensson et al. 1999) 2.6 dB more on average, 4.3 dB more at worst. The seams of a shell
seen from within, and edges that rest on a facet (a seat on the floor), are no way round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cabinwright.physics.facets import Facet, blocked

__all__ = ["MOST_LOSS_DB", "Edges", "bending_edges", "detour_m", "screen_loss_db"]

Real = NDArray[np.float64]
MOST_LOSS_DB = 24.0
RESTS_M = 0.005  #: an edge this close to another facet rests on it
WING_M = 0.01  #: a facet that goes on this far to a side of an edge stands there
MORE_RAD = 0.02  #: an open side this little over a half turn is a half turn
OFF_M = 1e-5  #: ways are looked at this far off the edge, lest they run in the facet itself
ROUNDS = 4  #: of moving both points of a way over two edges


@dataclass(frozen=True, eq=False)
class Edges:
    """Edges that sound can bend round."""

    ends_m: Real  #: (n, 2, 3)
    open_to: Real  #: (n, 3) unit vector across the edge, to the middle of its open side
    reach_rad: Real  #: (n,) half of the open side

    def of(self, rows: NDArray[np.intp]) -> Edges:
        """Some of them."""
        return Edges(self.ends_m[rows], self.open_to[rows], self.reach_rad[rows])

    def face(self, points_m: Real) -> NDArray[np.bool_]:
        """(n,): whether a point (3,), or one for each (n, 3), lies on the open side."""
        along = _unit(self.ends_m[:, 1] - self.ends_m[:, 0])
        away = points_m - self.ends_m[:, 0]
        across = away - (away * along).sum(axis=1, keepdims=True) * along
        size = np.linalg.norm(across, axis=1)
        turn = np.arccos(np.clip((across * self.open_to).sum(axis=1) / np.maximum(size, 1e-12), -1.0, 1.0))
        return np.asarray((turn <= self.reach_rad + 1e-6) & (size > 1e-9))


def screen_loss_db(*, detour_m: ArrayLike, frequency_hz: ArrayLike, speed_m_s: float) -> Real:
    """Loss behind a thin screen, dB (positive); 5 dB in the plane of the edge. Infinite detour: the most there is."""
    fresnel = 2.0 * np.asarray(detour_m, dtype=np.float64) * np.asarray(frequency_hz) / speed_m_s
    root = np.sqrt(2.0 * np.pi * np.maximum(fresnel, 0.0))
    safe = np.clip(root, 1e-9, 1e6)
    loss = 5.0 + 20.0 * np.log10(safe / np.tanh(safe))
    return np.asarray(np.where(root < 1e-9, 5.0, np.minimum(loss, MOST_LOSS_DB)))


def detour_m(facets: Sequence[Facet], source_m: Real, receiver_m: Real, *, edges: Edges | None = None) -> float:
    """How much longer the shortest way round edges is than the straight one; infinite where there is none.

    One edge, or two in a row where one does not do. ``edges`` is what ``bending_edges(facets)`` gives, for those who ask often.
    """
    every = bending_edges(facets) if edges is None else edges
    near, far = every.face(source_m), every.face(receiver_m)
    length = _over_one(facets, every.of(np.flatnonzero(near & far)), source_m, receiver_m)
    if not np.isfinite(length):
        length = _over_two(facets, every, np.flatnonzero(near), np.flatnonzero(far), source_m, receiver_m)
    return max(length - float(np.linalg.norm(receiver_m - source_m)), 0.0)


def _over_one(facets: Sequence[Facet], edges: Edges, source_m: Real, receiver_m: Real) -> float:
    point = _over(edges.ends_m, source_m, receiver_m)
    return _shortest(facets, source_m, [point], [point + OFF_M * edges.open_to], receiver_m)


def _over_two(
    facets: Sequence[Facet],
    edges: Edges,
    near: NDArray[np.intp],
    far: NDArray[np.intp],
    source_m: Real,
    receiver_m: Real,
) -> float:
    pairs = np.stack(np.meshgrid(near, far, indexing="ij"), axis=-1).reshape(-1, 2)
    one, other = (edges.of(rows) for rows in pairs[pairs[:, 0] != pairs[:, 1]].T)
    first = _over(one.ends_m, source_m, receiver_m)
    for _ in range(ROUNDS):
        second = _over(other.ends_m, first, receiver_m)
        first = _over(one.ends_m, source_m, second)
    use = np.flatnonzero(one.face(second) & other.face(first))
    one, other, first, second = one.of(use), other.of(use), first[use], second[use]
    lifted = [first + OFF_M * one.open_to, second + OFF_M * other.open_to]
    return _shortest(facets, source_m, [first, second], lifted, receiver_m)


def _shortest(
    facets: Sequence[Facet], source_m: Real, points: Sequence[Real], lifted: Sequence[Real], receiver_m: Real
) -> float:
    """Length of the shortest way over some points of edges (n, 3) each, of those whose legs nothing stands in."""
    source, receiver = (np.broadcast_to(end, points[0].shape) for end in (source_m, receiver_m))
    legs = np.diff(np.stack([source, *points, receiver]), axis=0)
    length = np.linalg.norm(legs, axis=2).sum(axis=0)
    chain = [source, *lifted, receiver]
    free = np.ones(len(length), dtype=bool)
    for start, end in pairwise(chain):
        free[free] = _clear(facets, start[free], end[free])
    return float(length[free].min(initial=np.inf))


def bending_edges(facets: Sequence[Facet]) -> Edges:
    """Every edge with more than a half turn on its open side."""
    ends = _edges(facets)
    along, middle = _unit(ends[:, 1] - ends[:, 0]), ends.mean(axis=1)
    helper = np.eye(3)[np.abs(along).argmin(axis=1)]
    first = _unit(np.cross(along, helper))
    second = np.cross(along, first)
    wings: list[list[float]] = [[] for _ in ends]
    for facet in facets:
        in_plane = (np.abs(along @ facet.normal) < 0.1) & (np.abs(facet.height_m(middle)) <= RESTS_M)
        across = np.cross(facet.normal, along)
        for sign in (1.0, -1.0):
            u, v, _ = facet.local(middle + sign * WING_M * across)
            for row in np.flatnonzero(in_plane & facet.covers(u, v)):
                side = sign * across[row]
                wings[row].append(float(np.arctan2(side @ second[row], side @ first[row])))
    turn, reach = np.zeros(len(ends)), np.zeros(len(ends))
    for number, angles in enumerate(wings):
        turn[number], reach[number] = _open_side(np.sort(angles))
    use = reach > 0.5 * (np.pi + MORE_RAD)
    to = np.cos(turn)[:, None] * first + np.sin(turn)[:, None] * second
    return Edges(ends[use], to[use], reach[use])


def _open_side(angles: Real) -> tuple[float, float]:
    """Middle and half width of the widest gap between directions around an edge; nothing stands there at all: no edge."""
    if not len(angles):
        return 0.0, 0.0
    gaps = np.diff(angles, append=angles[0] + 2.0 * np.pi)
    widest = int(gaps.argmax())
    return float(angles[widest] + 0.5 * gaps[widest]), float(0.5 * gaps[widest])


def _edges(facets: Sequence[Facet], *, within_m: float = 1e-4) -> Real:
    """(n, 2, 3) ends of all edges, each once."""
    found: dict[frozenset[tuple[int, ...]], Real] = {}
    for facet in facets:
        for ends in np.stack([facet.corners_m, np.roll(facet.corners_m, -1, axis=0)], axis=1):
            found.setdefault(frozenset(tuple(np.round(end / within_m).astype(int)) for end in ends), ends)
    return np.asarray(list(found.values())).reshape(-1, 2, 3)


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


def _unit(vectors: Real) -> Real:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))
