"""Beams: the part of space that a point is seen from through a window, and what shades it; many at a time.

Seen from its image, a receiver is heard through a facet where the straight line to the source meets that facet. That is
a cone whose planes pass through the image and the edges of the facet, and a chain of facets leaves what is common to
all of their cones (beam tracing: Heckbert & Hanrahan 1984; Funkhouser et al. 2004). Every condition is linear in the
source's position, so that one matrix product decides over many sources and images together.

Planes are rows ``a, b, c, d``; a point is on the inner side where ``a x + b y + c z + d`` is positive. Polygons are padded
arrays ``(n, most, 3)`` with the number of their corners ``(n,)``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cones", "Polygons", "cones", "every_window"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
Flags = NDArray[np.bool_]
NEUTRAL = (0.0, 0.0, 0.0, 1e9)  #: a plane that no point is beyond
BLOCK = 1024  #: cones at a time: so many fit into a processor's cache
LEAST_M2 = 1e-12  #: an edge whose triangle with the eye is smaller than this bounds nothing


@dataclass(frozen=True, eq=False)
class Polygons:
    """Convex polygons in space."""

    corners_m: Real  #: (n, most, 3)
    count: Whole  #: (n,) corners of each; fewer than three: nothing is left of it

    def __len__(self) -> int:
        return len(self.count)

    def of(self, rows: Whole | Flags) -> Polygons:
        """Some of them."""
        return Polygons(self.corners_m[rows], self.count[rows])

    @property
    def real(self) -> Flags:
        """(n, most): which corners are not padding."""
        return np.asarray(np.arange(self.corners_m.shape[1]) < self.count[:, None])

    @classmethod
    def stacked(cls, outlines: Sequence[Real]) -> Polygons:
        """From outlines of any number of corners; padded with the first corner."""
        count = np.asarray([len(outline) for outline in outlines], dtype=np.intp)
        corners = np.zeros((len(outlines), int(count.max(initial=3)), 3))
        for row, outline in zip(corners, outlines, strict=True):
            row[:] = outline[0]
            row[: len(outline)] = outline
        return cls(corners, count)

    @classmethod
    def joined(cls, parts: Sequence[Polygons]) -> Polygons:
        """All of several, padded alike."""
        most = max(part.corners_m.shape[1] for part in parts)
        padded = [np.pad(p.corners_m, ((0, 0), (0, most - p.corners_m.shape[1]), (0, 0))) for p in parts]
        return cls(np.concatenate(padded), np.concatenate([part.count for part in parts]))

    @property
    def after(self) -> Whole:
        """(n, most): which corner follows each."""
        step = np.arange(1, self.corners_m.shape[1] + 1)
        return np.where(step < self.count[:, None], step, 0)

    def edge_on(self, eyes_m: Real) -> Flags:
        """Whether each is seen from the edge by its eye (n, 3), as a line that hides nothing."""
        here = self.corners_m - eyes_m[:, None]
        area = (_cross(here, _at(here, self.after)) * self.real[..., None]).sum(axis=1)
        off = np.abs(np.einsum("ni,ni->n", area, here[:, 0]))
        return np.asarray(off <= 1e-9 * np.sqrt(np.einsum("ni,ni->n", area, area)))

    def mirrored(self, planes: Real) -> Polygons:
        """Each mirrored at its plane (n, 4) of unit normal."""
        height = np.einsum("nvi,ni->nv", self.corners_m, planes[:, :3]) + planes[:, 3:]
        return Polygons(self.corners_m - 2.0 * height[..., None] * planes[:, None, :3], self.count)

    def clipped(self, planes: Real) -> Polygons:
        """What of each lies on the inner side of its plane (n, 4): Sutherland & Hodgman 1974."""
        height = np.einsum("nvi,ni->nv", self.corners_m, planes[:, :3]) + planes[:, 3:]
        within = (height >= 0.0) & self.real
        inner = np.count_nonzero(within, axis=1)
        count = np.where(inner > 0, self.count, 0)
        rows = np.flatnonzero((inner > 0) & (inner < self.count))
        if not len(rows):
            return Polygons(self.corners_m, count)
        wide = int(self.count[rows].max())
        crossed = Polygons(self.corners_m[rows, :wide], self.count[rows])
        cut = _cut(crossed, height[rows, :wide], within[rows, :wide])
        more = max(cut.corners_m.shape[1] - self.corners_m.shape[1], 0)
        corners = np.pad(self.corners_m, ((0, 0), (0, more), (0, 0))) if more else self.corners_m.copy()
        corners[rows, : cut.corners_m.shape[1]] = cut.corners_m
        count[rows] = cut.count
        return Polygons(corners, count)


def _cut(polygons: Polygons, height: Real, within: Flags) -> Polygons:
    """Of polygons with corners on both sides: the corners within, and the crossings of the edges."""
    corners, after = polygons.corners_m, polygons.after
    n, most = height.shape
    crossed = (within != _at(within, after)) & polygons.real
    row, step = np.nonzero(crossed)
    here, there = corners[row, step], corners[row, (follows := after[row, step])]
    part = height[row, step] / (height[row, step] - height[row, follows])
    both = np.zeros((n, most, 2, 3))
    both[:, :, 0] = corners
    both[row, step, 1] = here + part[:, None] * (there - here)
    keep = np.stack([within, crossed], axis=2).reshape(n, 2 * most)
    left = np.count_nonzero(keep, axis=1)
    out = np.zeros((n, int(left.max()), 3))
    owner, which = np.nonzero(keep)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(left) - left, left)
    out[owner, place] = both.reshape(n, 2 * most, 3)[owner, which]
    return Polygons(out, left)


def _at(rows: NDArray[Any], which: Whole) -> NDArray[Any]:
    """(n, most, ...): of each row the items ``which`` (n, most)."""
    return rows[np.arange(len(rows))[:, None], which]


def _cross(a: Real, b: Real) -> Real:
    """Cross product along the last axis."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        out[..., k] = a[..., i] * b[..., j] - a[..., j] * b[..., i]
    return out


@dataclass(frozen=True, eq=False)
class Cones:
    """Convex regions, each the inner side of several planes."""

    planes: Real  #: (most, n, 4), real ones first
    count: Whole  #: (n,)

    def __len__(self) -> int:
        return len(self.count)

    def of(self, rows: Whole | Flags) -> Cones:
        """Some of them."""
        return Cones(self.planes[:, rows], self.count[rows])

    def near(self, centre_m: Real, radius_m: float) -> Whole:
        """Cones that may hold a point of a ball; the others hold none."""
        least = (self.planes @ np.append(centre_m, 1.0)).min(axis=0, initial=np.inf)
        return np.flatnonzero(least >= -radius_m - 1e-6)

    def hold(self, rows: Whole, points_m: Real, *, within_m: float) -> Flags:
        """(rows, points): which points (p, 3) lie in which cones, or no further than ``within_m`` outside a plane of it."""
        space = np.vstack([points_m.T, np.ones(len(points_m))])
        out = np.empty((len(rows), len(points_m)), dtype=np.bool_)
        order = np.argsort(-self.count[rows], kind="stable")
        for block in np.split(order, range(BLOCK, len(order), BLOCK)):
            out[block] = self._least(rows[block], space) >= -within_m
        return out

    def _least(self, rows: Whole, space: Real) -> Real:
        """(rows, points): how far inside its nearest plane each point is; rows by falling number of planes."""
        count = self.count[rows]
        least = self.planes[0, rows] @ space
        for k in range(1, int(count.max(initial=0))):
            some = int(np.searchsorted(-count, -k, side="left"))  # those with more than k planes
            np.minimum(least[:some], self.planes[k, rows[:some]] @ space, out=least[:some])
        return np.asarray(least)


def cones(eyes_m: Real, windows: Polygons, *more: Real) -> Cones:
    """What each eye (n, 3) sees through its window; ``more`` planes (n, 4) are added to each."""
    here, real = windows.corners_m - eyes_m[:, None], windows.real
    normal = _cross(here, _at(here, windows.after))
    size = np.sqrt(np.einsum("nvi,nvi->nv", normal, normal))
    bounds = real & (size > LEAST_M2)
    middle = (here * real[..., None]).sum(axis=1) / np.maximum(windows.count, 1)[:, None]
    inner = np.where(np.einsum("nvi,ni->nv", normal, middle) < 0.0, -1.0, 1.0)
    unit = normal * (inner / np.where(bounds, size, 1.0))[..., None]
    offset = -np.einsum("nvi,ni->nv", unit, eyes_m)
    count = np.count_nonzero(bounds, axis=1) + len(more)
    planes = np.tile(NEUTRAL, (int(count.max(initial=len(more))), len(count), 1))
    for place, plane in enumerate(more):
        planes[place] = plane
    owner, edge = np.nonzero(bounds)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count - len(more)) - count, count - len(more))
    planes[place, owner, :3], planes[place, owner, 3] = unit[owner, edge], offset[owner, edge]
    return Cones(planes, count)


def every_window(seen: Cones, windows: Polygons) -> tuple[Whole, Whole]:
    """Pairs of a cone and a window of which some part may lie in it; a pair left out has none (all corners beyond a plane)."""
    first, second = [], []
    for index in range(len(windows)):
        highest = np.full(seen.planes.shape[:2], -np.inf)
        for corner in windows.corners_m[index, : windows.count[index]]:
            np.maximum(highest, seen.planes @ np.append(corner, 1.0), out=highest)
        rows = np.flatnonzero(highest.min(axis=0, initial=np.inf) > 1e-9)
        first.append(rows)
        second.append(np.full(len(rows), index, dtype=np.intp))
    if not first:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    return np.concatenate(first), np.concatenate(second)
