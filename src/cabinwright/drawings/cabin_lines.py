"""The cabin as straight lines in space, by kind: what a scene in 3D is drawn from. Points in the car's axes, metres.

Boxes are drawn where their first loudspeaker's place is, turned as their outline is written (its x and y are the car's).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from cabinwright.build.document import Build
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.layout.result import LayoutResult, PlaceResult

__all__ = ["Lines", "box_lines", "cabin_lines", "camera_m", "path_lines"]

Array = NDArray[np.float64]
Lines = list[list[float]]
"""Straight lines, each x, y, z of its start and x, y, z of its end."""
SAME_PLANE = 1e-6
CHORD_M, UPRIGHTS = 0.004, 8
SHOWN = 6  #: reflections drawn, the strongest first
SEAT_M = ((0.16, -0.02), (0.0, -0.66), (-0.48, -0.58))
"""A seat's back and cushion from the side: x and z from the centre of a head that leans on it. For orientation only."""


def cabin_lines(build: Build) -> dict[str, Lines]:
    """Edges of a located build: surfaces, glass, pillars, volumes to keep free, head boxes, seats, wires whose way is told."""
    cabin = build.cabin
    surfaces = cabin.surfaces if cabin else ()
    return {
        "surfaces": [line for item in surfaces if item.material != "glass" for line in _loop(item.corners_m)],
        "glass": [line for item in surfaces if item.material == "glass" for line in _loop(item.corners_m)],
        "pillars": [line for item in (cabin.pillars if cabin else ()) for line in _hull(item.corners_m)],
        "keep free": [line for item in (cabin.keep_outs if cabin else ()) for line in _hull(item.corners_m)],
        "heads": [line for seat in build.seats for line in _around(seat.head_m, seat.head_box_m)],
        "wires": [line for wire in build.wires for line in _way([[*point] for point in wire.route_m or ()])],
        "seats": [line for seat in build.seats for line in _seat(seat.head_m)],
    }


def camera_m(build: Build, way: Sequence[float]) -> tuple[list[float], list[float]]:
    """Where an onlooker stands that sees the whole cabin along ``-way``, and the middle that he looks at.

    ``way`` points from the middle to him; its length is in halves of the cabin's diagonal.
    """
    corners = [corner for item in (build.cabin.surfaces if build.cabin else ()) for corner in item.corners_m]
    corners += [seat.head_m for seat in build.seats] + [place.position_m for place in build.places]
    points = np.asarray(corners, dtype=np.float64)
    low, high = points.min(axis=0), points.max(axis=0)
    middle, reach = (low + high) / 2.0, float(np.linalg.norm(high - low)) / 2.0
    return (middle + reach * np.asarray(way)).tolist(), middle.tolist()


def path_lines(build: Build, result: LayoutResult, place: PlaceResult) -> tuple[Lines, Lines]:
    """Direct sound of a place to the listening seat, nothing where it is hidden; and its strongest first reflections."""
    head = [float(part) for part in next(s.head_m for s in build.seats if s.name == result.listening_seat)]
    heard, start = place.seats[result.listening_seat], list(place.position_m)
    firsts = sorted((item for item in heard.reflections if item.order == 1), key=lambda item: -item.level_db)
    ways = [[start, *([*point] for point in item.points_m), head] for item in firsts[:SHOWN]]
    direct = [] if heard.occluded else [[*start, *head]]
    return direct, [line for way in ways for line in _way(way)]


def box_lines(build: Build, shapes: Mapping[str, ShapeResult]) -> Lines:
    """Boxes whose shape and place are known."""
    at = {item.name: item.position_m for item in build.speakers}
    at |= {item.name: item.position_m for item in build.places}
    lines: Lines = []
    for box in build.boxes:
        spots = [spot for name in box.speakers if (spot := at.get(name)) is not None]
        if box.name in shapes and spots and shapes[box.name].speakers:
            lines += _box(shapes[box.name], [float(part) for part in spots[0]])
    return lines


def _box(shape: ShapeResult, spot_m: Sequence[float]) -> Lines:
    body, speaker = shape.body, shape.speakers[0]
    across, high = (speaker, body.height_m) if body.wall is None else _in_wall(shape, speaker)
    if shape.baffle == "bottom":
        high = 0.0
    shift = np.array([spot_m[0] - across.real, spot_m[1] - across.imag, spot_m[2] - high])
    lines: Lines = []
    for low_m, high_m, outline in ((run.low_m, run.high_m, run.outline) for run in body.runs):
        points = outline.points(CHORD_M)
        floor = np.column_stack([points.real, points.imag, np.full(len(points), low_m)]) + shift
        top = floor + np.array([0.0, 0.0, high_m - low_m])
        some = slice(None, None, max(len(floor) // UPRIGHTS, 1))
        lines += [*_loop(floor), *_loop(top), *np.hstack([floor[some], top[some]]).tolist()]
    return lines


def _in_wall(shape: ShapeResult, speaker: complex) -> tuple[complex, float]:
    """Where in plan, and how high, a loudspeaker stands that is told along its wall and up."""
    assert shape.body.wall is not None
    side = shape.body.plan.segments[shape.body.wall]
    way = (side.end - side.start) / abs(side.end - side.start)
    return side.start + way * speaker.real, speaker.imag


def _seat(head_m: Sequence[float]) -> Lines:
    x, y, z = (float(part) for part in head_m)
    return _way([(x + along, y, z + up) for along, up in SEAT_M])


def _around(centre_m: Sequence[float], size_m: Sequence[float]) -> Lines:
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
    corners = np.asarray(centre_m, dtype=np.float64) + signs * np.asarray(size_m) / 2.0
    pairs = [(a, b) for a in range(8) for b in range(a) if np.abs(signs[a] - signs[b]).sum() == 2]
    return [[*corners[a].tolist(), *corners[b].tolist()] for a, b in pairs]


def _loop(corners: Sequence[Sequence[float]] | Array) -> Lines:
    points = [[float(part) for part in corner] for corner in corners]
    return _way([*points, points[0]])


def _way(points: Sequence[Sequence[float]]) -> Lines:
    return [[*start, *end] for start, end in pairwise(points)]


def _hull(corners_m: Sequence[Sequence[float]]) -> Lines:
    """Edges of the hull around corners: sides of its triangles where two planes meet."""
    corners = np.asarray(corners_m, dtype=np.float64)
    try:
        hull = ConvexHull(corners)
    except QhullError:
        return _loop(corners)
    return [[*corners[a].tolist(), *corners[b].tolist()] for a, b in _ridges(hull)]


def _ridges(hull: ConvexHull) -> Iterator[tuple[int, int]]:
    for one, others in enumerate(hull.neighbors):
        for other in others:
            if one < other and np.abs(hull.equations[one] - hull.equations[other]).max() > SAME_PLANE:
                a, b = sorted(set(hull.simplices[one]) & set(hull.simplices[other]))
                yield int(a), int(b)
