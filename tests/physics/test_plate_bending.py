"""Boards under load: Timoshenko's table, the beam formula, a triangle, and the two ways against each other."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from shapely import Point, Polygon, box

from cabinwright.physics.plate import Board
from cabinwright.physics.plate_bending import Patch, Unsupported, bend_outline, bend_rectangle

BOARD = Board(0.015, 4.0e9, 700.0, 0.3)
SHORT = 0.5


def figures(down_m: float, stress_pa: float, pressure_pa: float) -> tuple[float, float]:
    """α of w = α q a⁴/D and β of M = β q a²."""
    alpha = down_m * BOARD.rigidity_nm / (pressure_pa * SHORT**4)
    return alpha, stress_pa * BOARD.thickness_m**2 / 6.0 / (pressure_pa * SHORT**2)


# S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd edition 1959, table 8: uniform load, ν = 0.3
TABLE_8 = [(1.0, 0.00406, 0.0479), (1.5, 0.00772, 0.0812), (2.0, 0.01013, 0.1017), (3.0, 0.01223, 0.1189)]


@pytest.mark.parametrize(("ratio", "alpha", "beta"), TABLE_8)
def test_rectangles_of_the_table(ratio: float, alpha: float, beta: float) -> None:
    load = [Patch(900.0 * ratio * SHORT**2)]
    series = bend_rectangle(BOARD, length_m=ratio * SHORT, width_m=SHORT, loads=load)
    got = figures(series.most_m, series.most_pa, 900.0)
    assert got == (pytest.approx(alpha, abs=6e-6), pytest.approx(beta, abs=6e-5))
    assert got != (pytest.approx(alpha * 1.01, abs=6e-6), pytest.approx(beta, abs=6e-5))
    for share, close in ((20, 0.012), (40, 0.005)):
        elements = bend_outline(BOARD, box(0, 0, ratio * SHORT, SHORT), loads=load, mesh_m=SHORT / share)
        down, stress = figures(elements.most_m, elements.most_pa, 900.0)
        assert down == pytest.approx(got[0], rel=close)
        assert stress == pytest.approx(got[1], rel=close)


def test_a_patch_by_both_ways() -> None:
    load = [Patch(750.0, 0.3 + 0.2j, (0.2, 0.15)), Patch(80.0)]
    series = bend_rectangle(BOARD, length_m=0.9, width_m=0.5, loads=load)
    errors = []
    for share in (16, 32):
        elements = bend_outline(BOARD, box(0, 0, 0.9, 0.5), loads=load, mesh_m=0.5 / share)
        errors.append(abs(elements.most_m / series.most_m - 1.0))
        assert elements.most_pa == pytest.approx(series.most_pa, rel=0.03)
    assert errors[1] < 0.01 > errors[1] * 0.5
    assert errors[1] <= errors[0]
    moved = bend_rectangle(BOARD, length_m=0.9, width_m=0.5, loads=[Patch(750.0, 0.45 + 0.25j, (0.2, 0.15)), load[1]])
    assert moved.most_m > 1.1 * series.most_m


def test_two_ledges_make_a_beam() -> None:
    """w = 5 q l⁴/(384 E I), σ = q l²/8 / (h²/6), without Poisson's ratio; Timoshenko, Strength of Materials, 1955."""
    board = Board(0.015, 4.0e9, 700.0, 0.0)
    span, wide, pressure = 0.8, 0.3, 1200.0
    ledges = [(0j, wide * 1j), (span + 0j, span + wide * 1j)]
    load = [Patch(pressure * span * wide)]
    bent = bend_outline(board, box(0, 0, span, wide), loads=load, edge=False, supports=ledges)
    exact = 5.0 * pressure * span**4 / (384.0 * board.young_pa * board.thickness_m**3 / 12.0)
    assert bent.most_m == pytest.approx(exact, rel=0.003)
    assert bent.most_m != pytest.approx(1.01 * exact, rel=0.003)
    assert bent.most_pa == pytest.approx(pressure * span**2 / 8.0 * 6.0 / board.thickness_m**2, rel=0.01)
    # a bearer in the middle of a beam over two spans: w = q l⁴/(185 E I) in each (the same book, table of beams)
    middle = [*ledges, (span / 2 + 0j, span / 2 + wide * 1j)]
    half = bend_outline(board, box(0, 0, span, wide), loads=load, edge=False, supports=middle, mesh_m=0.01)
    exact = pressure * (span / 2.0) ** 4 / (184.6 * board.young_pa * board.thickness_m**3 / 12.0)
    assert half.most_m == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("pressure", [1000.0])
def test_an_equilateral_triangle(pressure: float) -> None:
    """Simply supported, in its middle w = q h⁴/(972 D), h its height; Timoshenko & Woinowsky-Krieger 1959, §74."""
    high = 0.6
    side = 2.0 * high / sqrt(3.0)
    outline = Polygon([(0, 0), (side, 0), (side / 2.0, high)])
    exact = pressure * high**4 / (972.0 * BOARD.rigidity_nm)
    errors = []
    for share in (16, 40):
        bent = bend_outline(BOARD, outline, loads=[Patch(pressure * outline.area)], mesh_m=high / share)
        near = int(np.argmin(np.hypot(bent.at_m[:, 0] - side / 2.0, bent.at_m[:, 1] - high / 3.0)))
        errors.append(float(bent.down_m[near]) / exact - 1.0)
    assert abs(errors[1]) < 0.01
    assert abs(errors[1]) < abs(errors[0])
    assert abs(1.02 * (1.0 + errors[1]) - 1.0) > 0.01


def test_openings_and_free_edges_weaken() -> None:
    load = [Patch(500.0, 0.2 + 0.25j, (0.1, 0.1))]
    whole, opened = box(0, 0, 0.8, 0.5), box(0, 0, 0.8, 0.5).difference(Point(0.5, 0.25).buffer(0.12))
    assert bend_outline(BOARD, opened, loads=load).most_m > 1.02 * bend_outline(BOARD, whole, loads=load).most_m
    posts = [(complex(x, y),) * 2 for x in (0.05, 0.75) for y in (0.05, 0.45)]
    on_posts = bend_outline(BOARD, whole, loads=load, edge=False, supports=[(a, b) for a, b in posts])
    assert on_posts.most_m > bend_outline(BOARD, whole, loads=load).most_m


@pytest.mark.parametrize("supports", [[], [(0j, 0.5j)], [(0.1 + 0.1j, 0.1 + 0.1j), (0.5 + 0.1j, 0.5 + 0.1j)]])
def test_what_falls_is_said(supports: list[tuple[complex, complex]]) -> None:
    with pytest.raises(Unsupported, match="one line"):
        bend_outline(BOARD, box(0, 0, 0.8, 0.5), loads=[Patch(100.0)], edge=False, supports=supports)


def test_a_force_smaller_than_the_mesh_keeps_its_size() -> None:
    """Halving the foot of a load hardly changes what the board does far from it."""
    whole = box(0, 0, 0.8, 0.5)
    got = [bend_outline(BOARD, whole, loads=[Patch(400.0, 0.4 + 0.25j, (s, s))]).most_m for s in (0.02, 0.001)]
    assert got[1] == pytest.approx(got[0], rel=0.03)
