"""What passive radiators meet in the walls that they sit in, and what nobody stated of them.

Gaps are worked out as for drive units. A drive unit or radiator behind another wall, a brace and a post are met where their
solids share volume with the radiator's cylinder, and no gap is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite

from shapely import Point
from shapely.geometry.base import BaseGeometry

from cabinwright.build.loudspeaker import Radiator, SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.findings import Finding, finding
from cabinwright.physics.solid import Part, shares_m3
from cabinwright.stages.enclosure.fit_units import wall_of
from cabinwright.stages.enclosure.radiators import Needs, Placed, face_of, needs_of
from cabinwright.stages.enclosure.shape import Body
from cabinwright.stages.enclosure.shape_inside import Mount
from cabinwright.stages.enclosure.shape_solid import behind, contents

__all__ = ["radiator_findings"]

MEETS_M3 = 1e-8  #: solids that share less only touch
NEAR_M = 1e-6
TAKEN = {
    "outer_diameter_m": "1.2 times its cone",
    "depth_m": "half its cone's radius",
    "displacement_m3": "half a cylinder of its cut-out and depth",
}


def radiator_findings(
    where: str, shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount, part: Radiator
) -> Iterator[Finding]:
    """Everything about the radiators of one box; what they meet is a stop where their cut-out is stated, and so cut."""
    missing = sum(row is None for row in mount.radiators)
    for number, (row, place) in enumerate(zip(mount.radiators, shape.radiators_at, strict=False), 1):
        if row is None:
            missing -= 1
            sides = f"top, bottom, 1 to {len(body.plan.segments)}" if body.construction == "panels" else "top, bottom"
            yield finding("enclosure.radiator_wall", where=f"{where}, radiator {number}", value=place.wall, limit=sides)
    if missing:
        code = "enclosure.shape_radiator" if part.cut_out_m is None else "enclosure.radiator_room"
        yield finding(code, where=where, value=missing, limit=part.count)
    if part.cut_out_m is None:
        stated = part.displacement_m3 is not None
        taken = "" if stated else ", and what they displace inside is not taken from the net volume"
        yield finding("enclosure.radiator_uncut", where=where, value=part.count, taken=taken)
        return
    unknown = [f"{key} ({words})" for key, words in TAKEN.items() if getattr(part, key) is None]
    if unknown:
        yield finding("enclosure.radiator_unknown", where=where, value=", ".join(unknown))
    yield from _met(where, shape, body, model, mount, needs_of(part))
    outside = sorted({row.wall for row in mount.radiators if row is not None and row.index != wall_of(shape, body)})
    if outside:
        walls = ", ".join(f"wall {name}" if name.isdigit() else name for name in outside)
        travel = "its travel" if part.xmax_m is None else f"{1e3 * part.xmax_m:.1f} mm"
        yield finding("enclosure.radiator_outside", where=where, value=walls, travel=travel)


def _met(where: str, shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount, needs: Needs) -> Iterator[Finding]:
    """Of two radiators that meet the later one is told."""
    solids, frames = _solids(shape, body, model, mount), _frames(shape, body, model, mount)
    for number, row in enumerate(mount.radiators, 1):
        if row is None:
            continue
        gaps = _gaps(shape, body, row, needs)
        gaps |= {
            what: abs(at - row.at) - radius - needs.frame_m for what, wall, at, radius in frames if wall == row.index
        }
        met = {what: f" by {-1e3 * gap:.1f} mm" if isfinite(gap) else "" for what, gap in gaps.items() if gap < -NEAR_M}
        own = behind(shape, body, row.index, row.at, 2.0 * needs.inside_m, needs.depth_m)
        met = {what: "" for what, solid in solids.items() if shares_m3([[own]], within=[solid])[0] > MEETS_M3} | met
        for what, by in met.items():
            yield finding("enclosure.radiator_meets", where=f"{where}, radiator {number}", value=what, by=by)
        solids[f"radiator {number}"] = own
        frames.append((f"radiator {number}", row.index, row.at, needs.frame_m))


def _gaps(shape: BoxShape, body: Body, row: Placed, needs: Needs) -> dict[str, float]:
    """Room [m] between a radiator and the walls, negative where it meets them."""
    face = face_of(shape, body, row.index, needs.depth_m)
    gaps = {
        "the walls beside it": _within(face.room, row.at) - needs.inside_m,
        "the edge of its wall": _within(face.board, row.at) - needs.frame_m,
        "what lies across from it": row.behind_m,
    }
    if shape.cover_gap_m is not None and row.index == wall_of(shape, body):
        gaps["the cover"] = shape.cover_gap_m - needs.travel_m
    return gaps


def _within(room: BaseGeometry, at: complex) -> float:
    """How far a place lies inside an area; negative: outside, without end where there is no area."""
    if room.is_empty:
        return -inf
    point = Point(at.real, at.imag)
    far = float(room.boundary.distance(point))
    return far if room.contains(point) else -far


def _frames(
    shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount
) -> list[tuple[str, int | str, complex, float]]:
    """What sits in walls: its name, wall, place and radius."""
    wall, radius = wall_of(shape, body), (model.outer_diameter_m or model.cut_out_m or 0.0) / 2.0
    rows = [(f"loudspeaker {n}", wall, at, radius) for n, at in enumerate(mount.speakers, 1)]
    for n, hole in enumerate(shape.cable_holes, 1):
        rows.append((f"cable hole {n}", wall, complex(*hole.at_m), hole.diameter_m / 2.0))
    return rows


def _solids(shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount) -> dict[str, Part]:
    """What stands in the box, by name."""
    inside = contents(shape, body, None, mount)
    solids: dict[str, Part] = {f"brace {n}": item for n, item in enumerate(inside.braces, 1)}
    solids |= {f"post {n}": item for n, item in enumerate(inside.posts, 1)}
    if model.cut_out_m and model.depth_m:
        wall, size = wall_of(shape, body), (model.cut_out_m, model.depth_m)
        solids |= {f"loudspeaker {n}": behind(shape, body, wall, at, *size) for n, at in enumerate(mount.speakers, 1)}
    return solids
