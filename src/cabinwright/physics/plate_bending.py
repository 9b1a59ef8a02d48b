"""How far a flat board sags under a load, and the stress in it: rectangles by series, any outline by finite elements.

Thin plates (Kirchhoff), isotropic, small deflections, D ∇⁴w = q; stress on the face 6 M/h², M the larger principal moment.

    simply supported rectangle   Navier's double series, uniform and rectangular patch loads
                                 (Timoshenko & Woinowsky-Krieger 1959, §30 and §34)
    other outlines and supports  Morley's triangle; moments are constant in each triangle, so the stress is that of its middle

A support holds the board down as well as up and leaves it free to turn. A board that only lies on its ledge lifts its corners
and sags a little more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import spsolve
from shapely import LineString, MultiPoint, Point, Polygon, contains_xy, distance, points

from cabinwright.physics.plate import ACROSS, Board, plate_mesh

__all__ = ["GRAVITY_M_S2", "Bent", "Patch", "Unsupported", "bend_outline", "bend_rectangle"]

GRAVITY_M_S2 = 9.80665  #: standard acceleration of free fall, ISO 80000-3
TERMS = 61  #: of the series in each direction; odd, so that the last one counts for even loads
GRID = 61  #: places each way at which the series is evaluated
Real = NDArray[np.float64]
Support = tuple[complex, complex]  #: a line from end to end; both alike: a point


class Unsupported(ValueError):
    """The supports let the board fall or tip."""


@dataclass(frozen=True)
class Patch:
    """A force [N] spread evenly over a rectangle; ``size_m`` None: over the whole board."""

    force_n: float
    at_m: complex = 0j
    size_m: tuple[float, float] | None = None

    def polygon(self, board: Polygon) -> Polygon:
        """The part of ``board`` that carries it."""
        if self.size_m is None:
            return board
        (x, y), (a, b) = (self.at_m.real, self.at_m.imag), self.size_m
        corners = ((x - a / 2, y - b / 2), (x + a / 2, y - b / 2), (x + a / 2, y + b / 2), (x - a / 2, y + b / 2))
        return Polygon(corners).intersection(board)


@dataclass(frozen=True, eq=False)
class Bent:
    """A board under its load: deflection downwards [m] and stress on its face [Pa] at places in its plane."""

    at_m: Real  #: (n, 2)
    down_m: Real  #: (n,)
    triangles: NDArray[np.int64]  #: (t, 3)
    stress_pa: Real  #: (n,) of the series, (t,) of the elements

    @property
    def most_m(self) -> float:
        """Greatest deflection."""
        return float(np.max(np.abs(self.down_m)))

    @property
    def most_at_m(self) -> tuple[float, float]:
        """Where that is."""
        x, y = (float(part) for part in self.at_m[int(np.argmax(np.abs(self.down_m)))])
        return x, y

    @property
    def most_pa(self) -> float:
        """Greatest stress."""
        return float(np.max(self.stress_pa))


def bend_rectangle(board: Board, *, length_m: float, width_m: float, loads: Sequence[Patch]) -> Bent:
    """A rectangle from (0, 0) to (length, width), simply supported all round."""
    a, b = length_m, width_m
    m, n = np.arange(1, TERMS + 1)[:, None], np.arange(1, TERMS + 1)[None, :]
    kx, ky = np.pi * m / a, np.pi * n / b
    q = np.zeros((TERMS, TERMS))
    for load in loads:
        part = load.polygon(Polygon(((0, 0), (a, 0), (a, b), (0, b))))
        if part.is_empty:
            continue
        x0, y0, x1, y1 = part.bounds
        sines = (np.cos(kx * x0) - np.cos(kx * x1)) * (np.cos(ky * y0) - np.cos(ky * y1))
        q += 4.0 * load.force_n / (part.area * a * b) * sines / (kx * ky)
    w = q / (board.rigidity_nm * (kx**2 + ky**2) ** 2)
    x, y = np.linspace(0.0, a, GRID), np.linspace(0.0, b, GRID)
    sx, sy = np.sin(x[:, None] * kx.T), np.sin(ky.T * y[None, :])
    cx, cy = np.cos(x[:, None] * kx.T), np.cos(ky.T * y[None, :])
    nu, rigid = board.poisson, board.rigidity_nm
    along, across = sx @ (kx**2 * w) @ sy, sx @ (ky**2 * w) @ sy
    twist = rigid * (1.0 - nu) * (cx @ (kx * ky * w) @ cy)
    stress = _stress(rigid * (along + nu * across), rigid * (across + nu * along), twist, board.thickness_m)
    corner = np.arange(GRID * GRID).reshape(GRID, GRID)[:-1, :-1].ravel()
    cells = np.concatenate([corner[:, None] + np.array([0, GRID, 1]), corner[:, None] + np.array([GRID, GRID + 1, 1])])
    at = np.column_stack((np.repeat(x, GRID), np.tile(y, GRID)))
    return Bent(at, (sx @ w @ sy).ravel(), cells, stress.ravel())


def bend_outline(
    board: Board,
    outline: Polygon,
    *,
    loads: Sequence[Patch],
    edge: bool = True,
    supports: Sequence[Support] = (),
    mesh_m: float | None = None,
) -> Bent:
    """A board of any outline; holes have free edges.

    Args:
        outline: in metres; its holes are openings.
        loads: forces on it, downwards.
        edge: whether it is supported all along its outer edge.
        supports: lines and points that hold it besides; one on the edge holds what of the edge it runs along.
        mesh_m: side of the triangles; absent: a twentieth of the outline's smaller extent.

    Raises:
        Unsupported: it is held along one line at most.
        ValueError: the outline cannot be meshed.
    """
    from skfem import Basis, BilinearForm, ElementTriMorley, LinearForm, MeshTri
    from skfem.helpers import dd, ddot, trace

    x0, y0, x1, y1 = outline.bounds
    side = mesh_m or min(x1 - x0, y1 - y0) / ACROSS
    at, triangles, held = plate_mesh(outline, side, supports)
    held = held | _on_edge(at, outline, side, edge, supports)
    spread = MultiPoint(at[held]).convex_hull if held.any() else Point()
    if spread.area < 1e-4 * outline.area:
        raise Unsupported("the supports lie in one line at most")
    mesh = MeshTri(np.ascontiguousarray(at.T), np.ascontiguousarray(triangles.T))
    basis = Basis(mesh, ElementTriMorley(), intorder=4)
    nu, rigid = board.poisson, board.rigidity_nm

    @BilinearForm  # type: ignore[untyped-decorator]
    def stiffness(u: Any, v: Any, w: Any) -> Any:
        bent, other = dd(u), dd(v)
        eye = np.eye(2)[:, :, None, None] * trace(bent)
        return rigid * ddot((1.0 - nu) * bent + nu * eye, other)

    pressed = _pressure(np.asarray(basis.global_coordinates()), basis.dx, outline, loads, side)

    @LinearForm  # type: ignore[untyped-decorator]
    def force(v: Any, w: Any) -> Any:
        return pressed * v

    k, f = stiffness.assemble(basis).tocsc(), force.assemble(basis)
    free = np.setdiff1d(np.arange(k.shape[0]), basis.nodal_dofs[0][held])
    u = np.zeros(k.shape[0])
    u[free] = spsolve(k[free][:, free], f[free])
    curve = np.asarray(basis.interpolate(u).hess)[..., 0]
    mx, my = curve[0, 0] + nu * curve[1, 1], curve[1, 1] + nu * curve[0, 0]
    stress = _stress(rigid * mx, rigid * my, rigid * (1.0 - nu) * curve[0, 1], board.thickness_m)
    return Bent(at, u[basis.nodal_dofs[0]], triangles, stress)


def _stress(mx: Real, my: Real, mxy: Real, thickness_m: float) -> Real:
    """Of the larger principal moment, on the face."""
    middle, radius = (mx + my) / 2.0, np.hypot((mx - my) / 2.0, mxy)
    return np.asarray(6.0 / thickness_m**2 * (np.abs(middle) + radius))


def _on_edge(at: Real, outline: Polygon, side: float, edge: bool, supports: Sequence[Support]) -> NDArray[np.bool_]:
    """Which points of the outer edge are held."""
    there = points(at)
    outer = np.asarray(distance(there, outline.exterior) < 1e-6 * side + 1e-9)
    if edge:
        return outer
    held = np.zeros(len(at), dtype=bool)
    for a, b in supports:
        line = Point(a.real, a.imag) if a == b else LineString([(a.real, a.imag), (b.real, b.imag)])
        near = np.asarray(distance(there, line) < 0.36 * side)
        held |= outer & near
        if not near.any():  # a point between the mesh's own
            held[int(np.argmin(distance(there, line)))] = True
    return held


def _pressure(at: Real, dx: Real, outline: Polygon, loads: Sequence[Patch], side: float) -> Real:
    """Pressure [Pa] at the points of integration, every load with its whole force."""
    found = np.zeros(dx.shape)
    for load in loads:
        part = load.polygon(outline)
        if part.is_empty:
            continue
        under = contains_xy(part, at[0], at[1]) if load.size_m is not None else np.ones(dx.shape, dtype=bool)
        if not under.any():  # smaller than the mesh: on the triangle nearest to it
            under = np.hypot(at[0] - load.at_m.real, at[1] - load.at_m.imag) < side
        found += under * load.force_n / float(np.sum(dx[under]))
    return found
