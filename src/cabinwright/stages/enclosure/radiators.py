"""Passive radiators in the walls of a shape: how much room one takes, and where each sits.

One counts as a cylinder behind its wall, as wide as its cut-out, as deep as it is at rest and its linear travel. Where that is
not stated, its frame counts as 1.2 times as wide as its cone, what goes through the wall as wide as that, and its depth as half
the cone's radius. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt

from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from cabinwright.build.loudspeaker import Radiator, SpeakerModel
from cabinwright.build.shapes import BoxShape, WallPlace
from cabinwright.stages.enclosure.fit_units import Unit, boards_m, free_depth_m, unit_of, wall_of
from cabinwright.stages.enclosure.search_radiators import FRAME
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Face", "Needs", "Placed", "face_of", "needs_of", "radiators_placed", "stands", "takes_m3"]

SPOT_M = 5e-4
APART_M = 0.01  #: between frames in one wall
FLUSH_M = 1e-6


@dataclass(frozen=True)
class Placed:
    """Where a passive radiator sits: wall (top, bottom or the build's number of it), place in it, and air behind it."""

    wall: str
    at: complex
    behind_m: float  #: what its travel leaves; negative: it is too deep
    index: int | str  #: the wall as the body has it
    cut_out_m: float | None = None  #: None: nobody stated it, and no hole is cut
    frame_m: float = 0.0


@dataclass(frozen=True)
class Needs:
    """Room for one: radii of its frame and of what goes through the wall, and how deep that reaches in."""

    frame_m: float
    inside_m: float
    travel_m: float
    depth_m: float  #: at rest and its travel


@dataclass(frozen=True)
class Face:
    """A wall in its own plane (in plan, or along it and up): all of it, and where it has air behind it."""

    wall: int | str
    board: BaseGeometry
    room: BaseGeometry


def needs_of(radiator: Radiator) -> Needs:
    """What is stated, else what is common."""
    cone = sqrt(radiator.sd_m2 / pi)
    known = (radiator.cut_out_m or 0.0) / 2.0
    frame = radiator.outer_diameter_m or max(2.0 * FRAME * cone, radiator.cut_out_m or 0.0)
    travel = radiator.xmax_m or 0.0
    return Needs(frame / 2.0, known or frame / 2.0, travel, _depth_m(radiator) + travel)


def _depth_m(radiator: Radiator) -> float:
    return radiator.depth_m if radiator.depth_m is not None else 0.5 * sqrt(radiator.sd_m2 / pi)


def takes_m3(radiator: Radiator) -> float:
    """Volume [m³] that all of them take: stated, else half a cylinder of cut-out and depth; 0 where neither is known."""
    each = radiator.displacement_m3
    if each is None:
        each = 0.5 * _depth_m(radiator) * pi / 4.0 * (radiator.cut_out_m or 0.0) ** 2
    return radiator.count * each


def stands(shape: BoxShape, body: Body, model: SpeakerModel, speakers: Sequence[complex]) -> list[Unit]:
    """Baskets, braces and posts, each as it stands in the box."""
    wall, radius = wall_of(shape, body), (model.cut_out_m or 0.0) / 2.0
    baskets = [unit_of(shape, body, wall, at, radius, model.depth_m or 0.0) for at in speakers]
    span = body.inside_low_m, body.inside_high_m
    boards = [
        Unit(LineString([item.from_m, item.to_m]).buffer((item.board_m or body.board_m) / 2.0, cap_style="flat"), *span)
        for item in shape.braces
    ]
    return [*baskets, *boards, *(Unit(Point(item.at_m).buffer(item.diameter_m / 2.0), *span) for item in shape.posts)]


def radiators_placed(
    shape: BoxShape, body: Body, radiator: Radiator, taken: Sequence[Unit], baffle: Sequence[tuple[complex, float]]
) -> list[Placed | None]:
    """A place for each radiator: stated, or first where the loudspeakers are, then the other end, then the flat walls.

    ``taken`` is what stands in the box, ``baffle`` places and radii of what sits in the loudspeakers' wall. None: no
    place was found, or the build names a wall that is not there.
    """
    needs = needs_of(radiator)
    units, rows = list(taken), list[Placed | None]()
    held = {str(wall_of(shape, body)): list(baffle)}
    for number in range(radiator.count):
        if number < len(shape.radiators_at):
            spot = _stated(shape, body, shape.radiators_at[number])
        else:
            spot = next(_free(shape, body, needs, units, held), None)
        if spot is None:
            rows.append(None)
            continue
        wall, at = spot
        behind = _depth_behind_m(shape, body, wall, at, needs.inside_m) - needs.depth_m
        name = wall if isinstance(wall, str) else str(body.number(wall))
        rows.append(Placed(name, at, behind, wall, radiator.cut_out_m, 2.0 * needs.frame_m))
        units.append(unit_of(shape, body, wall, at, needs.inside_m, needs.depth_m))
        held.setdefault(str(wall), []).append((at, needs.frame_m))
    return rows


def _stated(shape: BoxShape, body: Body, place: WallPlace) -> tuple[int | str, complex] | None:
    wall: int | str = wall_of(shape, body) if place.wall is None else place.wall
    if place.wall is not None and isinstance(wall, int):
        wall = body.side(wall)
        if body.construction != "panels" or not 0 <= wall < len(body.hollow_runs[0].outline.segments):
            return None
    return wall, complex(*place.at_m)


def _depth_behind_m(shape: BoxShape, body: Body, wall: int | str, at: complex, radius_m: float) -> float:
    if isinstance(wall, int):
        return free_depth_m(shape, body, wall, at, radius_m)
    return body.inside_high_m - body.inside_low_m


def _free(
    shape: BoxShape, body: Body, needs: Needs, units: Sequence[Unit], held: dict[str, list[tuple[complex, float]]]
) -> Iterator[tuple[int | str, complex]]:
    """Walls with a place that is free, as far from everything as that wall lets it be."""
    for wall in _walls(shape, body):
        face = face_of(shape, body, wall, needs.depth_m)
        left = face.room.buffer(-needs.inside_m).intersection(face.board.buffer(-needs.frame_m))
        for at, radius in held.get(str(wall), []):
            left = left.difference(Point(at.real, at.imag).buffer(radius + needs.frame_m + APART_M))
        for shadow in _shadows(shape, body, wall, needs.depth_m, units):
            left = left.difference(shadow.buffer(needs.inside_m))
        spot = _spot(left)
        if spot is None or _depth_behind_m(shape, body, wall, spot, needs.inside_m) < needs.depth_m:
            continue
        unit = unit_of(shape, body, wall, spot, needs.inside_m, needs.depth_m)
        if not any(unit.meets(other) for other in units):
            yield wall, spot


def _walls(shape: BoxShape, body: Body) -> list[int | str]:
    """The loudspeakers' wall, the other end, and the flat walls."""
    ends: list[int | str] = ["bottom", "top"] if shape.baffle == "bottom" else ["top", "bottom"]
    sides = list(range(len(body.hollow_runs[0].outline.segments))) if body.construction == "panels" else []
    return list(dict.fromkeys([wall_of(shape, body), *ends, *sides]))


def face_of(shape: BoxShape, body: Body, wall: int | str, depth_m: float) -> Face:
    """The wall with the air behind it, down to a depth where rings are of several widths."""
    if isinstance(wall, int):
        run = body.hollow_runs[0]
        assert run.opening is not None
        outer, inner = run.outline.segments[wall], run.opening.segments[wall]
        way = outer.chord / abs(outer.chord)
        low, high = (((at - outer.start) * way.conjugate()).real for at in (inner.start, inner.end))
        return Face(wall, box(0.0, 0.0, outer.length_m, body.height_m), box(low, run.low_m, high, run.high_m))
    top = wall == "top"
    end = next(run for run in body.runs if run.role == wall)
    room: BaseGeometry | None = None
    for run in body.hollow_runs:
        near = run.high_m > body.inside_high_m - depth_m if top else run.low_m < body.inside_low_m + depth_m
        if near and run.opening is not None:
            inside = run.opening.as_polygon(SPOT_M)
            room = inside if room is None else room.intersection(inside)
    return Face(wall, end.outline.as_polygon(SPOT_M), Polygon() if room is None else room)


def _shadows(
    shape: BoxShape, body: Body, wall: int | str, depth_m: float, units: Sequence[Unit]
) -> Iterator[BaseGeometry]:
    """What stands behind a wall within a depth, cast square on it."""
    if isinstance(wall, str):
        low, high = body.inside_low_m, body.inside_high_m
        span = (high - depth_m, high) if wall == "top" else (low, low + depth_m)
        yield from (unit.plan for unit in units if min(unit.high_m, span[1]) - max(unit.low_m, span[0]) > FLUSH_M)
        return
    run = body.hollow_runs[0]
    assert run.opening is not None
    side = run.outline.segments[wall]
    way = side.chord / abs(side.chord)
    off = boards_m(shape, body, wall)
    band = Polygon([
        (at.real, at.imag)
        for at in (side.start + 1j * way * off, side.end + 1j * way * off,
                   side.end + 1j * way * (off + depth_m), side.start + 1j * way * (off + depth_m))
    ])  # fmt: skip
    outside = Unit(band.difference(run.opening.polygon), run.low_m, run.high_m)
    for unit in (*units, outside):
        cut = unit.plan.intersection(band)
        for piece in getattr(cut, "geoms", [cut]):
            if isinstance(piece, Polygon) and piece.area > FLUSH_M:
                along = [((complex(x, y) - side.start) * way.conjugate()).real for x, y in piece.exterior.coords]
                yield box(min(along), unit.low_m, max(along), unit.high_m)


def _spot(room: BaseGeometry) -> complex | None:
    pieces = [item for item in getattr(room, "geoms", [room]) if isinstance(item, Polygon) and item.area > FLUSH_M]
    if not pieces:
        return None
    point = polylabel(max(pieces, key=lambda item: item.area), SPOT_M)
    return complex(round(point.x, 4), round(point.y, 4))
