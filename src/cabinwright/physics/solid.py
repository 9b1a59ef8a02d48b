"""Solids: slabs stacked into a closed shell, holes bored through it, its volume, and sections of a solid somebody scanned.

Boolean operations are manifold3d's, whose results are closed by construction; that is checked again here, edge by edge, and the
volume is the sum of signed tetrahedra over the faces (divergence theorem). Arcs become chords within 10 µm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from cabinwright.physics.outline import Contour

__all__ = ["Bore", "Mesh", "Slab", "bored", "section", "shell"]

CHORD_M = 1e-5  #: farthest that a chord of the solid lies from its arc
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


def shell(slabs: Sequence[Slab], *, bores: Sequence[Bore] = (), holes: Sequence[Slab] = ()) -> Mesh:
    """All slabs as one solid, less ``bores`` and ``holes``; arcs as chords within 10 µm.

    Raises ``ValueError`` where what comes out is not closed.
    """
    from manifold3d import Manifold, OpType

    whole = Manifold.batch_boolean([_extruded(slab) for slab in slabs], OpType.Add)
    gone = [_bored(bore) for bore in bores] + [_extruded(hole) for hole in holes]
    if gone:
        whole = whole - Manifold.batch_boolean(gone, OpType.Add)
    return _closed(whole)


def bored(mesh: Mesh, bores: Sequence[Bore]) -> Mesh:
    """A closed solid less ``bores``. Raises ``ValueError`` where it, or what comes out, is not closed."""
    from manifold3d import Manifold, OpType

    whole = _solid(mesh)
    if bores:
        whole = whole - Manifold.batch_boolean([_bored(bore) for bore in bores], OpType.Add)
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
    return _polygons(_solid(mesh).slice(height_m).to_polygons())


def _solid(mesh: Mesh) -> Any:
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


def _extruded(slab: Slab) -> Any:
    from manifold3d import CrossSection, FillRule

    loops = [_points(slab.outline), *(_points(item)[::-1] for item in slab.openings)]
    plan = CrossSection(loops, FillRule.Positive)
    return plan.extrude(slab.high_m - slab.low_m).translate((0.0, 0.0, slab.low_m))


def _bored(bore: Bore) -> Any:
    from manifold3d import Manifold

    way = np.asarray(bore.way, dtype=float)
    way = way / np.linalg.norm(way)
    side = np.cross(way, (1.0, 0.0, 0.0) if abs(way[0]) < 0.7 else (0.0, 1.0, 0.0))
    side /= np.linalg.norm(side)
    turn = np.column_stack((side, np.cross(way, side), way, bore.at))
    return Manifold.cylinder(bore.length_m, bore.diameter_m / 2.0, circular_segments=ROUND).transform(turn)
