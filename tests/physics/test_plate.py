"""Plates against Leissa's published tables, and the finite elements against another element and the formulas."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.sparse.linalg import eigsh
from shapely import Point, Polygon, box
from skfem import Basis, BilinearForm, ElementTriArgyris, MeshTri
from skfem.helpers import dd, ddot, trace

from cabinwright.physics.plate import CLAMPED, SUPPORTED, Board, plate_hz, rectangle_hz

BOARD = Board(0.018, 3.6e9, 750.0, 0.3)


def figure(hertz: float, length_m: float) -> float:
    """Leissa's dimensionless figure ω a² √(ρh/D)."""
    return hertz * 2.0 * pi * length_m**2 / BOARD.speed_m2_s


# A. W. Leissa, The free vibration of rectangular plates, J. Sound Vib. 31(3), 1973, table for C-C-C-C, first mode.
@pytest.mark.parametrize(
    ("ratio", "value"), [(0.4, 23.648), (2 / 3, 27.010), (1.0, 35.992), (1.5, 60.772), (2.5, 147.80)]
)
def test_clamped_rectangles(ratio: float, value: float) -> None:
    got = figure(rectangle_hz(BOARD, length_m=0.4, width_m=0.4 / ratio, edges=CLAMPED), 0.4)
    assert 0.0 <= got / value - 1.0 < 0.006  # a Rayleigh quotient is never below
    assert not 0.0 <= 0.99 * got / value - 1.0 < 0.006


@pytest.mark.parametrize(("edges", "value"), [(CLAMPED, 10.2158), (SUPPORTED, 4.935)])
def test_round_plates(edges: str, value: float) -> None:
    """Leissa 1969, tables 2.1 and 2.3 (Poisson's ratio 0.3)."""
    coarse, fine = (
        figure(plate_hz(BOARD, Point(0, 0).buffer(0.2, 32), edges=edges, mesh_m=m), 0.2) for m in (0.02, 0.01)
    )
    assert fine == pytest.approx(value, rel=0.012)
    assert abs(fine - value) < abs(coarse - value)


@pytest.mark.parametrize("edges", [CLAMPED, SUPPORTED])
@pytest.mark.parametrize("sides", [(0.5, 0.5), (0.62, 0.34)])
def test_elements_agree_with_formulas(edges: str, sides: tuple[float, float]) -> None:
    formula = rectangle_hz(BOARD, length_m=sides[0], width_m=sides[1], edges=edges)
    coarse, fine = (plate_hz(BOARD, box(0, 0, *sides), edges=edges, mesh_m=min(sides) / n) for n in (14, 28))
    assert fine == pytest.approx(formula, rel=0.02)
    assert abs(fine - formula) < abs(coarse - formula)
    assert plate_hz(Board(0.02, 3.6e9, 750.0), box(0, 0, *sides), edges=edges) > 1.05 * formula


def test_another_element_on_an_outline_without_a_formula() -> None:
    """Argyris' quintic triangle (smooth, from scikit-fem) on an L of which no table is known here."""
    corners = [(0, 0), (0.6, 0), (0.6, 0.2), (0.3, 0.2), (0.3, 0.4), (0, 0.4)]
    mesh = MeshTri.init_lshaped().refined(2)  # from -1 to 1, the lower left quarter is kept
    low = mesh.p.min(axis=1)[:, None]
    mesh = MeshTri(np.ascontiguousarray((mesh.p - low) * np.array([[0.3], [0.2]])), mesh.t)
    basis = Basis(mesh, ElementTriArgyris())
    nu = BOARD.poisson

    @BilinearForm
    def stiffness(u, v, w):
        return BOARD.rigidity_nm * ddot((1 - nu) * dd(u) + nu * np.eye(2)[:, :, None, None] * trace(dd(u)), dd(v))

    @BilinearForm
    def mass(u, v, w):
        return BOARD.mass_kg_m2 * u * v

    k, m = stiffness.assemble(basis), mass.assemble(basis)
    held = basis.get_dofs(mesh.boundary_facets()).all(["u", "u_x", "u_y", "u_n"])
    free = np.setdiff1d(np.arange(k.shape[0]), held)
    value = eigsh(k[free][:, free], k=1, M=m[free][:, free], sigma=0.0, return_eigenvectors=False)[0]
    outside = np.sqrt(value) / (2 * pi)
    whole = Polygon(mirrored(corners, mesh))
    assert plate_hz(BOARD, whole, edges=CLAMPED, mesh_m=0.006) == pytest.approx(outside, rel=0.02)


def mirrored(corners: list[tuple[float, float]], mesh: MeshTri) -> list[tuple[float, float]]:
    """The L as scikit-fem's mesh has it: whichever quarter is missing there."""
    cells = mesh.p[:, mesh.t].mean(axis=1)
    centre = np.array([0.3, 0.2])
    missing = next(
        (sx, sy)
        for sx in (-1, 1)
        for sy in (-1, 1)
        if not np.any(((cells[0] - centre[0]) * sx > 0) & ((cells[1] - centre[1]) * sy > 0))
    )
    return [(x if missing[0] > 0 else 0.6 - x, y if missing[1] > 0 else 0.4 - y) for x, y in corners]


def test_a_rib_makes_two_plates_of_one() -> None:
    half = rectangle_hz(BOARD, length_m=0.3, width_m=0.3)
    assert plate_hz(BOARD, box(0, 0, 0.6, 0.3), ribs=[(0.3 + 0j, 0.3 + 0.3j)], mesh_m=0.015) == pytest.approx(
        half, rel=0.02
    )


def test_a_loudspeakers_mass_lowers_it() -> None:
    baffle = box(0, 0, 0.5, 0.5).difference(Point(0.25, 0.25).buffer(0.11))
    bare, loaded = plate_hz(BOARD, baffle), plate_hz(BOARD, baffle, rim_mass_kg=7.0)
    assert loaded < 0.7 * bare


def test_what_cannot_be_meshed_says_so() -> None:
    trough = Polygon([(0, 0), (1, 0), (1, 1), (0.9, 1), (0.9, 0.1), (0.02, 0.1), (0.02, 1), (0, 1)])
    with pytest.raises(ValueError, match="too fine"):
        plate_hz(BOARD, trough, mesh_m=0.9)
