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

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cones", "Polygons", "cones", "every_window"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
Flags = NDArray[np.bool_]
NEUTRAL = (0.0, 0.0, 0.0, 1e9)  #: a plane that no point is beyond
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

    def edge_on(self, eyes_m: Real) -> Flags:
        """Whether each is seen from the edge by its eye (n, 3), as a line that hides nothing."""
        after = np.where((step := np.arange(self.corners_m.shape[1])) + 1 < self.count[:, None], step + 1, 0)
        here = self.corners_m - eyes_m[:, None]
        turned = np.cross(here, np.take_along_axis(here, after[..., None], axis=1)) * self.real[..., None]
        area = turned.sum(axis=1)
        off = np.abs(np.einsum("ni,ni->n", area, here[:, 0]))
        return np.asarray(off <= 1e-9 * np.linalg.norm(area, axis=1))

    def mirrored(self, planes: Real) -> Polygons:
        """Each mirrored at its plane (n, 4) of unit normal."""
        height = np.einsum("nvi,ni->nv", self.corners_m, planes[:, :3]) + planes[:, 3:]
        return Polygons(self.corners_m - 2.0 * height[..., None] * planes[:, None, :3], self.count)

    def clipped(self, planes: Real) -> Polygons:
        """What of each lies on the inner side of its plane (n, 4): Sutherland & Hodgman 1974."""
        height = np.einsum("nvi,ni->nv", self.corners_m, planes[:, :3]) + planes[:, 3:]
        real = self.real
        within = (height >= 0.0) & real
        inner = within.sum(axis=1)
        count = np.where(inner > 0, self.count, 0)
        rows = np.flatnonzero((inner > 0) & (inner < self.count))
        if not len(rows):
            return Polygons(self.corners_m, count)
        wide = int(self.count[rows].max())
        some, left = _cut(self.corners_m[rows, :wide], self.count[rows], height[rows, :wide], within[rows, :wide])
        corners = self.corners_m
        if some.shape[1] > corners.shape[1]:
            corners = np.pad(corners, ((0, 0), (0, some.shape[1] - corners.shape[1]), (0, 0)))
        else:
            corners = corners.copy()
        corners[rows, : some.shape[1]] = some
        count[rows] = left
        return Polygons(corners, count)


def _cut(corners: Real, count: Whole, height: Real, within: Flags) -> tuple[Real, Whole]:
    """Polygons with corners on both sides: the corners within, and the crossings of the edges."""
    n, most = height.shape
    step = np.arange(most)
    after = np.where(step + 1 < count[:, None], step + 1, 0)
    next_height = np.take_along_axis(height, after, axis=1)
    crossed = (within != np.take_along_axis(within, after, axis=1)) & (step < count[:, None])
    part = np.divide(height, height - next_height, out=np.zeros_like(height), where=crossed)
    points = corners + part[..., None] * (np.take_along_axis(corners, after[..., None], axis=1) - corners)
    both = np.stack([corners, points], axis=2).reshape(n, 2 * most, 3)
    keep = np.stack([within, crossed], axis=2).reshape(n, 2 * most)
    left = keep.sum(axis=1)
    front = np.argsort(~keep, axis=1, kind="stable")[:, : int(left.max())]
    return np.take_along_axis(both, front[..., None], axis=1), left


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
        order = np.argsort(-self.count[rows], kind="stable")
        sorted_rows, count = rows[order], self.count[rows][order]
        space = np.vstack([points_m.T, np.ones(len(points_m))])
        least = self.planes[0, sorted_rows] @ space
        for k in range(1, int(count.max(initial=0))):
            some = int(np.searchsorted(-count, -k, side="left"))  # those with more than k planes
            np.minimum(least[:some], self.planes[k, sorted_rows[:some]] @ space, out=least[:some])
        out = np.empty(least.shape, dtype=np.bool_)
        out[order] = least >= -within_m
        return out


def cones(eyes_m: Real, windows: Polygons, *more: Real) -> Cones:
    """What each eye (n, 3) sees through its window; ``more`` planes (n, 4) are added to each."""
    corners, real = windows.corners_m, windows.real
    step = np.arange(corners.shape[1])
    after = np.where(step + 1 < windows.count[:, None], step + 1, 0)
    here = corners - eyes_m[:, None]
    normal = np.cross(here, np.take_along_axis(here, after[..., None], axis=1))
    size = np.linalg.norm(normal, axis=2)
    bounds = real & (size > LEAST_M2)
    middle = (here * real[..., None]).sum(axis=1) / np.maximum(windows.count, 1)[:, None]
    inner = np.where(np.einsum("nvi,ni->nv", normal, middle) < 0.0, -1.0, 1.0)
    unit = normal * (inner / np.where(bounds, size, 1.0))[..., None]
    offset = -np.einsum("nvi,ni->nv", unit, eyes_m)
    planes = np.where(bounds[..., None], np.concatenate([unit, offset[..., None]], axis=2), NEUTRAL)
    order = np.argsort(~bounds, axis=1, kind="stable")
    planes = np.take_along_axis(planes, order[..., None], axis=1)[:, : int(bounds.sum(axis=1).max(initial=0))]
    added = np.stack(more, axis=1) if more else np.empty((len(corners), 0, 4))
    every = np.concatenate([added, planes], axis=1)
    return Cones(np.ascontiguousarray(np.moveaxis(every, 1, 0)), bounds.sum(axis=1) + added.shape[1])


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
