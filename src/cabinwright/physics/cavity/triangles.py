"""Flat polygons as triangles, and where points lie to them: nearest point, inside or outside.

Triangles by ear clipping (Meisters 1975), so that a concave polygon is covered once and by nothing outside it. A point
lies inside a closed surface when a ray from it crosses the surface an odd number of times; the ray's direction is
unlike any that a person would write, so that it meets no edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Nearest", "crossed", "ear_clip", "inside", "nearest", "newell_normal", "normals"]

Real = NDArray[np.float64]
LEAST_AREA_M2 = 1e-8
CROSSING = "a facet's edge crosses itself; list its corners in order around the edge"
RAY = np.array([0.5377, 0.2713, 0.7983]) / np.linalg.norm([0.5377, 0.2713, 0.7983])
SAME_PLANE = 0.9976  #: cosine between normals of triangles that count as one plane: within 4°, as on a curved pane
SEAM = 1e-9  #: share of a triangle's side that it reaches over, so that nothing slips between two
BATCH = 400_000  #: point-triangle pairs held at a time, which bounds memory


def newell_normal(corners_m: Real) -> Real:
    """Area vector [m²] of a polygon ``(n, 3)``: along its normal, as long as its area (Newell's sum)."""
    return np.asarray(0.5 * np.cross(corners_m, np.roll(corners_m, -1, axis=0)).sum(axis=0))


def ear_clip(corners_m: Real) -> NDArray[np.intp]:
    """Triangles ``(n - 2, 3)`` of corner numbers that cover a simple polygon ``(n, 3)``, wound as it is.

    Raises ``ValueError`` for a polygon without area or one that crosses itself.
    """
    normal = newell_normal(corners_m) if len(corners_m) > 2 else np.zeros(3)
    area = float(np.linalg.norm(normal))
    if not area > LEAST_AREA_M2:
        raise ValueError("a facet needs three corners or more, in order around its edge, that do not lie on one line")
    axis = int(np.argmax(np.abs(normal)))
    flat = np.delete(corners_m, axis, axis=1) * (1.0, np.sign(normal[axis]) * (1.0 if axis != 1 else -1.0))
    if _crosses_itself(flat):
        raise ValueError(CROSSING)
    left = list(range(len(flat)))
    triangles = []
    while len(left) > 3:
        ear = next((k for k in range(len(left)) if _is_ear(flat, left, k, 1e-12 * area)), None)
        if ear is None:
            raise ValueError(CROSSING)
        triangles.append((left[ear - 1], left[ear], left[(ear + 1) % len(left)]))
        del left[ear]
    return np.asarray([*triangles, tuple(left)], dtype=np.intp)


def _turn(a: Real, b: Real, c: Real) -> float:
    """Twice the signed area of a flat triangle; positive where it turns left."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _crosses_itself(flat: Real) -> bool:
    """Whether two edges of a flat polygon (n, 2) that are not neighbours cross."""
    edges = list(zip(flat, np.roll(flat, -1, axis=0), strict=True))
    for i, (a, b) in enumerate(edges):
        for c, d in edges[i + 2 : len(edges) - (i == 0)]:
            if _turn(a, b, c) * _turn(a, b, d) < 0.0 and _turn(c, d, a) * _turn(c, d, b) < 0.0:
                return True
    return False


def _is_ear(flat: Real, left: list[int], k: int, least: float) -> bool:
    """Whether corner ``k`` of what is left can be cut off: a left turn that holds no other corner (a straight one may go)."""
    before, here, after = left[k - 1], left[k], left[(k + 1) % len(left)]
    a, b, c = flat[before], flat[here], flat[after]
    turn = _turn(a, b, c)
    if turn < -least:
        return False
    if turn <= least:
        return bool(np.dot(a - b, c - b) < 0.0)
    others = (flat[i] for i in left if i not in (before, here, after))
    return not any(min(_turn(a, b, p), _turn(b, c, p), _turn(c, a, p)) >= -least for p in others)


@dataclass(frozen=True, slots=True)
class Nearest:
    """The nearest point of a set of triangles to each of some points; all arrays run over the points."""

    foot_m: Real  #: (points, 3)
    distance_m: Real  #: (points,); infinite where nothing lies within reach
    triangle: NDArray[np.intp]  #: (points,) which triangle that is
    corner: NDArray[np.bool_]  #: (points,) whether triangles of more than one plane lie within reach


def nearest(points_m: Real, triangles_m: Real, *, within_m: float = np.inf) -> Nearest:
    """Nearest point of ``triangles_m`` ``(triangles, 3, 3)`` within a reach [m] of each of ``points_m`` ``(points, 3)``.

    The foot of the perpendicular where it falls inside a triangle, else the nearest point of its edges.
    """
    count = len(points_m)
    normal = normals(triangles_m)
    low, high = triangles_m.min(axis=1) - within_m, triangles_m.max(axis=1) + within_m
    axis = int(np.argmin((high - low).sum(axis=0))) if np.isfinite(within_m) else 0
    order = np.argsort(points_m[:, axis], kind="stable")  # a triangle looks only at points along its own stretch
    ranked = points_m[order]
    first = np.searchsorted(ranked[:, axis], low[:, axis], side="left")
    last = np.searchsorted(ranked[:, axis], high[:, axis], side="right")
    foot_m, distance_m = np.zeros((count, 3)), np.full(count, np.inf)
    owner, met, corner = np.zeros(count, dtype=np.intp), np.full(count, -1, dtype=np.intp), np.zeros(count, dtype=bool)
    for t, triangle in enumerate(triangles_m):
        height = (ranked[first[t] : last[t]] - triangle[0]) @ normal[t]
        near = np.flatnonzero(np.abs(height) <= within_m)
        foot, distance = _foot(ranked[first[t] + near], triangle, normal[t], height[near])
        reached = distance <= within_m
        near, foot, distance = order[first[t] + near[reached]], foot[reached], distance[reached]
        known = met[near] >= 0
        corner[near[known & (np.abs(normal[met[near]] @ normal[t]) < SAME_PLANE)]] = True
        met[near[~known]] = t
        nearer = distance < distance_m[near]
        foot_m[near[nearer]], distance_m[near[nearer]], owner[near[nearer]] = foot[nearer], distance[nearer], t
    return Nearest(foot_m, distance_m, owner, corner)


def _foot(points: Real, triangle: Real, normal: Real, height: Real) -> tuple[Real, Real]:
    """Nearest point of one triangle to each point (n, 3), and how far it is (n,)."""
    foot = points - height[:, None] * normal
    distance = np.abs(height)
    ahead = np.ones(len(points), dtype=bool)
    for start, end in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        inward = np.cross(normal, end - start)
        ahead &= (points - start) @ inward >= 0.0
    distance[~ahead] = np.inf
    beside = points[~ahead]
    for start, end in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        along = end - start
        on_edge = start + np.clip((beside - start) @ along / (along @ along), 0.0, 1.0)[:, None] * along
        length = np.linalg.norm(beside - on_edge, axis=1)
        nearer = np.flatnonzero(~ahead)[length < distance[~ahead]]
        foot[nearer], distance[nearer] = on_edge[length < distance[~ahead]], length[length < distance[~ahead]]
    return foot, distance


def normals(triangles_m: Real) -> Real:
    """Unit normal of each triangle, shape ``(triangles, 3)``."""
    across = np.cross(triangles_m[:, 1] - triangles_m[:, 0], triangles_m[:, 2] - triangles_m[:, 0])
    return np.asarray(across / np.linalg.norm(across, axis=1, keepdims=True))


def inside(points_m: Real, triangles_m: Real) -> NDArray[np.bool_]:
    """Whether each point ``(points, 3)`` lies inside the closed surface of triangles ``(triangles, 3, 3)``.

    Möller & Trumbore 1997; for one direction of ray their three ratios are linear in the point.
    """
    a, ab, ac = triangles_m[:, 0], triangles_m[:, 1] - triangles_m[:, 0], triangles_m[:, 2] - triangles_m[:, 0]
    across = np.cross(RAY, ac)
    scale = np.einsum("ti,ti->t", ab, across)
    usable = np.abs(scale) > 1e-14
    a, ab, ac, scale = a[usable], ab[usable], ac[usable], scale[usable][:, None]
    slopes = (across[usable] / scale, np.cross(ab, RAY) / scale, np.cross(ab, ac) / scale)
    offsets = [np.einsum("ti,ti->t", a, slope) for slope in slopes]
    result = np.zeros(len(points_m), dtype=bool)
    step = max(1, BATCH // max(1, len(a)))
    for start in range(0, len(points_m), step):
        batch = points_m[start : start + step]
        u, v, ahead = (batch @ slope.T - offset for slope, offset in zip(slopes, offsets, strict=True))
        hits = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (ahead > 0.0)
        result[start : start + step] = hits.sum(axis=1) % 2 == 1
    return result


def crossed(starts_m: Real, ends_m: Real, triangles_m: Real) -> NDArray[np.bool_]:
    """Whether the straight way from each start ``(n, 3)`` to its end meets one of ``triangles_m`` ``(triangles, 3, 3)``."""
    a, ab, ac = triangles_m[:, 0], triangles_m[:, 1] - triangles_m[:, 0], triangles_m[:, 2] - triangles_m[:, 0]
    normal = np.cross(ab, ac)
    result = np.zeros(len(starts_m), dtype=bool)
    step = max(1, BATCH // max(1, len(a)))
    for start in range(0, len(starts_m), step):
        here = slice(start, start + step)
        way = ends_m[here] - starts_m[here]
        slope = way @ normal.T
        offset = starts_m[here, None] - a
        with np.errstate(divide="ignore", invalid="ignore"):  # a way along a triangle gives no comparison that holds
            along = -np.einsum("nti,ti->nt", offset, normal) / slope
            turned = np.cross(offset, way[:, None])
            u = -np.einsum("nti,ti->nt", turned, ac) / slope
            v = np.einsum("nti,ti->nt", turned, ab) / slope
            hit = (along >= 0.0) & (along <= 1.0) & (u >= -SEAM) & (v >= -SEAM) & (u + v <= 1.0 + SEAM)
        result[here] = hit.any(axis=1)
    return result
