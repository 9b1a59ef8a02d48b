"""Solids: slabs stacked into a closed shell, holes bored through it, its volume, and sections of a solid somebody scanned.

Boolean operations are manifold3d's, whose results are closed by construction; that is checked again here, edge by edge, and the
volume is the sum of signed tetrahedra over the faces (divergence theorem). Arcs become chords within 10 µm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from cabinwright.physics.outline import Contour
from cabinwright.physics.pipe import Pipe, surface

__all__ = [
    "Bore",
    "Mesh",
    "Part",
    "Plate",
    "Recipe",
    "Slab",
    "as_solid",
    "bored",
    "left_over",
    "section",
    "shares_m3",
    "shell",
]

CHORD_M = 1e-5  #: farthest that a chord of the solid lies from its arc
FINE = 1e3  #: outlines are handed over in millimetres: manifold3d rounds them to the eighth decimal
ROUND = 96  #: sides of a bored hole

Real = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Mesh:
    """Triangles: vertices (n, 3) in metres, faces (m, 3) as rows of vertices, counter-clockwise seen from outside."""

    vertices: Real
    faces: Whole

    @cached_property
    def volume_m3(self) -> float:
        """Signed volume; positive where the faces look outwards."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return float(np.sum(np.einsum("ij,ij->i", a, np.cross(b, c))) / 6.0)

    @cached_property
    def open_edges(self) -> int:
        """Edges that are not met once each way by two faces; 0: watertight."""
        if not len(self.faces):
            return 0
        edges = np.concatenate([self.faces[:, [0, 1]], self.faces[:, [1, 2]], self.faces[:, [2, 0]]])
        sign = np.where(edges[:, 0] < edges[:, 1], 1, -1)
        _, row = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
        ways = np.bincount(row.ravel(), weights=sign)
        return int(np.count_nonzero(ways))

    @property
    def bounds(self) -> tuple[Real, Real]:
        """Least and greatest coordinates (3,)."""
        return self.vertices.min(axis=0), self.vertices.max(axis=0)

    def moved(self, shift_m: Sequence[float]) -> Mesh:
        """Shifted."""
        return Mesh(self.vertices + np.asarray(shift_m, dtype=float), self.faces)


@dataclass(frozen=True)
class Slab:
    """Material between two heights: an outline and what is cut out of it, both in plan."""

    low_m: float
    high_m: float
    outline: Contour
    openings: tuple[Contour, ...] = ()

    @property
    def volume_m3(self) -> float:
        """Exact, arcs and all; the openings lie inside and apart."""
        gone = sum(abs(item.area_m2) for item in self.openings)
        return (abs(self.outline.area_m2) - gone) * (self.high_m - self.low_m)


@dataclass(frozen=True)
class Bore:
    """A round hole from ``at`` along ``way``, both (3,), ``length_m`` deep."""

    at: tuple[float, float, float]
    way: tuple[float, float, float]
    diameter_m: float
    length_m: float


@dataclass(frozen=True)
class Plate:
    """A board or tube that stands anywhere: an outline in its own plane, drawn ``thick_m`` to the side that ``way`` looks.

    ``at``, ``along`` and ``up`` (3,) place the plane: a point x + jy of the outline lies at ``at`` + x ``along`` + y ``up``;
    both are unit vectors across one another, and ``way`` is ``along`` × ``up``.
    """

    at: tuple[float, float, float]
    along: tuple[float, float, float]
    up: tuple[float, float, float]
    outline: Contour
    thick_m: float
    openings: tuple[Contour, ...] = ()


Part = Slab | Plate | Pipe


@dataclass(frozen=True)
class Recipe:
    """What ``shell`` joins, for those who draw the same solid in another way."""

    slabs: Sequence[Slab]
    holes: Sequence[Part] = ()
    inside: Sequence[Part] = ()
    tubes: Sequence[Part] = ()
    passed: Sequence[Part] = ()


def shell(
    slabs: Sequence[Slab],
    *,
    holes: Sequence[Part] = (),
    inside: Sequence[Part] = (),
    tubes: Sequence[Part] = (),
    passed: Sequence[Part] = (),
) -> Mesh:
    """All slabs as one solid, less ``holes``, with what stands ``inside``; arcs as chords within 10 µm.

    What would reach out of the slabs is cut off, and where ``passed`` goes through what stands inside, that is cut away before
    ``tubes`` are put in.
    Raises ``ValueError`` where what comes out is not closed.
    """
    whole = _joined(slabs)
    if holes:
        whole = whole - _joined(holes)
    if inside:
        kept = _joined(inside) ^ _joined([replace(slab, openings=()) for slab in slabs])
        whole = whole + (kept - _joined(passed) if passed else kept)
    return _closed(whole + _joined(tubes) if tubes else whole)


def shares_m3(groups: Sequence[Sequence[Part]], *, within: Sequence[Part]) -> list[float]:
    """What each group takes [m³] of the room ``within`` that no group before it took: what two share counts once."""
    return list(_shares(tuple(tuple(group) for group in groups), tuple(within)))


@lru_cache(maxsize=32)  # asked for several times a box, and again after every edit that leaves its bodies as they are
def _shares(groups: tuple[tuple[Part, ...], ...], within: tuple[Part, ...]) -> tuple[float, ...]:
    room = _joined(within)
    before, taken, shares = None, 0.0, []
    for group in groups:
        if group:
            before = _joined(group) if before is None else before + _joined(group)
            whole = float((before ^ room).volume())
            shares.append(whole - taken)
            taken = whole
        else:
            shares.append(0.0)
    return tuple(shares)


def left_over(within: Sequence[Part], *, gone: Sequence[Part]) -> Mesh:
    """The room ``within`` less all that is ``gone``. Raises ``ValueError`` where what comes out is not closed."""
    return _closed(_joined(within) - _joined(gone) if gone else _joined(within))


def bored(mesh: Mesh, bores: Sequence[Bore]) -> Mesh:
    """A closed solid less ``bores``. Raises ``ValueError`` where it, or what comes out, is not closed."""
    whole = as_solid(mesh)
    if bores:
        whole = whole - _sum([_bored(bore) for bore in bores])
    return _closed(whole)


def _closed(whole: Any) -> Mesh:
    """What manifold3d made, as a mesh, once more held against what a closed solid is."""
    made = whole.to_mesh64()
    mesh = Mesh(
        np.asarray(made.vert_properties, dtype=float)[:, :3].copy(), np.asarray(made.tri_verts, dtype=np.int64).copy()
    )
    if mesh.open_edges:
        raise ValueError(f"{mesh.open_edges} edges of the solid are open")
    return mesh


def section(mesh: Mesh, height_m: float) -> BaseGeometry:
    """The plane section of a closed mesh at a height, as a polygon or several.

    Raises ``ValueError`` where the mesh is not closed or turns inside out.
    """
    return _polygons(as_solid(mesh).slice(height_m).to_polygons())


def as_solid(mesh: Mesh) -> Any:
    """The mesh for manifold3d. Raises ``ValueError`` where it is not closed or turns inside out."""
    from manifold3d import Error, Manifold, Mesh64

    solid = Manifold(Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))
    if solid.status() != Error.NoError or solid.volume() <= 0.0:
        raise ValueError("the solid is not closed, or its faces look inwards")
    return solid


def _polygons(loops: Sequence[Any]) -> BaseGeometry:
    """Loops of either turn as one geometry: what an odd number of them goes round."""
    whole: BaseGeometry = Polygon()
    for loop in loops:
        if len(loop) >= 3:
            whole = whole.symmetric_difference(Polygon(np.asarray(loop, dtype=float)).buffer(0.0))
    return whole


def _points(contour: Contour) -> Real:
    points = contour.counter_clockwise().points(CHORD_M)
    return np.column_stack((points.real, points.imag))


def _even(contour: Contour) -> Real:
    """Its points, moved from the middle until they hold its own area: what stands free is then as large as it should."""
    points = _points(contour)
    polygon = Polygon(points)
    middle = np.asarray(polygon.centroid.coords)[0]
    return np.asarray(middle + (points - middle) * np.sqrt(abs(contour.area_m2) / polygon.area))


def _joined(parts: Sequence[Part]) -> Any:
    return _sum([_part(item) for item in parts])


def _sum(solids: Sequence[Any]) -> Any:
    from manifold3d import Manifold, OpType

    return Manifold.batch_boolean(list(solids), OpType.Add)


def _part(item: Part) -> Any:
    from manifold3d import CrossSection, FillRule

    if isinstance(item, Pipe):
        vertices, faces = surface(item, _even(item.outline))
        return as_solid(Mesh(vertices, faces.astype(np.int64)))
    trace = _points if isinstance(item, Slab) else _even
    loops = [FINE * trace(item.outline), *(FINE * trace(hole)[::-1] for hole in item.openings)]
    plan = CrossSection(loops, FillRule.Positive)
    if isinstance(item, Slab):
        return (
            plan.extrude(item.high_m - item.low_m)
            .scale((1.0 / FINE, 1.0 / FINE, 1.0))
            .translate((0.0, 0.0, item.low_m))
        )
    way = np.cross(item.along, item.up)
    along, up = np.divide(item.along, FINE), np.divide(item.up, FINE)
    return plan.extrude(item.thick_m).transform(np.column_stack((along, up, way, item.at)))


def _bored(bore: Bore) -> Any:
    from manifold3d import Manifold

    way = np.asarray(bore.way, dtype=float)
    way = way / np.linalg.norm(way)
    side = np.cross(way, (1.0, 0.0, 0.0) if abs(way[0]) < 0.7 else (0.0, 1.0, 0.0))
    side /= np.linalg.norm(side)
    turn = np.column_stack((side, np.cross(way, side), way, bore.at))
    return Manifold.cylinder(bore.length_m, bore.diameter_m / 2.0, circular_segments=ROUND).transform(turn)
