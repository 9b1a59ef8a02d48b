"""Invented rooms of flat facets for the tests of reflections, and a slow, plain search for their paths.

The search shares nothing with the code: images of the source (the code mirrors receivers), every sequence, outlines by
matplotlib's ``Path``, one path at a time.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
from matplotlib.path import Path
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

Real = NDArray[np.float64]
L_PROFILE = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 0.6), (1.1, 0.6), (1.1, 1.3), (0.0, 1.3)])


def frustum(
    profile: Real, width_m: float, *, scale: float = 1.0, shift: tuple[float, float] = (0.0, 0.0)
) -> list[Real]:
    """A profile (x, z) at y = 0, and the same scaled and shifted at ``width_m``: slanted walls, all of them flat."""
    count = len(profile)
    far = profile * scale + np.asarray(shift)

    def near_point(k: int) -> tuple[float, float, float]:
        return float(profile[k, 0]), 0.0, float(profile[k, 1])

    def far_point(k: int) -> tuple[float, float, float]:
        return float(far[k, 0]), width_m, float(far[k, 1])

    sides = [np.array([point(k) for k in range(count)]) for point in (near_point, far_point)]
    for k in range(count):
        nxt = (k + 1) % count
        sides.append(np.array([near_point(k), near_point(nxt), far_point(nxt), far_point(k)]))
    return sides


def box(length: float, width: float, height: float) -> list[Real]:
    """A shoebox with one corner at the origin: y = 0, y = width, floor, x = length, ceiling, x = 0."""
    return frustum(np.array([(0.0, 0.0), (length, 0.0), (length, height), (0.0, height)]), width)


def hull(rng: np.random.Generator, points: int = 8) -> list[Real]:
    """Triangles around random points: a convex room of no regularity."""
    cloud = rng.uniform((0.0, 0.0, 0.0), (2.6, 1.6, 1.3), (points, 3))
    return [cloud[corner] for corner in ConvexHull(cloud).simplices]


def closed_room(seed: int) -> list[Real]:
    """One of many: slanted convex prisms, slanted L-shapes, hulls."""
    rng = np.random.default_rng(seed)
    taper = {"scale": float(rng.uniform(0.7, 1.2)), "shift": tuple(rng.uniform(-0.2, 0.2, 2))}
    width = float(rng.uniform(1.1, 1.6))
    if seed % 3 == 0:
        return hull(rng, int(rng.integers(6, 9)))
    if seed % 3 == 1:
        turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, int(rng.integers(5, 8))))
        while np.diff(np.append(turn, turn[0] + 2.0 * np.pi)).min() < 0.4 or np.diff(turn).max() > 2.6:
            turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, len(turn)))
        return frustum(np.stack([1.3 * np.cos(turn), 0.7 * np.sin(turn)], axis=1), width, **taper)
    bent = L_PROFILE * rng.uniform(0.85, 1.15, 2) + rng.uniform(-0.06, 0.06, L_PROFILE.shape)
    return frustum(bent, width, **taper)


def outward(facets: list[Real]) -> list[Real]:
    """The same facets of a closed room, each wound so that its normal points out: an odd count of facets lies behind it."""
    out = []
    for corners in facets:
        normal = sum(np.cross(a, b) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True))
        normal = normal / np.linalg.norm(normal)
        inner = some_point_of(corners) - 1e-4 * normal
        out.append(corners if inside(facets, inner) else corners[::-1].copy())
    return out


def some_point_of(corners: Real) -> Real:
    """A point well within a facet, convex or not: the middle of one of its ears, or of the whole."""
    plane = _Plane(corners)
    for k in range(len(corners)):
        point = corners[[k - 1, k, (k + 1) % len(corners)]].mean(axis=0)
        if plane.holds(point):
            return point
    raise AssertionError("no point of the facet found")


def inside(facets: list[Real], point: Real) -> bool:
    """Whether a point lies in a closed room: an odd count of crossings along a crooked direction."""
    far = point + 50.0 * np.array([0.5317, 0.2713, 0.8023])
    return sum(_between(_Plane(corners), point, far) for corners in facets) % 2 == 1


def points_inside(facets: list[Real], count: int, rng: np.random.Generator, *, from_wall_m: float = 0.03) -> Real:
    """(count, 3) points in a closed room, none nearer than ``from_wall_m`` to a wall's plane."""
    every = np.concatenate(facets)
    planes = [_Plane(corners) for corners in facets]
    out: list[Real] = []
    while len(out) < count:
        point = rng.uniform(every.min(axis=0), every.max(axis=0))
        if inside(facets, point) and min(abs(plane.side(point)) for plane in planes) > from_wall_m:
            out.append(point)
    return np.asarray(out)


class _Plane:
    def __init__(self, corners: Real) -> None:
        normal = sum(np.cross(a, b) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True))
        self.normal = np.asarray(normal) / np.linalg.norm(normal)
        self.offset = float(self.normal @ corners.mean(axis=0))
        self.kept = [k for k in range(3) if k != int(np.abs(self.normal).argmax())]
        self.outline = Path(corners[:, self.kept])

    def side(self, point: Real) -> float:
        return float(self.normal @ point) - self.offset

    def mirror(self, point: Real) -> Real:
        return np.asarray(point - 2.0 * self.side(point) * self.normal)

    def holds(self, point: Real) -> bool:
        seen = point[self.kept]
        return bool(self.outline.contains_point(seen, radius=1e-9) or self.outline.contains_point(seen, radius=-1e-9))


def _between(plane: _Plane, start: Real, end: Real) -> bool:
    a, b = plane.side(start), plane.side(end)
    if a * b >= 0.0:
        return False
    part, length = a / (a - b), float(np.linalg.norm(end - start))
    return bool(min(part, 1.0 - part) * length > 1e-6 and plane.holds(start + part * (end - start)))


def plain_chains(facets: list[Real], source: Real, head: Real, order: int = 3) -> dict[tuple[int, ...], list[Real]]:
    """Facets met, in order, and source, points of reflection, head of every path; ``()`` is the straight one, at order 0.

    A facet that the source lies on is its baffle, no mirror.
    """
    planes = [_Plane(corners) for corners in facets]
    mount = {k for k, plane in enumerate(planes) if abs(plane.side(source)) < 5e-3 and plane.holds(source)}
    found = {}
    if not order and _clear(planes, (), [source, head], mount):
        found[()] = [source, head]
    for count in range(1, order + 1):
        for way in product(range(len(planes)), repeat=count):
            if way[0] not in mount and all(a != b for a, b in pairwise(way)):
                chain = _chain(planes, way, source, head)
                if chain is not None and _clear(planes, way, chain, mount):
                    found[way] = chain
    return found


def plain_paths(facets: list[Real], source: Real, head: Real, order: int = 3) -> dict[tuple[int, ...], float]:
    """Facets met, in order, and length of every path."""
    chains = plain_chains(facets, source, head, order)
    return {way: float(sum(np.linalg.norm(b - a) for a, b in pairwise(chain))) for way, chain in chains.items()}


def _chain(planes: list[_Plane], way: tuple[int, ...], source: Real, head: Real) -> list[Real] | None:
    """Source, points of reflection, head; None where one of them falls outside its facet or sound would pass through."""
    images = [source]
    for k in way:
        images.append(planes[k].mirror(images[-1]))
    at, points = head, []
    for k, image in zip(reversed(way), reversed(images), strict=False):
        a, b = planes[k].side(at), planes[k].side(image)
        if a * b >= 0.0 or abs(a) < 1e-9:
            return None
        at = at + a / (a - b) * (image - at)
        if not planes[k].holds(at):
            return None
        points.insert(0, at)
    chain = [source, *points, head]
    same = all(planes[k].side(chain[j]) * planes[k].side(chain[j + 2]) > 0.0 for j, k in enumerate(way))
    return chain if same else None


def _clear(planes: list[_Plane], way: tuple[int, ...], chain: list[Real], mount: set[int]) -> bool:
    for leg in range(len(chain) - 1):
        own = set(way[max(leg - 1, 0) : leg + 1]) | (mount if leg == 0 else set())
        if any(_between(plane, chain[leg], chain[leg + 1]) for k, plane in enumerate(planes) if k not in own):
            return False
    return True
