"""Baskets and passive radiators held against the walls of the shape that they sit in: cylinders square to their wall.

A basket counts as wide as its cut-out over all of its depth. In plan a cylinder in a standing wall is a rectangle, one in the
top or the bottom a disc; heights are held apart besides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from cabinwright.build.shapes import BoxShape
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Triple", "Unit", "boards_m", "frame_of", "free_depth_m", "moved", "standing_gap_m", "unit_of", "wall_of"]

SPOT_M = 5e-4
FLUSH_M = 1e-6
FAR_M = 10.0
Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Unit:
    """A cylinder in the box: its plan, and from and up to which height."""

    plan: BaseGeometry
    low_m: float
    high_m: float

    def meets(self, other: Unit) -> bool:
        """Whether two share room; of discs and rectangles in plan what lies within both counts over both heights."""
        over = min(self.high_m, other.high_m) - max(self.low_m, other.low_m)
        return over > FLUSH_M and bool(self.plan.intersection(other.plan).area > FLUSH_M)


def wall_of(shape: BoxShape, body: Body) -> int | str:
    """The loudspeakers' wall: an index of a side, ``top`` or ``bottom``."""
    return body.wall if body.wall is not None else str(shape.baffle)


def boards_m(shape: BoxShape, body: Body, wall: int | str) -> float:
    """How thick a wall is, with the second board where it has one."""
    return body.board_m * (2 if shape.double_baffle and wall == wall_of(shape, body) else 1)


def frame_of(body: Body, wall: int | str, at: complex) -> tuple[Triple, Triple, Triple, Triple]:
    """A place on a wall's outer face: the point, two axes in the face, and the way inwards."""
    along: Triple = (1.0, 0.0, 0.0)
    if not isinstance(wall, int):
        if wall == "top":
            return (at.real, at.imag, body.height_m), along, (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)
        return (at.real, at.imag, 0.0), along, (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
    side = body.hollow_runs[0].outline.segments[wall]
    way = side.chord / abs(side.chord)
    foot, into = side.start + way * at.real, 1j * way
    along, up = (-way.real, -way.imag, 0.0), (0.0, 0.0, 1.0)
    return (foot.real, foot.imag, at.imag), along, up, (into.real, into.imag, 0.0)


def moved(at: Triple, way: Triple, far_m: float) -> Triple:
    """A point moved along a way."""
    return at[0] + way[0] * far_m, at[1] + way[1] * far_m, at[2] + way[2] * far_m


def _standing(body: Body, wall: int, at: complex, radius_m: float, depth_m: float, off_m: float) -> Unit:
    """In a standing wall: ``at`` is along it and up, ``off_m`` how far its boards reach in."""
    side = body.hollow_runs[0].outline.segments[wall]
    way = side.chord / abs(side.chord)
    foot = side.start + way * at.real + 1j * way * off_m
    corners = [foot - way * radius_m, foot + way * radius_m]
    corners += [corners[1] + 1j * way * depth_m, corners[0] + 1j * way * depth_m]
    return Unit(Polygon([(c.real, c.imag) for c in corners]), at.imag - radius_m, at.imag + radius_m)


def unit_of(shape: BoxShape, body: Body, wall: int | str, at: complex, radius_m: float, depth_m: float) -> Unit:
    """The cylinder behind a wall: an index of a side, ``top`` or ``bottom``."""
    if isinstance(wall, int):
        return _standing(body, wall, at, radius_m, depth_m, boards_m(shape, body, wall))
    low, high = body.inside_low_m, body.inside_high_m
    span = (high - depth_m, high) if wall == "top" else (low, low + depth_m)
    return Unit(Point(at.real, at.imag).buffer(radius_m, quad_segs=32), *span)


def standing_gap_m(shape: BoxShape, body: Body, at: complex, radius_m: float, depth_m: float) -> float:
    """Least distance in plan of a basket in the loudspeakers' wall from the other walls; negative: how far it stands out."""
    run = body.hollow_runs[0]
    assert run.opening is not None and body.wall is not None
    basket = unit_of(shape, body, body.wall, at, radius_m, depth_m).plan
    outside = basket.difference(run.opening.polygon.buffer(SPOT_M / 10.0))
    if outside.area > FLUSH_M**2:
        points = np.concatenate([np.asarray(part.exterior.coords) for part in getattr(outside, "geoms", [outside])])
        return -max(float(run.opening.polygon.distance(Point(point))) for point in points)
    others = [side for n, side in enumerate(run.opening.segments) if n != body.wall]
    ends = [((side.start.real, side.start.imag), (side.end.real, side.end.imag)) for side in others]
    return min(float(basket.distance(LineString(end))) for end in ends)


def free_depth_m(shape: BoxShape, body: Body, wall: int, at: complex, radius_m: float) -> float:
    """Depth behind a standing wall that is free over a whole width: up to the nearest of what stands across."""
    run = body.hollow_runs[0]
    assert run.opening is not None
    thick = boards_m(shape, body, wall)
    strip = _standing(body, wall, at, max(radius_m, FLUSH_M), FAR_M, thick + FLUSH_M).plan
    side = run.outline.segments[wall]
    way = side.chord / abs(side.chord)
    foot = side.start + 1j * way * thick
    depths = []
    for n, other in enumerate(run.opening.segments):
        line = LineString([(other.start.real, other.start.imag), (other.end.real, other.end.imag)]).intersection(strip)
        if n != wall and not line.is_empty:
            points = [complex(x, y) for part in getattr(line, "geoms", [line]) for x, y in part.coords]
            depths.append(min(((point - foot) * (1j * way).conjugate()).real for point in points))
    return min(depths, default=0.0)
