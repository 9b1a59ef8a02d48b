"""Clipped polygons and cones against closed forms and plain linear algebra: areas add up, and rays solved one at a time."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.physics.beams import Polygons, cones, every_window

Real = NDArray[np.float64]


def _convex(rng: np.random.Generator, corners: int) -> Real:
    """A convex polygon somewhere in space."""
    turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    flat = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    axes = np.linalg.qr(rng.normal(size=(3, 3)))[0][:2]
    return np.asarray(flat @ axes + rng.uniform(-0.5, 0.5, 3))


def _areas(polygons: Polygons) -> Real:
    return np.array(
        [
            0.5 * np.linalg.norm(np.cross(c[:n], np.roll(c[:n], -1, axis=0)).sum(axis=0)) if n > 2 else 0.0
            for c, n in zip(polygons.corners_m, polygons.count, strict=True)
        ]
    )


def _planes(rng: np.random.Generator, count: int) -> Real:
    normal = rng.normal(size=(count, 3))
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return np.column_stack([normal, rng.uniform(-0.6, 0.6, count)])


def test_both_sides_of_a_cut_are_the_whole() -> None:
    rng = np.random.default_rng(1)
    whole = Polygons.stacked([_convex(rng, int(n)) for n in rng.integers(3, 9, 300)])
    planes = _planes(rng, 300)
    one, other = whole.clipped(planes), whole.clipped(-planes)
    assert np.allclose(_areas(one) + _areas(other), _areas(whole), atol=1e-12)
    assert not np.allclose(_areas(one) + _areas(whole.clipped(-planes + [0, 0, 0, 1e-3])), _areas(whole), atol=1e-12)
    assert (
        min((one.count == 0).sum(), (other.count == 0).sum()) > 10 and (_areas(one) < _areas(whole) - 0.01).sum() > 50
    )
    for polygon, kept, plane in zip(one.corners_m, one.real, planes, strict=True):
        assert (polygon[kept] @ plane[:3] + plane[3] > -1e-12).all()


def test_cuts_in_any_order_leave_the_same() -> None:
    rng = np.random.default_rng(2)
    whole = Polygons.stacked([_convex(rng, 5) for _ in range(200)])
    a, b = _planes(rng, 200), _planes(rng, 200)
    one, other = whole.clipped(a).clipped(b), whole.clipped(b).clipped(a)
    assert np.allclose(_areas(one), _areas(other), atol=1e-12)


def test_mirrored_twice_is_itself() -> None:
    rng = np.random.default_rng(3)
    whole, planes = Polygons.stacked([_convex(rng, 4) for _ in range(50)]), _planes(rng, 50)
    mirrored = whole.mirrored(planes)
    assert np.allclose(mirrored.mirrored(planes).corners_m, whole.corners_m, atol=1e-12)
    assert np.allclose(_areas(mirrored), _areas(whole))
    middle = 0.5 * (mirrored.corners_m + whole.corners_m)
    assert np.allclose(np.einsum("nvi,ni->nv", middle, planes[:, :3]) + planes[:, 3:], 0.0, atol=1e-12)


def _met(eye: Real, triangle: Real, point: Real) -> bool:
    """Whether the ray from an eye to a point meets a triangle, ahead: three unknowns, solved."""
    a, b, c = triangle
    try:
        u, v, t = np.linalg.solve(np.column_stack([a - c, b - c, eye - point]), eye - c)
    except np.linalg.LinAlgError:
        return False
    return bool(u > 0.0 and v > 0.0 and u + v < 1.0 and t > 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_seen_through_a_window(seed: int) -> None:
    rng = np.random.default_rng(seed)
    windows = rng.uniform(-1.0, 1.0, (20, 3, 3))
    eyes, points = rng.uniform(-1.0, 1.0, (20, 3)), rng.uniform(-1.0, 1.0, (60, 3))
    seen = cones(eyes, Polygons.stacked(list(windows)))
    got = seen.hold(np.arange(20), points, within_m=1e-9)
    expected = np.array([[_met(e, w, p) for p in points] for e, w in zip(eyes, windows, strict=True)])
    assert np.array_equal(got, expected) and 20 < expected.sum() < 600
    nudged = np.array([[_met(e + 0.02, w, p) for p in points] for e, w in zip(eyes, windows, strict=True)])
    assert not np.array_equal(got, nudged)
    some = np.array([11, 3, 7])
    assert np.array_equal(seen.hold(some, points, within_m=1e-9), expected[some])
    centre, radius = points[:8].mean(axis=0), float(np.linalg.norm(points[:8] - points[:8].mean(axis=0), axis=1).max())
    near = seen.near(centre, radius)
    assert set(np.flatnonzero(expected[:, :8].any(axis=1))) <= set(near)
    assert len(seen.near(np.array([9.0, 9.0, 9.0]), 0.1)) < 20


@pytest.mark.parametrize("seed", range(6))
def test_no_pair_that_meets_is_left_out(seed: int) -> None:
    """Points of a window that lie in a cone: the two must be paired. Some pairs must be left out, or it would be useless."""
    rng = np.random.default_rng(seed)
    seen = cones(rng.uniform(-1.0, 1.0, (30, 3)), Polygons.stacked(list(rng.uniform(-1.0, 1.0, (30, 3, 3)))))
    corners = rng.uniform(-1.0, 1.0, (15, 3, 3))
    pairs = set(zip(*every_window(seen, Polygons.stacked(list(corners))), strict=True))
    for index, window in enumerate(corners):
        inside = rng.dirichlet(np.ones(3), 200) @ window
        for row in np.flatnonzero(seen.hold(np.arange(30), inside, within_m=0.0).any(axis=1)):
            assert (row, index) in pairs
    assert len(pairs) < 0.8 * 30 * 15


def test_seen_from_the_edge() -> None:
    """An eye in the plane of a window sees a line, wherever in the plane it is."""
    square = np.array([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (0.0, 1.0, 0.0)])
    eyes = np.array([(2.0, 0.5, 0.0), (0.5, 0.5, 0.0), (2.0, 0.5, 1e-6)])
    assert Polygons.stacked([square] * 3).edge_on(eyes).tolist() == [True, True, False]
