"""Mirror images: other coordinates that the same measurements fit as well.

Lengths cannot tell a body from its image. Points that hang on the rest only by points of one plane may lie on either side
of it. Every plane through three points is looked at: taking out the points on it, the network falls into parts or it does
not; each part without the frame is mirrored across the plane, adjusted again, and kept where it fits. Single points are mirrored
in the plane that comes nearest to what they hang on even where that is no plane.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cabinwright.physics.network.adjust import CRITICAL, Adjusted, adjust
from cabinwright.physics.network.equations import NEAREST_M, Array, Indices, Mask, Network, misfit

__all__ = ["Image", "images"]

IN_PLANE_M = 0.05  #: points this near a plane may hinge on it
STRAIGHT = 0.05  #: sine of the angle below which three points give no plane
HOPELESS_M = 0.25  #: a mirrored start that misses a reading by more is no image
APART_M = 0.02  #: images nearer than this are one place
APART_SIGMA = 3.0  #: and nearer than this many standard deviations
ALL_TRIPLES = 45  #: points up to which every plane is looked at; beyond, planes of neighbours
NEIGHBOURS = 8
MOST_PLANES = 20_000
LOCAL_STEPS = 10
LOCAL_LIMIT = 100.0  #: mean square of the standardised residuals beyond which a single point is not tried elsewhere


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
    network, found = current.network, list[Image]()
    limit = CRITICAL**2
    for part, hinge, mirrored in _mirrored(current):
        if np.any(np.abs(misfit(network, mirrored, current.centre_m).v_m[current.used]) > HOPELESS_M):
            continue
        other = adjust(network, mirrored, used=current.used, centre_m=current.centre_m)
        moved = _moved(current, other, part)
        known = any(np.abs(other.at_m - image.found.at_m).max() < APART_M for image in found)
        if not moved or known or not _ahead(network, other.at_m):
            continue
        excess = other.statistic - current.statistic
        if excess < limit or other.p > 1e-3:
            found.append(Image(other, moved, hinge, abs(excess) < limit, excess < -limit))
    return tuple(sorted(found, key=lambda image: image.found.statistic))


def _mirrored(current: Adjusted) -> Iterator[tuple[Mask, tuple[int, ...], Array]]:
    """Parts that a plane cuts off, the points of that plane, and coordinates with the part mirrored."""
    network, at_m = current.network, current.at_m
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
        # What the part hangs on may be some of the plane's points only: mirror it in the plane that fits those best.
        hinge = np.flatnonzero(network.linked[part].any(axis=0) & ~part)
        centre = at_m[hinge].mean(axis=0)
        if len(hinge) < 3 or _flatness(at_m[hinge]) < STRAIGHT:
            hinge, centre, direction = planes[row], corner[row], normal[row]
        else:
            direction = np.linalg.svd(at_m[hinge] - centre)[2][2]
        mirrored = at_m.copy()
        mirrored[part] -= 2.0 * ((at_m[part] - centre) @ direction)[:, None] * direction
        yield part, tuple(int(point) for point in hinge), mirrored
    for point in np.flatnonzero(~network.ground):
        part = np.arange(network.points) == point
        found = None if part.tobytes() in seen else _across(current, int(point))
        if found is not None:
            mirrored = at_m.copy()
            mirrored[point], hinge = found
            yield part, tuple(int(other) for other in hinge), mirrored


def _across(current: Adjusted, point: int) -> tuple[Array, Indices] | None:
    """Where else a single point's own tapes may put it, all others standing still, and what they lead to; or None."""
    network = current.network
    rows = np.flatnonzero((network.tape_ends == point).any(axis=1) & current.used[: network.tapes])
    others = network.tape_ends[rows].sum(axis=1) - point
    if len(rows) < 3 or _flatness(current.at_m[others]) < STRAIGHT:
        return None
    centres, sigma_m = current.at_m[others], network.tape_sigma_m[rows]
    middle = centres.mean(axis=0)
    direction = np.linalg.svd(centres - middle)[2][2]
    place = current.at_m[point] - 2.0 * ((current.at_m[point] - middle) @ direction) * direction
    for _ in range(LOCAL_STEPS):
        gap_m = place - centres
        length_m = np.maximum(np.linalg.norm(gap_m, axis=1), NEAREST_M)
        rows_m = gap_m / length_m[:, None] / sigma_m[:, None]
        v = (network.tape_m[rows] - length_m) / sigma_m
        place = place + np.linalg.solve(rows_m.T @ rows_m + np.eye(3), rows_m.T @ v)
    v = (network.tape_m[rows] - np.linalg.norm(place - centres, axis=1)) / sigma_m
    away = np.linalg.norm(place - current.at_m[point]) > APART_M
    return (place, others) if away and v @ v < LOCAL_LIMIT * len(rows) else None


def _flatness(at_m: Array) -> float:
    """How far points are from lying on one line: 0 where they do."""
    sizes = np.linalg.svd(at_m - at_m.mean(axis=0), compute_uv=False)
    return float(sizes[1] / max(sizes[0], 1e-9))


def _triples(network: Network) -> Indices:
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
