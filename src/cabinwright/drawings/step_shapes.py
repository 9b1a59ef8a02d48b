"""Solids as the CAD kernel has them, in millimetres: cylinders, planes and cones instead of triangles.

Only ``drawings.step`` asks for this: here the kernel, an optional part, is imported without further words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import reduce
from itertools import pairwise
from typing import Any

import numpy as np
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakeVertex,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_TransitionMode,
)
from OCP.BRepOffsetAPI import BRepOffsetAPI_MakePipeShell, BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeHalfSpace, BRepPrimAPI_MakePrism
from OCP.GC import GC_MakeArcOfCircle
from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Elips, gp_Pln, gp_Pnt, gp_Vec
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.pipe import Pipe, Station, stations
from cabinwright.physics.solid import Part, Recipe, Slab
from cabinwright.stages.workshop.mount_result import MountResult

__all__ = ["box_shape", "mount_shape"]

MM = 1e3
Triple = tuple[float, float, float]


def box_shape(recipe: Recipe) -> Any:
    """The boards as one, less the holes, with what stands inside: as ``physics.solid.shell`` joins triangles."""
    whole = _joined(recipe.slabs)
    if recipe.holes:
        whole = BRepAlgoAPI_Cut(whole, _joined(recipe.holes)).Shape()
    if recipe.inside:
        room = _joined([replace(slab, openings=()) for slab in recipe.slabs])
        kept = BRepAlgoAPI_Common(_joined(recipe.inside), room).Shape()
        if recipe.passed:
            kept = BRepAlgoAPI_Cut(kept, _joined(recipe.passed)).Shape()
        whole = BRepAlgoAPI_Fuse(whole, kept).Shape()
    if recipe.tubes:
        whole = BRepAlgoAPI_Fuse(whole, _joined(recipe.tubes)).Shape()
    plain = ShapeUpgrade_UnifySameDomain(whole, True, True, False)  # boards on one another become one wall
    plain.Build()
    return plain.Shape()


def mount_shape(mount: MountResult) -> Any:
    """A ring or pod with its hole and screws."""
    body = mount.body
    up = gp_Dir(0.0, 0.0, 1.0)
    length = 4.0 * MM * body.greatest_m
    low = gp_Pnt(0.0, 0.0, -MM * body.greatest_m)
    hole = BRepPrimAPI_MakeCylinder(gp_Ax2(low, up), MM * body.bore_m / 2.0, length).Shape()
    shape = BRepAlgoAPI_Cut(_outside(mount), hole).Shape()
    for at in mount.screws:
        place = gp_Ax2(gp_Pnt(MM * at.real, MM * at.imag, MM * (body.height_m - mount.pilot_deep_m)), up)
        drilled = BRepPrimAPI_MakeCylinder(place, MM * mount.pilot_m / 2.0, length).Shape()
        shape = BRepAlgoAPI_Cut(shape, drilled).Shape()
    return shape


def _outside(mount: MountResult) -> Any:
    """The body without hole and screws: a cylinder cut by the surface, or a skin from the ring to the foot."""
    body = mount.body
    cos, sin = math.cos(body.angle_rad), math.sin(body.angle_rad)
    top = gp_Ax2(gp_Pnt(0.0, 0.0, MM * body.height_m), gp_Dir(0.0, 0.0, 1.0), gp_Dir(1.0, 0.0, 0.0))
    if body.foot_m > body.outer_m:
        radius = MM * body.foot_m / 2.0
        floor = gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(-sin, 0.0, cos), gp_Dir(cos, 0.0, sin))
        skin = BRepOffsetAPI_ThruSections(True, True)
        foot = gp_Circ(floor, radius) if sin < 1e-6 else gp_Elips(floor, radius / cos, radius)
        for curve in (foot, gp_Circ(top, MM * body.outer_m / 2.0)):
            skin.AddWire(BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(curve).Edge()).Wire())
        skin.Build()
        return skin.Shape()
    depth = MM * (body.height_m + body.foot_m * body.slope)
    base = gp_Ax2(gp_Pnt(0.0, 0.0, MM * body.height_m - depth), gp_Dir(0.0, 0.0, 1.0))
    whole = BRepPrimAPI_MakeCylinder(base, MM * body.outer_m / 2.0, depth).Shape()
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(-sin, 0.0, cos))).Face()
    below = BRepPrimAPI_MakeHalfSpace(face, gp_Pnt(0.0, 0.0, -depth)).Solid()
    return BRepAlgoAPI_Cut(whole, below).Shape()


def _joined(parts: Sequence[Part]) -> Any:
    return reduce(lambda whole, shape: BRepAlgoAPI_Fuse(whole, shape).Shape(), map(_drawn, parts))


def _drawn(part: Part) -> Any:
    """One board or tube: its outline, arcs and all, drawn along its thickness."""
    if isinstance(part, Pipe):
        return _piped(part)
    if isinstance(part, Slab):
        at, along, up, thick = (0.0, 0.0, part.low_m), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), part.high_m - part.low_m
    else:
        at, along, up, thick = part.at, part.along, part.up, part.thick_m
    way = MM * thick * np.cross(along, up)
    face = BRepBuilderAPI_MakeFace(_wire(part.outline.counter_clockwise(), at, along, up), True)
    for opening in part.openings:
        clockwise = Contour(tuple(item.reversed() for item in reversed(opening.counter_clockwise().segments)))
        face.Add(_wire(clockwise, at, along, up))
    return BRepPrimAPI_MakePrism(face.Face(), gp_Vec(*map(float, way))).Shape()


def _piped(pipe: Pipe) -> Any:
    """A tube by its cuts: outside less bore."""
    cuts = list(stations(pipe))
    whole = _skinned(pipe, cuts, pipe.inset_m)
    return whole if pipe.wall_m is None else BRepAlgoAPI_Cut(whole, _skinned(pipe, cuts, pipe.wall_m)).Shape()


def _skinned(pipe: Pipe, cuts: Sequence[Station], inset_m: float) -> Any:
    """Straight legs swept with mitres between them, then each flare as a skin of cones or pyramids."""
    square = [n for n, cut in enumerate(cuts) if cut.wider_m == 0.0 and np.array_equal(cut.leg, cut.normal)]
    parts = []
    first, last = square[0], square[-1]
    spine = BRepBuilderAPI_MakeWire()
    for a, b in pairwise(cuts[first : last + 1]):
        if not np.allclose(a.at, b.at):
            spine.Add(BRepBuilderAPI_MakeEdge(gp_Pnt(*(MM * a.at)), gp_Pnt(*(MM * b.at))).Edge())
    if not np.allclose(cuts[first].at, cuts[last].at):
        sweep = BRepOffsetAPI_MakePipeShell(spine.Wire())
        sweep.SetTransitionMode(BRepBuilderAPI_TransitionMode.BRepBuilderAPI_RightCorner)
        sweep.Add(_cut_wire(pipe, cuts[first], inset_m))
        sweep.Build()
        sweep.MakeSolid()
        parts.append(sweep.Shape())
    for rows in (cuts[: first + 1], cuts[last:]):
        if len(rows) > 1:
            skin = BRepOffsetAPI_ThruSections(True, True)
            for cut in rows:
                skin.AddWire(_cut_wire(pipe, cut, inset_m))
            skin.Build()
            parts.append(skin.Shape())
    return reduce(lambda whole, part: BRepAlgoAPI_Fuse(whole, part).Shape(), parts)


def _cut_wire(pipe: Pipe, cut: Station, inset_m: float) -> Any:
    left, bottom, right, top = pipe.outline.bounds
    by = cut.wider_m - inset_m
    if pipe.is_round:
        outline = circle(0j, right - left + 2.0 * by)
    else:
        x, y = (right - left) / 2.0 + by, (top - bottom) / 2.0 + by
        outline = Contour(
            from_corners([Corner(complex(a, b)) for a, b in ((-x, -y), (x, -y), (x, y), (-x, y))], fillet_m=0.0)
        )
    at, along, up = ((float(v[0]), float(v[1]), float(v[2])) for v in (cut.at, cut.along, cut.up))
    return _wire(outline.counter_clockwise(), at, along, up)


def _wire(contour: Contour, at: Triple, along: Triple, up: Triple) -> Any:
    def placed(point: complex) -> gp_Pnt:
        rows = zip(at, along, up, strict=True)
        return gp_Pnt(*(float(MM * (o + point.real * a + point.imag * b)) for o, a, b in rows))

    segments = contour.segments
    corners = [placed(item.start) for item in segments]
    ends = [BRepBuilderAPI_MakeVertex(corner).Vertex() for corner in corners]
    made = BRepBuilderAPI_MakeWire()
    for number, item in enumerate(segments):
        after = (number + 1) % len(segments)
        if item.is_line:
            edge = BRepBuilderAPI_MakeEdge(ends[number], ends[after])
        else:
            arc = GC_MakeArcOfCircle(corners[number], placed(item.point(0.5)), corners[after]).Value()
            edge = BRepBuilderAPI_MakeEdge(arc, ends[number], ends[after])
        made.Add(edge.Edge())
    return made.Wire()
