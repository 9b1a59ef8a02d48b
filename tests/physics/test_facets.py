"""Facets against independent means: matplotlib's ``Path`` (which points lie inside), closed forms (areas), and turning them.

Bad corners are refused with the rule they break.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from matplotlib.path import Path
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from cabinwright.physics.facets import FLAT_M, Facet, FacetError, blocked, may_block
from physics.polyhedra import L_PROFILE, box, frustum

Real = NDArray[np.float64]
STAR = np.array([(np.cos(k), np.sin(k)) for k in np.linspace(0.0, 2.0 * np.pi, 10, endpoint=False)]) * np.tile(
    [[1.0], [0.4]], (5, 1)
)


def _placed(outline: Real, turn: Real, shift: Real) -> Real:
    flat = np.column_stack([outline, np.zeros(len(outline))])
    return np.asarray(Rotation.from_rotvec(turn).apply(flat) + shift)


@settings(max_examples=60)
@given(
    turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
    back=st.booleans(),
    star=st.booleans(),
    seed=st.integers(0, 10_000),
)
def test_what_lies_inside(turn: tuple[float, float, float], back: bool, star: bool, seed: int) -> None:
    """Convex and concave, wound either way, turned anyhow: as matplotlib's Path has it in the plane."""
    rng = np.random.default_rng(seed)
    outline = STAR if star else L_PROFILE
    points = rng.uniform(outline.min(axis=0) - 0.2, outline.max(axis=0) + 0.2, (60, 2))
    shift = rng.uniform(-3.0, 3.0, 3)
    corners = _placed(outline, np.asarray(turn), shift)
    facet = Facet.of(corners[::-1] if back else corners)
    expected = Path(outline).contains_points(points)
    assert np.array_equal(facet.holds(_placed(points, np.asarray(turn), shift), within_m=1e-6), expected)
    assert not facet.convex
    assert expected.any() and not expected.all()


def test_area_normal_and_mirror() -> None:
    """A right triangle and an L by hand."""
    triangle = Facet.of([(0.0, 0.0, 2.0), (3.0, 0.0, 2.0), (0.0, 4.0, 2.0)])
    assert triangle.area_m2 == pytest.approx(6.0, abs=1e-12)
    assert np.allclose(triangle.normal, (0.0, 0.0, 1.0)) and triangle.convex
    assert np.allclose(triangle.mirrored(np.array([0.3, -5.0, 2.7])), (0.3, -5.0, 1.3))
    bent = Facet.of(np.column_stack([L_PROFILE, np.zeros(6)]))
    assert bent.area_m2 == pytest.approx(2.0 * 0.6 + 1.1 * 0.7, abs=1e-12)
    assert Facet.of(bent.corners_m[::-1]).normal == pytest.approx(-bent.normal)


@settings(max_examples=40)
@given(turn=st.tuples(*[st.floats(-3.0, 3.0)] * 3), angle=st.floats(0.0, 6.28), off=st.floats(0.01, 0.5))
def test_a_seam_lets_nothing_through(turn: tuple[float, float, float], angle: float, off: float) -> None:
    """Two facets that share an edge: whatever crosses the edge itself meets one of them, however they are turned."""
    ends = np.array([(0.0, -1.0, 0.0), (0.0, 1.0, 0.0)])
    wings = [np.array([*ends, (x, 1.0, z), (x, -1.0, z)]) for x, z in ((-1.0, 0.1), (1.0, -0.2))]
    away = np.array([np.cos(angle), 0.0, np.sin(angle)]) * off
    assume(abs(np.sin(angle)) > 0.35)
    middle = np.array([0.0, 0.123, 0.0])
    start, end = (Rotation.from_rotvec(turn).apply(middle + sign * away)[None] for sign in (1.0, -1.0))
    facets = [Facet.of(Rotation.from_rotvec(turn).apply(wing)) for wing in wings]
    assert any(blocked(facet, start, end)[0] for facet in facets)


def test_what_stands_between() -> None:
    facet = Facet.of([(1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0), (1.0, 0.0, 1.0)])
    starts = np.array([(0.0, 0.5, 0.5)] * 4)
    ends = np.array([(2.0, 0.5, 0.5), (2.0, 1.6, 0.5), (1.0, 0.5, 0.5), (0.9, 0.5, 0.5)])
    assert blocked(facet, starts, ends).tolist() == [True, False, False, False]
    assert blocked(facet, ends, starts).tolist() == [True, False, False, False]


@pytest.mark.parametrize(
    ("corners", "rule"),
    [
        ([(0, 0, 0), (1, 0, 0)], "three corners or more"),
        ([(0, 0), (1, 0), (1, 1)], "each x, y, z"),
        ([(0, 0, 0), (1, 0, 0), (1, 1, float("nan"))], "finite"),
        ([(0, 0, 0), (1, 0, 0), (1, 0, 0), (0, 1, 0)], "two corners lie in the same place"),
        ([(0, 0, 0), (1, 0, 0), (2, 0, 0)], "on one line"),
        ([(0, 0, 0), (1, 0, 0), (1, 1, 0.05), (0, 1, 0)], "corner . lies [45]. mm off the plane of the others"),
        ([(0.5, 0, 0.1), (0.8, 0, 0.1), (0.8, 0.3, 0.3), (0.5, 0.3, 0.1)], "corner 3 lies 200 mm off the plane"),
        ([(0.5, 0, 0.2), (0.8, 0.3, 0.2), (0.8, 0, 0.2), (0.5, 0.3, 0.2)], "crosses itself"),  # its two halves cancel
        ([(0, 0, 0), (1, 1, 0), (1, 0, 0), (0, 1.5, 0)], "crosses itself"),
        ([(0, 0, 0), (2, 0, 0), (2, 1, 0), (1, -0.5, 0), (0, 1, 0)], "crosses itself"),
        ([(0, 0, 0), (2, 0, 0), (2, 1, 0), (1, 0, 0), (0, 1, 0)], "touches itself"),
        ([(0, 0, 0), (2, 0, 0), (1, 0, 0), (1, 1, 0)], "touches itself"),
    ],
)
def test_refused(corners: list[tuple[float, ...]], rule: str) -> None:
    with pytest.raises(FacetError, match=rule):
        Facet.of(corners)


def test_flat_within_the_stated_tolerance() -> None:
    """A corner of a square lifted by h lies h / 4 off the plane that fits all four best."""
    for lift, good in ((3.9 * FLAT_M, True), (4.1 * FLAT_M, False)):
        corners = [(0, 0, 0), (1, 0, 0), (1, 1, lift), (0, 1, 0)]
        if good:
            Facet.of(corners)
        else:
            with pytest.raises(FacetError, match="off the plane"):
                Facet.of(corners)


@given(st.lists(st.tuples(*[st.floats(-3.0, 3.0)] * 3), min_size=0, max_size=7))
def test_any_corners_make_a_facet_or_are_refused(corners: list[tuple[float, float, float]]) -> None:
    try:
        facet = Facet.of(corners)
    except FacetError:
        return
    assert facet.area_m2 > 0.0 and np.isfinite(facet.axes).all()
    assert np.abs(facet.height_m(facet.corners_m)).max() <= FLAT_M


def test_hull_facets_hide_nothing() -> None:
    """Only what stands inside a convex shell can hide, and the inner walls of one that is bent."""
    tray = np.array([(0.5, 0.5, 0.5), (0.9, 0.5, 0.5), (0.9, 0.9, 0.6), (0.5, 0.9, 0.6)])
    assert may_block([Facet.of(corners) for corners in [*box(2.0, 1.4, 1.1), tray]]) == [6]
    bent = frustum(L_PROFILE, 1.2)
    inner = {2 + 2, 2 + 3}  # the sides of the notch: (2.0, 0.6) to (1.1, 0.6) to (1.1, 1.3)
    assert set(may_block([Facet.of(corners) for corners in bent])) == inner
