"""First resonance of flat walls: rectangles by formula, any outline by finite elements, with ribs and a lumped mass.

Thin plates (Kirchhoff), isotropic, in vacuum: ω = λ² √(D/(ρh))/a², D = E h³/(12 (1 − ν²)).

    simply supported rectangle   ω = π² √(D/(ρh)) (1/a² + 1/b²), exact (Leissa 1969, eq. 4.20)
    clamped rectangle            ω = π² √(D/(ρh)) √(G⁴ (1/a⁴ + 1/b⁴) + 2 H²/(a² b²)), G = 1.506, H = 1.248: beam functions
                                 in Rayleigh's quotient (Warburton 1954, in Leissa 1969, 4.1); up to 0.6 % high

Other outlines: Morley's triangle (constant moments; Morley 1968) on a mesh of even triangles. A glued and screwed joint holds a
wall between the two edge conditions; the simply supported figure is the safe one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import diags
from scipy.sparse.linalg import eigsh
from scipy.spatial import Delaunay, cKDTree
from shapely import Polygon, contains_xy, distance, points, prepare

__all__ = ["CLAMPED", "SUPPORTED", "Board", "plate_hz", "plate_mesh", "rectangle_hz"]

CLAMPED, SUPPORTED = "clamped", "simply supported"
G, H = 1.506, 1.248  #: of the first mode of a clamped beam, Warburton 1954
ACROSS = 20.0  #: triangles across the smaller extent
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Board:
    """A sheet that walls are made of."""

    thickness_m: float
    young_pa: float
    density_kg_m3: float
    poisson: float = 0.3

    @property
    def rigidity_nm(self) -> float:
        """D [N m]."""
        return self.young_pa * self.thickness_m**3 / (12.0 * (1.0 - self.poisson**2))

    @property
    def mass_kg_m2(self) -> float:
        """Mass of a square metre."""
        return self.density_kg_m3 * self.thickness_m

    @property
    def speed_m2_s(self) -> float:
        """√(D/(ρh)) [m²/s]."""
        return sqrt(self.rigidity_nm / self.mass_kg_m2)


def rectangle_hz(board: Board, *, length_m: float, width_m: float, edges: str = SUPPORTED) -> float:
    """First resonance [Hz] of a rectangle held alike on all four edges (``CLAMPED`` or ``SUPPORTED``)."""
    a, b = length_m, width_m
    if edges == SUPPORTED:
        return pi / 2.0 * board.speed_m2_s * (1.0 / a**2 + 1.0 / b**2)
    shape = G**4 * (1.0 / a**4 + 1.0 / b**4) + 2.0 * H**2 / (a * b) ** 2
    return pi / 2.0 * board.speed_m2_s * sqrt(shape)


def plate_hz(
    board: Board,
    outline: Polygon,
    *,
    edges: str = SUPPORTED,
    ribs: Sequence[tuple[complex, complex]] = (),
    rim_mass_kg: float = 0.0,
    mesh_m: float | None = None,
) -> float:
    """First resonance [Hz] of a plate of any outline, held on its outer edge; holes have free edges.

    Args:
        outline: in metres; its holes are openings.
        ribs: lines on which the plate is held still.
        rim_mass_kg: mass spread evenly over the holes' edges, as of a loudspeaker.
        mesh_m: side of the triangles; absent: a twentieth of the outline's smaller extent (2 % low at most).

    Raises:
        ValueError: the outline cannot be meshed.
    """
    from skfem import Basis, BilinearForm, ElementTriMorley, MeshTri
    from skfem.helpers import dd, ddot, trace

    x0, y0, x1, y1 = outline.bounds
    side = mesh_m or min(x1 - x0, y1 - y0) / ACROSS
    at, triangles, rib = plate_mesh(outline, side, ribs)
    mesh = MeshTri(np.ascontiguousarray(at.T), np.ascontiguousarray(triangles.T))
    basis = Basis(mesh, ElementTriMorley())
    nu, bend = board.poisson, board.rigidity_nm

    @BilinearForm  # type: ignore[untyped-decorator]
    def stiffness(u: Any, v: Any, w: Any) -> Any:
        bent, other = dd(u), dd(v)
        eye = np.eye(2)[:, :, None, None] * trace(bent)
        return bend * ddot((1.0 - nu) * bent + nu * eye, other)

    @BilinearForm  # type: ignore[untyped-decorator]
    def mass(u: Any, v: Any, w: Any) -> Any:
        return board.mass_kg_m2 * u * v

    k, m = stiffness.assemble(basis), mass.assemble(basis)
    rim = _on_rim(at, outline)
    if rim_mass_kg > 0.0 and rim.any():
        lumped = np.zeros(m.shape[0])
        lumped[basis.nodal_dofs[0][rim]] = rim_mass_kg / int(rim.sum())
        m = m + diags(lumped)
    outer = distance(points(at), outline.exterior) < 1e-6 * side + 1e-9
    held = set(basis.nodal_dofs[0][outer | rib].tolist())
    if edges == CLAMPED:
        edge = mesh.boundary_facets()
        ends = mesh.facets[:, edge]
        held |= set(basis.facet_dofs[0][edge[outer[ends[0]] & outer[ends[1]]]].tolist())
    free = np.setdiff1d(np.arange(k.shape[0]), np.fromiter(held, dtype=np.int64))
    k, m = k[free][:, free].tocsc(), m[free][:, free].tocsc()
    start = np.ones(len(free))
    value = eigsh(k, k=1, M=m, sigma=0.0, v0=start, return_eigenvectors=False)[0]
    return float(sqrt(max(float(value), 0.0)) / (2.0 * pi))


def _on_rim(at: Real, outline: Polygon) -> NDArray[np.bool_]:
    near = np.zeros(len(at), dtype=bool)
    for ring in outline.interiors:
        near |= distance(points(at), ring) < 1e-7
    return near


def plate_mesh(
    outline: Polygon, side: float, ribs: Sequence[tuple[complex, complex]]
) -> tuple[Real, Any, NDArray[np.bool_]]:
    """Even triangles: points on all edges and ribs, a hexagonal grid between them, Delaunay; which points are on ribs."""
    edge = np.concatenate([_along(np.asarray(ring.coords), side) for ring in (outline.exterior, *outline.interiors)])
    held = [_along(np.array([[a.real, a.imag], [b.real, b.imag]]), side, closed=False) for a, b in ribs]
    lines = np.concatenate(held) if held else np.zeros((0, 2))
    prepare(outline)
    if len(lines):
        inside = contains_xy(outline, lines[:, 0], lines[:, 1])
        lines = lines[inside & (distance(points(lines), outline.boundary) > 0.35 * side)]
    x0, y0, x1, y1 = outline.bounds
    high = side * sqrt(3.0) / 2.0
    across, up = np.meshgrid(np.arange(x0, x1, side), np.arange(y0 + high / 2.0, y1, high))
    across = across + 0.5 * side * (np.arange(len(up)) % 2)[:, None]
    grid = np.column_stack((across.ravel(), up.ravel()))
    grid = grid[contains_xy(outline, grid[:, 0], grid[:, 1])]
    grid = grid[distance(points(grid), outline.boundary) > 0.55 * side]
    if len(lines):
        grid = grid[cKDTree(lines).query(grid)[0] > 0.55 * side]
    at = np.concatenate([edge, lines, grid])
    triangles: Any = Delaunay(at).simplices
    corners = at[triangles]
    middle = corners.mean(axis=1)
    ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * np.abs(ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    keep = contains_xy(outline, middle[:, 0], middle[:, 1]) & (area > 1e-6 * side**2)
    if abs(float(area[keep].sum()) / outline.area - 1.0) > 0.01:
        raise ValueError("the outline is too fine to be meshed")
    used, triangles = np.unique(triangles[keep], return_inverse=True)
    on_rib = np.zeros(len(at), dtype=bool)
    on_rib[len(edge) : len(edge) + len(lines)] = True
    return at[used], triangles.reshape(-1, 3), on_rib[used]


def _along(corners: Real, side: float, *, closed: bool = True) -> Real:
    """Points on a chain no farther apart than ``side``; corners are kept."""
    rows = []
    for a, b in pairwise(corners):
        steps = max(1, int(np.ceil(float(np.hypot(*(b - a))) / side - 1e-9)))
        rows.append(a + (b - a) * (np.arange(steps) / steps)[:, None])
    if not closed:
        rows.append(corners[-1:])
    return np.concatenate(rows)
