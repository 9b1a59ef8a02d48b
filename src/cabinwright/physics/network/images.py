"""Mirror images: other coordinates that the same measurements fit as well.

Lengths cannot tell a body from its image. Points that hang on the rest only by points of one plane may lie on either side
of it. Every plane through three points is looked at: taking out the points on it, the network falls into parts or it does
not; each part without the frame is mirrored across the plane, adjusted again, and kept where it fits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cabinwright.physics.network.adjust import CRITICAL, Adjusted, adjust
from cabinwright.physics.network.equations import Array, Mask, Network, misfit

__all__ = ["Image", "images"]

IN_PLANE_M = 0.05  #: points this near a plane may hinge on it
STRAIGHT = 0.05  #: sine of the angle below which three points give no plane
HOPELESS_M = 0.25  #: a mirrored start that misses a reading by more is no image
APART_M = 0.02  #: images nearer than this are one place
APART_SIGMA = 3.0  #: and nearer than this many standard deviations
ALL_TRIPLES = 45  #: points up to which every plane is looked at; beyond, planes of neighbours
NEIGHBOURS = 8
MOST_PLANES = 20_000


@dataclass(frozen=True)
class Image:
    """Another solution."""

    found: Adjusted
    points: tuple[int, ...]  #: the points that lie elsewhere, the farthest first
    hinge: tuple[int, ...]  #: the points of the plane between both
    as_good: bool  #: whether the measurements alone cannot tell: within 3.29² of the statistic
    better: bool  #: whether it fits better by as much


def images(current: Adjusted) -> tuple[Image, ...]:
    """Every other place of a part of the network that its measurements allow or prefer."""
    network, found = current.network, []
    limit = CRITICAL**2
    for part, hinge, mirrored in _mirrored(network, current.at_m):
        if np.any(np.abs(misfit(network, mirrored, current.centre_m).v_m[current.used]) > HOPELESS_M):
            continue
        other = adjust(network, mirrored, used=current.used, centre_m=current.centre_m)
        moved = _moved(current, other, part)
        if not moved or not _ahead(network, other.at_m):
            continue
        excess = other.statistic - current.statistic
        if excess < limit or other.p > 1e-3:
            found.append(Image(other, moved, hinge, abs(excess) < limit, excess < -limit))
    return tuple(sorted(found, key=lambda image: image.found.statistic))


def _mirrored(network: Network, at_m: Array) -> Iterator[tuple[Mask, tuple[int, ...], Array]]:
    """Parts that a plane cuts off, the points of that plane, and coordinates with the part mirrored."""
    seen: set[bytes] = set()
    planes = _triples(network)
    corner, first, second = (at_m[planes[:, k]] for k in range(3))
    across = np.cross(first - corner, second - corner)
    size = np.linalg.norm(across, axis=1)
    spread = np.linalg.norm(first - corner, axis=1) * np.linalg.norm(second - corner, axis=1)
    good = size > STRAIGHT * np.maximum(spread, 1e-6)
    planes, corner, normal = planes[good], corner[good], across[good] / size[good][:, None]
    off = normal @ at_m.T - np.einsum("ij,ij->i", normal, corner)[:, None]
    on = np.abs(off) < IN_PLANE_M
    np.put_along_axis(on, planes, True, axis=1)
    for row, part in _parts(network, on):
        key = part.tobytes()
        if key in seen:
            continue
        seen.add(key)
        mirrored = at_m.copy()
        mirrored[part] -= 2.0 * off[row, part][:, None] * normal[row]
        yield part, tuple(int(point) for point in planes[row]), mirrored


def _triples(network: Network) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
    """(planes, 3) points whose planes may be hinges."""
    if network.points <= ALL_TRIPLES:
        return np.array(list(combinations(range(network.points), 3)), dtype=np.intp).reshape(-1, 3)
    chosen = set(combinations(np.flatnonzero(network.ground)[:NEIGHBOURS].tolist(), 3))
    for point in range(network.points):
        chosen.update(combinations(np.flatnonzero(network.linked[point])[:NEIGHBOURS].tolist(), 3))
    return np.array(sorted(chosen)[:MOST_PLANES], dtype=np.intp).reshape(-1, 3)


def _parts(network: Network, on: Mask) -> Iterator[tuple[int, Mask]]:
    """For each plane (row of ``on``, which points lie on it): the parts of the rest that the frame is not in."""
    link = network.linked.astype(np.float32)
    grounded = _reached(on, network.ground & ~on, link)
    left = ~on & ~grounded
    while left.any():
        rows = np.flatnonzero(left.any(axis=1))
        seed = np.zeros_like(left)
        seed[rows, np.argmax(left[rows], axis=1)] = True
        part = np.zeros_like(left)
        part[rows] = _reached(on[rows], seed[rows], link)
        yield from ((int(row), part[row]) for row in rows)
        left &= ~part


def _reached(on: Mask, seed: Mask, link: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> Mask:
    """(planes, points) what is joined to ``seed`` without going through the plane's points."""
    reached = seed
    while True:
        wider = reached | (((reached.astype(np.float32) @ link) > 0.0) & ~on)
        if (wider == reached).all():
            return reached
        reached = wider


def _moved(current: Adjusted, other: Adjusted, part: Mask) -> tuple[int, ...]:
    """Points of which ``other`` has another place, farthest first."""
    apart_m = np.linalg.norm(other.at_m - current.at_m, axis=1)
    sigma_m = np.sqrt(np.diag(current.coordinates_m2).reshape(-1, 3).max(axis=1))
    there = np.flatnonzero((apart_m > np.maximum(APART_M, APART_SIGMA * sigma_m)) & (part | (apart_m > HOPELESS_M)))
    return tuple(int(point) for point in there[np.argsort(-apart_m[there])])


def _ahead(network: Network, at_m: Array) -> bool:
    """Whether the frame's points lie on the right side of its origin."""
    return all(at_m[point, axis] > at_m[origin, axis] for point, axis, origin in network.ahead)
