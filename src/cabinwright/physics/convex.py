"""How far two convex bodies are apart, or how deep one stands in the other. A body is the hull around its points.

Both follow from the set of differences between the points of the one and of the other (Minkowski): the nearest point of
its hull to the origin is the gap, and where the hull holds the origin, its nearest face is the shortest way out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.spatial import ConvexHull, QhullError

__all__ = ["clearance_m", "disc", "is_flat"]

Real = NDArray[np.float64]
SIDES = 32  #: of the polygon that stands for a disc; drawn around it, so that it is never too small (0.5 % too large)
FLAT_M = 0.001  #: a body thinner than this has no inside to speak of
TOUCH_M = 1e-7  #: nearer than this is touching


def is_flat(points_m: Real) -> bool:
    """Whether points ``(n, 3)`` [m] lie in one plane or on one line, within a millimetre."""
    spread = np.linalg.svd(points_m - points_m.mean(axis=0), compute_uv=False)
    return bool(spread[-1] < FLAT_M or len(points_m) < 4)


def clearance_m(body_m: Real, other_m: Real) -> float:
    """Gap [m] between the hulls around points ``(n, 3)`` and ``(k, 3)``; negative where they overlap.

    An overlap is told as the length of the shortest move that parts them. Exact but for rounding.
    """
    differences = (body_m[:, None] - other_m[None]).reshape(-1, 3)
    gap = _gap_m(differences)
    if gap > TOUCH_M:
        return gap
    try:
        hull = ConvexHull(differences)
    except QhullError:  # both lie in one plane: they touch, and neither stands inside the other
        return 0.0
    return float(min(hull.equations[:, 3].max(), 0.0))


def _gap_m(points_m: Real) -> float:
    """Distance of the hull around points from the origin.

    Of all weights u ≥ 0, those with the least |Pᵀu|² + (Σu − 1)² are, scaled to the sum 1, the weights of the nearest
    point p: along each direction the least is d² / (1 + d²), which rises with the distance d alone.
    """
    scale = max(float(np.abs(points_m).max()), 1e-12)
    system = np.vstack([points_m.T / scale, np.ones(len(points_m))])
    weights, _ = nnls(system, np.array([0.0, 0.0, 0.0, 1.0]))
    return float(np.linalg.norm(weights @ points_m / weights.sum()))


def disc(*, centre_m: Real, axis: Real, radius_m: float) -> Real:
    """Corners ``(32, 3)`` [m] of a polygon around a disc that stands across ``axis`` (of any length)."""
    along = axis / np.linalg.norm(axis)
    first = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    first /= np.linalg.norm(first)
    second = np.cross(along, first)
    angle = 2.0 * np.pi * np.arange(SIDES)[:, None] / SIDES
    corner_m = radius_m / np.cos(np.pi / SIDES)
    return np.asarray(centre_m + corner_m * (np.cos(angle) * first + np.sin(angle) * second))
