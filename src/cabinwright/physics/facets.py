"""Flat facets in space: planes, outlines, what lies inside them and what they hide.

A facet is a polygon of three corners or more, wound either way, convex or concave, flat within ``FLAT_M``. Points within
``EDGE_M`` of an outline count as inside, so that sound meeting the seam of two facets meets one of them and does not slip
between. Even-odd rule for concave outlines (Shimrat 1962; Hormann & Agathos 2001).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cabinwright.physics.cavity.triangles import newell_normal

__all__ = ["EDGE_M", "FLAT_M", "Facet", "FacetError", "blocked", "may_block"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
FLAT_M = 0.005  #: how far a corner may lie off the facet's plane
EDGE_M = 1e-9  #: how far outside its outline a point still counts as inside
NEAR_M = 1e-6  #: a crossing this close to an end of a leg is that end


class FacetError(ValueError):
    """Corners that make no facet; the message says which rule they break."""


@dataclass(frozen=True, eq=False)
class Facet:
    """One flat piece. Raises ``FacetError`` where the corners are no flat, simple polygon."""

    corners_m: Real  #: (n, 3)

    @classmethod
    def of(cls, corners_m: ArrayLike) -> Facet:
        """From anything like an array (n, 3)."""
        corners = np.asarray(corners_m, dtype=np.float64)
        if corners.ndim != 2 or corners.shape[1] != 3 or len(corners) < 3:
            raise FacetError("a facet needs three corners or more, each x, y, z")
        if not np.isfinite(corners).all():
            raise FacetError("a facet's corners must be finite")
        facet = cls(corners)
        facet._check()
        return facet

    def _check(self) -> None:
        sides = np.roll(self.corners_m, -1, axis=0) - self.corners_m
        if np.linalg.norm(sides, axis=1).min() < 1e-6:
            raise FacetError("two corners lie in the same place")
        centred = self.corners_m - self.corners_m.mean(axis=0)
        _, spread, ways = np.linalg.svd(centred)
        if spread[1] < 1e-6:
            raise FacetError("the corners lie on one line")
        if np.abs(centred @ ways[2]).max() > FLAT_M:
            worst, off = _odd_corner(self.corners_m)
            raise FacetError(f"corner {worst + 1} lies {1000 * off:.0f} mm off the plane of the others")
        outline = centred @ ways[:2].T  # the axes of this facet are not known to be sound yet
        if _crosses_itself(outline):
            raise FacetError("its outline crosses itself")
        if self.area_m2 < 1e-8:
            raise FacetError("the corners lie on one line")
        if _touches_itself(outline):
            raise FacetError("its outline touches itself")

    @cached_property
    def _newell(self) -> Real:
        return newell_normal(self.corners_m)

    @cached_property
    def area_m2(self) -> float:
        """Area."""
        return float(np.linalg.norm(self._newell))

    @cached_property
    def axes(self) -> Real:
        """(3, 3): two directions in the plane and the normal, as rows."""
        normal = self._newell / np.linalg.norm(self._newell)
        first = np.eye(3)[int(np.abs(normal).argmin())]
        first = first - (first @ normal) * normal
        first = first / np.linalg.norm(first)
        return np.stack([first, np.cross(normal, first), normal])

    @property
    def normal(self) -> Real:
        """Unit normal; which of the two depends on the winding."""
        return np.asarray(self.axes[2])

    @cached_property
    def centre_m(self) -> Real:
        """Mean of the corners."""
        return np.asarray(self.corners_m.mean(axis=0))

    @cached_property
    def outline_m(self) -> Real:
        """(n, 2): corners in the facet's own axes, counter-clockwise, from its centre."""
        return np.asarray((self.corners_m - self.centre_m) @ self.axes[:2].T)

    @cached_property
    def convex(self) -> bool:
        """Whether every corner turns the same way."""
        return bool((_turns(self.outline_m) >= -1e-12).all())

    def local(self, points_m: Real) -> tuple[Real, Real, Real]:
        """Coordinates of points (..., 3) in the facet's axes: across, up, height over its plane."""
        moved = (np.asarray(points_m) - self.centre_m) @ self.axes.T
        return moved[..., 0], moved[..., 1], moved[..., 2]

    def height_m(self, points_m: Real) -> Real:
        """Signed distance of points (..., 3) from the plane."""
        return np.asarray((np.asarray(points_m) - self.centre_m) @ self.normal)

    def mirrored(self, points_m: Real) -> Real:
        """Points (..., 3) mirrored at the plane."""
        return np.asarray(points_m - 2.0 * self.height_m(points_m)[..., None] * self.normal)

    def covers(self, u: Real, v: Real) -> Flags:
        """Whether points of the plane, in the facet's axes, lie inside the outline."""
        if self.convex:
            inside = np.ones(np.shape(u), dtype=bool)
            for (x, y), (ex, ey) in zip(self.outline_m, self._edges, strict=True):
                inside &= ex * (v - y) - ey * (u - x) >= -EDGE_M * np.hypot(ex, ey)
            return inside
        odd = np.zeros(np.shape(u), dtype=bool)
        near = np.zeros(np.shape(u), dtype=bool)
        for (x, y), (ex, ey) in zip(self.outline_m, self._edges, strict=True):
            across = (y > v) != (y + ey > v)
            with np.errstate(divide="ignore", invalid="ignore"):
                odd ^= across & (u < x + ex * (v - y) / ey)
            along = np.clip(((u - x) * ex + (v - y) * ey) / (ex * ex + ey * ey), 0.0, 1.0)
            near |= (u - x - along * ex) ** 2 + (v - y - along * ey) ** 2 <= EDGE_M**2
        return odd | near

    @cached_property
    def _edges(self) -> Real:
        return np.asarray(np.roll(self.outline_m, -1, axis=0) - self.outline_m)

    def holds(self, points_m: Real, *, within_m: float) -> Flags:
        """Whether points (..., 3) lie on the facet, no further than ``within_m`` from its plane."""
        u, v, height = self.local(points_m)
        return np.asarray((np.abs(height) <= within_m) & self.covers(u, v))


def blocked(facet: Facet, starts_m: Real, ends_m: Real) -> Flags:
    """Whether a facet stands between points (n, 3) and (n, 3). Touching it with an end is not standing between."""
    u0, v0, h0 = facet.local(starts_m)
    u1, v1, h1 = facet.local(ends_m)
    out = np.zeros(len(h0), dtype=bool)
    pierced = np.flatnonzero(h0 * h1 < 0.0)
    if not len(pierced):
        return out
    u0, v0, h0, u1, v1, h1 = (row[pierced] for row in (u0, v0, h0, u1, v1, h1))
    part = h0 / (h0 - h1)
    length = np.sqrt((u1 - u0) ** 2 + (v1 - v0) ** 2 + (h1 - h0) ** 2)
    between = (part * length > NEAR_M) & ((1.0 - part) * length > NEAR_M)
    out[pierced] = between & facet.covers(u0 + part * (u1 - u0), v0 + part * (v1 - v0))
    return out


def may_block(facets: Sequence[Facet], points_m: Real | None = None) -> list[int]:
    """Facets that can stand between two points of facets or of ``points_m`` (n, 3): not those on the hull of all these."""
    every = np.concatenate([np.empty((0, 3)) if points_m is None else points_m, *(facet.corners_m for facet in facets)])
    out = []
    for index, facet in enumerate(facets):
        height = facet.height_m(every)
        if height.max() > FLAT_M and height.min() < -FLAT_M:
            out.append(index)
    return out


def _turns(outline: Real) -> Real:
    before = outline - np.roll(outline, 1, axis=0)
    after = np.roll(outline, -1, axis=0) - outline
    return np.asarray(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])


def _odd_corner(corners: Real) -> tuple[int, float]:
    """The corner that lies farthest off the plane of the others, and how far."""
    off = []
    for index, corner in enumerate(corners):
        rest = np.delete(corners, index, axis=0)
        normal = np.linalg.svd(rest - rest.mean(axis=0))[2][2]
        off.append(abs(float((corner - rest.mean(axis=0)) @ normal)))
    worst = int(np.argmax(off))
    return worst, off[worst]


def _crosses_itself(outline: Real) -> bool:
    """Whether two edges that are no neighbours meet."""
    count = len(outline)
    ends = np.roll(outline, -1, axis=0)

    def side(a: Real, b: Real, p: Real) -> float:
        return float((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]))

    for i in range(count):
        for j in range(i + 2, count):
            if i == 0 and j == count - 1:
                continue
            a, b, c, d = outline[i], ends[i], outline[j], ends[j]
            if side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0:
                return True
    return False


def _touches_itself(outline: Real) -> bool:
    """Whether a corner lies on an edge that does not end in it (within a thousandth of a millimetre)."""
    count = len(outline)
    edges = np.roll(outline, -1, axis=0) - outline
    moved = outline[:, None] - outline[None]  # (corner, edge, 2)
    along = np.clip((moved * edges).sum(axis=2) / (edges**2).sum(axis=1), 0.0, 1.0)
    away = np.linalg.norm(moved - along[..., None] * edges, axis=2)
    mine = np.arange(count)
    away[mine, mine] = away[mine, mine - 1] = np.inf
    return bool((away < 1e-6).any())
