"""A way for a rigid body that moves in a plane and turns on it: from its place to where it is clear of everything.

Slices of the space of poses (Lozano-Pérez 1983): with the turn held, the places where the body meets a wall are the Minkowski
sum of the wall and the body turned over; for convex pieces that is the hull of the sums of their corners, exactly. What is left
is cut into triangles. Two triangles of one slice that share an edge, and two of neighbouring slices that overlap, are joined;
a short way through them is sought from the goal outwards (A*), and slices are made when the search comes to them.
Within a triangle nothing is met, exactly; between two slices the body is turned by a step, which whoever asks has to check.
The body may be told as several pairs of pieces and walls that do not lie in the same plane, such as cuts of a solid side by side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heappop, heappush
from itertools import count
from math import hypot, radians

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

__all__ = ["Pose", "Space", "shorter", "way_out"]

Real = NDArray[np.float64]
Pose = tuple[float, float, float]
"""Where the body's own origin lies, x and z [m], and its turn from x towards z [rad]."""
Node = tuple[int, int]
LEAST_M2 = 1e-10  #: triangles and overlaps smaller than this are no way


@dataclass(frozen=True)
class _Slice:
    free: BaseGeometry
    triangles: NDArray[np.object_]
    middles: Real  #: (n, 2)
    joined: dict[int, list[tuple[int, float, float]]]  #: to which triangle, and the middle of the edge between


@dataclass(eq=False)
class Space:
    """A body among walls: corners (n, m, 2) of its convex pieces, and of the walls (n, 4, 2) they may meet; counter-clockwise."""

    body: Real  #: about its own origin
    walls: Real
    window: Polygon  #: in which its origin stays
    step_deg: float = 1.0
    most_slices: int = 200
    most_deg: float = 90.0  #: it is turned, either way
    slices: dict[int, _Slice] = field(default_factory=dict)
    overlaps: dict[tuple[int, int], dict[int, list[tuple[int, float, float]]]] = field(default_factory=dict)

    @cached_property
    def radius_m(self) -> float:
        """Of the circle about its origin that holds the body."""
        return float(np.linalg.norm(self.body, axis=-1).max())

    @property
    def spent(self) -> bool:
        """Whether as many slices were made as may be."""
        return len(self.slices) >= self.most_slices

    def turn_rad(self, number: int) -> float:
        """Turn of a slice."""
        return radians(number * self.step_deg)

    def slice_of(self, number: int) -> _Slice | None:
        """Where the body's origin may lie at one turn; None where it is turned too far or enough slices were made."""
        if number not in self.slices:
            if self.spent or abs(number) * self.step_deg > self.most_deg + 1e-9:
                return None
            self.slices[number] = self._made(self.turn_rad(number))
        return self.slices[number]

    def _made(self, turn_rad: float) -> _Slice:
        body = self.body @ _turned(turn_rad)
        met = shapely.union_all(shapely.polygons(_sums(self.walls, -body)))
        free = self.window.difference(met)
        parts = shapely.get_parts(shapely.constrained_delaunay_triangles(free))
        parts = parts[shapely.area(parts) > LEAST_M2]
        shapely.prepare(free)
        middles = shapely.get_coordinates(shapely.centroid(parts)).reshape(-1, 2)
        return _Slice(free, parts, middles, _neighbours(parts))

    def across(self, a: int, b: int) -> dict[int, list[tuple[int, float, float]]]:
        """From each triangle of slice ``a`` to those of slice ``b`` that it overlaps, and the middle of the overlap."""
        if (a, b) not in self.overlaps:
            rows: dict[int, list[tuple[int, float, float]]] = {}
            one, two = self.slices[a].triangles, self.slices[b].triangles
            if len(one) and len(two):
                left, right = STRtree(two).query(one, predicate="intersects")
                shared = shapely.intersection(one[left], two[right])
                wide = shapely.area(shared) > LEAST_M2
                middle = shapely.get_coordinates(shapely.centroid(shared[wide])).reshape(-1, 2)
                for i, j, (x, z) in zip(left[wide], right[wide], middle, strict=True):
                    rows.setdefault(int(i), []).append((int(j), float(x), float(z)))
            self.overlaps[a, b] = rows
        return self.overlaps[a, b]

    def lowest_m(self, number: int) -> float:
        """How far the body reaches below its origin, at one turn."""
        return -float((self.body @ _turned(self.turn_rad(number)))[..., 1].min())


def _turned(turn_rad: float) -> Real:
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return np.array([[c, s], [-s, c]])


def _sums(a: Real, b: Real) -> Real:
    """Minkowski sums (n, k + m, 2) of convex polygons (n, k, 2) and (n, m, 2), counter-clockwise: edges in order."""
    edges = np.concatenate([np.roll(item, -1, axis=1) - item for item in (a, b)], axis=1)
    order = np.argsort(np.arctan2(edges[..., 1], edges[..., 0]) % (2.0 * np.pi), axis=1, kind="stable")
    edges = np.take_along_axis(edges, order[..., None], axis=1)
    # directions from 0 on are those that follow the lowest corner, of equals the one farthest back
    starts = [item[np.arange(len(item)), np.lexsort((item[..., 0], item[..., 1]), axis=1)[:, 0]] for item in (a, b)]
    return np.asarray((starts[0] + starts[1])[:, None] + np.cumsum(edges, axis=1))


def _neighbours(parts: NDArray[np.object_]) -> dict[int, list[tuple[int, float, float]]]:
    """Triangles that share an edge, and its middle."""
    corners = np.round(shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3], 10)
    edges: dict[tuple[tuple[float, ...], ...], int] = {}
    joined: dict[int, list[tuple[int, float, float]]] = {}
    for n, triangle in enumerate(corners.tolist()):
        for k in range(3):
            a, b = tuple(triangle[k]), tuple(triangle[(k + 1) % 3])
            key = (min(a, b), max(a, b))
            other = edges.setdefault(key, n)
            if other != n:
                x, z = (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0
                joined.setdefault(n, []).append((other, x, z))
                joined.setdefault(other, []).append((n, x, z))
    return joined


def way_out(space: Space, goal: tuple[float, float], *, above_m: float) -> list[Pose] | None:
    """Poses from the goal, level, to where all of the body lies above ``above_m``; None where no way was found.

    Between two of them either the place changes or the turn does, by a step. A way that leaves the window is not found, nor
    one narrower than a step of the turn lets through.
    """
    first = space.slice_of(0)
    if first is None or not len(first.triangles):
        return None
    start = int(np.argmin(shapely.distance(first.triangles, Point(goal))))
    if shapely.distance(first.triangles[start], Point(goal)) > 1e-9:
        return None
    level_m = above_m + space.lowest_m(0)  # so high it has to get, unless it is tilted: what looks nearest goes first
    if goal[1] < level_m and first.free.covers(LineString([goal, (goal[0], level_m)])):
        return [(*goal, 0.0), (goal[0], level_m, 0.0)]
    order = count()
    line: list[tuple[float, float, int, Node, Node | None, tuple[Pose, ...]]] = []
    heappush(line, (0.0, 0.0, next(order), (0, start), None, ((*goal, 0.0),)))
    came: dict[Node, tuple[Node | None, tuple[Pose, ...]]] = {}
    while line:
        _, cost, _, node, before, poses = heappop(line)
        if node in came:
            continue
        came[node] = (before, poses)
        number, triangle = node
        here = space.slices[number]
        corners = shapely.get_coordinates(here.triangles[triangle])
        top = corners[int(np.argmax(corners[:, 1]))]
        turn = space.turn_rad(number)
        if top[1] - space.lowest_m(number) >= above_m:
            return [*_back(came, node), (float(top[0]), float(top[1]), turn)]
        x, z, _ = poses[-1]
        for after, via, turned in _steps(space, number, triangle):
            if after in came:
                continue
            at = space.slices[after[0]].middles[after[1]]
            far = hypot(via[0] - x, via[1] - z) + hypot(at[0] - via[0], at[1] - via[1])
            far += abs(turned - turn) * space.radius_m
            steps: tuple[Pose, ...] = ((*via, turn),)
            if turned != turn:
                steps = (*steps, (*via, turned))
            left = max(0.0, level_m - at[1])
            heappush(
                line,
                (
                    cost + far + left,
                    cost + far,
                    next(order),
                    after,
                    node,
                    (*steps, (float(at[0]), float(at[1]), turned)),
                ),
            )
    return None


def _steps(space: Space, number: int, triangle: int) -> Iterator[tuple[Node, tuple[float, float], float]]:
    for other, x, z in space.slices[number].joined.get(triangle, ()):
        yield (number, other), (x, z), space.turn_rad(number)
    for near in (number - 1, number + 1):
        if space.slice_of(near) is not None:
            for other, x, z in space.across(number, near).get(triangle, ()):
                yield (near, other), (x, z), space.turn_rad(near)


def _back(came: dict[Node, tuple[Node | None, tuple[Pose, ...]]], node: Node) -> list[Pose]:
    parts: list[tuple[Pose, ...]] = []
    at: Node | None = node
    while at is not None:
        at, poses = came[at]
        parts.append(poses)
    return [pose for part in reversed(parts) for pose in part]


def shorter(space: Space, poses: list[Pose]) -> list[Pose]:
    """The same way with detours left out, wherever place and turn may change together in a straight line."""
    kept, here = [poses[0]], 0
    while here < len(poses) - 1:
        far = len(poses) - 1
        while far > here + 1 and not _straight(space, poses[here], poses[far]):
            far = here + max(1, (far - here) // 2)
        kept.append(poses[far])
        here = far
    return kept


def _straight(space: Space, a: Pose, b: Pose) -> bool:
    """Whether the straight way lies in the free part of every slice that it comes through, and in those on both sides."""
    step = radians(space.step_deg)
    low, high = round(a[2] / step), round(b[2] / step)
    numbers = range(low, high + (1 if high >= low else -1), 1 if high >= low else -1)
    places = np.linspace(a[:2], b[:2], max(2, len(numbers)))
    for k, number in enumerate(numbers):
        here = space.slices.get(number)
        part = LineString(places[max(0, k - 1) : k + 2])
        if here is None or not (here.free.covers(part) if part.length > 0.0 else here.free.covers(Point(places[k]))):
            return False
    return True
