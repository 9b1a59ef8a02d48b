"""Baskets and passive radiators held against the walls of the shape that they sit in: cylinders square to their wall.

A basket counts as wide as its cut-out over all of its depth. Nobody states how deep a radiator is: its frame counts as 1.2
times as wide as its cone, its inside as deep as half the cone's radius and its linear travel. Common practice, no source. In
plan a cylinder in a standing wall is a rectangle, one in the top or the bottom a disc; heights are held apart besides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from cabinwright.build.loudspeaker import Radiator
from cabinwright.build.shapes import BoxShape
from cabinwright.stages.enclosure.search_radiators import FRAME
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Placed", "Unit", "free_depth_m", "radiators_placed", "standing_gap_m", "unit_of"]

SPOT_M = 5e-4
APART_M = 0.01  #: between frames in one wall
FLUSH_M = 1e-6
FAR_M = 10.0


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


@dataclass(frozen=True)
class Placed:
    """Where a passive radiator finds room: wall (top, bottom or number), place in it, and air behind it."""

    wall: str
    at: complex
    behind_m: float


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
        boards = 2 if shape.double_baffle and wall == body.wall else 1
        return _standing(body, wall, at, radius_m, depth_m, boards * body.board_m)
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
    boards = 2 if shape.double_baffle and wall == body.wall else 1
    strip = _standing(body, wall, at, max(radius_m, FLUSH_M), FAR_M, boards * body.board_m + FLUSH_M).plan
    side = run.outline.segments[wall]
    way = side.chord / abs(side.chord)
    foot = side.start + 1j * way * boards * body.board_m
    depths = []
    for n, other in enumerate(run.opening.segments):
        line = LineString([(other.start.real, other.start.imag), (other.end.real, other.end.imag)]).intersection(strip)
        if n != wall and not line.is_empty:
            points = [complex(x, y) for part in getattr(line, "geoms", [line]) for x, y in part.coords]
            depths.append(min(((point - foot) * (1j * way).conjugate()).real for point in points))
    return min(depths, default=0.0)


def radiators_placed(
    shape: BoxShape, body: Body, radiator: Radiator, taken: Sequence[Unit], baffle: Sequence[tuple[complex, float]]
) -> list[Placed | None]:
    """A place for each radiator: first where the loudspeakers are, then the other end, then the flat walls; None: no place.

    ``taken`` are the cylinders that stand in the box, ``baffle`` places and radii of what sits in the loudspeakers' wall.
    """
    cone = sqrt(radiator.sd_m2 / pi)
    frame, depth = FRAME * cone, 0.5 * cone + (radiator.xmax_m or 0.0)
    units, rows = list(taken), []
    held = {_key(shape, body): list(baffle)}
    for _ in range(radiator.count):
        found = None
        for wall, room in _faces(shape, body):
            left = room.buffer(-frame)
            for at, radius in held.get(str(wall), []):
                left = left.difference(Point(at.real, at.imag).buffer(radius + frame + APART_M))
            spot = _spot(left)
            if spot is None:
                continue
            unit = unit_of(shape, body, wall, spot, frame, depth)
            if isinstance(wall, int):
                free = free_depth_m(shape, body, wall, spot, frame)
            else:
                free = body.inside_high_m - body.inside_low_m
            if free < depth or any(unit.meets(other) for other in units):
                continue
            found = Placed(str(wall) if isinstance(wall, str) else str(wall + 1), spot, free - depth)
            units.append(unit)
            held.setdefault(str(wall), []).append((spot, frame))
            break
        rows.append(found)
    return rows


def _key(shape: BoxShape, body: Body) -> str:
    return str(shape.baffle) if body.wall is None else str(body.wall)


def _faces(shape: BoxShape, body: Body) -> Iterator[tuple[int | str, BaseGeometry]]:
    """Walls with the room behind each: in plan, or along it and up."""
    ends: list[int | str] = ["bottom", "top"] if shape.baffle == "bottom" else ["top", "bottom"]
    sides: list[int | str] = []
    if body.construction == "panels":
        sides = list(range(len(body.hollow_runs[0].outline.segments)))
    first = [body.wall] if body.wall is not None else []
    for wall in [*first, *ends, *(side for side in sides if side not in first)]:
        if isinstance(wall, str):
            opening = body.hollow_runs[-1 if wall == "top" else 0].opening
            assert opening is not None
            yield wall, opening.as_polygon(SPOT_M)
        else:
            run = body.hollow_runs[0]
            assert run.opening is not None
            outer, inner = run.outline.segments[wall], run.opening.segments[wall]
            way = outer.chord / abs(outer.chord)
            low, high = (((at - outer.start) * way.conjugate()).real for at in (inner.start, inner.end))
            yield wall, box(low, run.low_m, high, run.high_m)


def _spot(room: BaseGeometry) -> complex | None:
    pieces = [item for item in getattr(room, "geoms", [room]) if isinstance(item, Polygon) and item.area > FLUSH_M]
    if not pieces:
        return None
    point = polylabel(max(pieces, key=lambda item: item.area), SPOT_M)
    return complex(round(point.x, 4), round(point.y, 4))
