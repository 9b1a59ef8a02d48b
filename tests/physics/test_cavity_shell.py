"""Closing a shell, and cutting a grid by it, against SciPy's hulls and volumes known beforehand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull, Delaunay

from cabinwright.physics.cavity import OpenShellError, close_shell, solve_cavity
from cabinwright.physics.cavity.cells import cut_cells
from cabinwright.physics.cavity.triangles import ear_clip, nearest

from .cavity_rooms import box, cabin, prism, turned

STAR = np.array([[0, 0], [1, 0.3], [2, 0], [1.6, 0.9], [2, 2], [1, 1.4], [0, 2], [0.5, 1]], dtype=float)


def hull(seed: int) -> tuple[list[np.ndarray], ConvexHull]:
    points = np.random.default_rng(seed).uniform((0, 0, 0), (2.5, 1.5, 1.2), (14, 3))
    found = ConvexHull(points)
    return [points[face] for face in found.simplices], found


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000))
def test_random_hulls(seed: int) -> None:
    facets, found = hull(seed)
    shell = close_shell(facets)
    assert shell.volume_m3 == pytest.approx(found.volume, rel=1e-9)
    assert shell.area_m2.sum() == pytest.approx(found.area, rel=1e-9)
    probes = np.random.default_rng(seed + 1).uniform((-0.2, -0.2, -0.2), (2.7, 1.7, 1.4), (500, 3))
    assert np.array_equal(shell.inside(probes), Delaunay(found.points).find_simplex(probes) >= 0)
    depth = np.max(probes @ found.equations[:, :3].T + found.equations[:, 3], axis=1)  # exact inside a hull
    inner = depth < 0.0
    assert shell.nearest(probes[inner]).distance_m == pytest.approx(-depth[inner], abs=1e-9)
    assert cut_cells(shell, cell_m=0.25).volume_m3 == pytest.approx(found.volume, rel=0.005)
    assert cut_cells(shell, cell_m=0.25).volume_m3 != pytest.approx(1.02 * found.volume, rel=0.005)


@pytest.mark.parametrize("facets", [box(), turned(box()), cabin(), turned(prism(STAR, 0.8))])
def test_air_in_the_cells_is_the_volume(facets: list[np.ndarray]) -> None:
    shell = close_shell(facets)
    assert cut_cells(shell, cell_m=0.25).volume_m3 == pytest.approx(shell.volume_m3, rel=5e-4)


def test_concave_facets_are_covered_once() -> None:
    flat = np.column_stack([STAR, np.zeros(len(STAR))])
    for corners in (flat, flat[::-1], flat[:, [2, 0, 1]], flat[:, [1, 2, 0]]):
        cut = corners[ear_clip(corners)]
        areas = 0.5 * np.linalg.norm(np.cross(cut[:, 1] - cut[:, 0], cut[:, 2] - cut[:, 0]), axis=1)
        x, y = STAR.T
        assert areas.sum() == pytest.approx(0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def test_nearest_point_by_sampling() -> None:
    rng = np.random.default_rng(5)
    triangles, points = rng.normal(size=(6, 3, 3)), rng.normal(size=(40, 3)) * 2.0
    weights = rng.dirichlet((0.5, 0.5, 0.5), 60_000)
    got = nearest(points, triangles)
    sampled = np.min(
        [np.linalg.norm(points[:, None] - (weights @ t)[None], axis=2).min(axis=1) for t in triangles], axis=0
    )
    assert np.all(got.distance_m <= sampled + 1e-12)
    assert got.distance_m == pytest.approx(sampled, abs=0.03)
    assert np.linalg.norm(points - got.foot_m, axis=1) == pytest.approx(got.distance_m)


def test_either_way_round_and_pieces_end_to_end() -> None:
    facets = [facet if i % 2 else facet[::-1] for i, facet in enumerate(box())]
    assert close_shell(facets).volume_m3 == pytest.approx(2.4 * 1.4 * 1.1)
    roof = facets.pop(1)
    low, high = roof.min(axis=0), roof.max(axis=0)
    for a, b in ((low[0], 1.0), (1.0, high[0])):  # two halves of the roof: their corner lies on the walls' upper edges
        facets.append(np.array([[a, low[1], 1.1], [b, low[1], 1.1], [b, high[1], 1.1], [a, high[1], 1.1]]))
    assert close_shell(facets).volume_m3 == pytest.approx(2.4 * 1.4 * 1.1)


def test_a_gap_is_named() -> None:
    facets = box()
    del facets[1]
    names = ["floor", "front", "right", "rear", "left"]
    with pytest.raises(
        OpenShellError, match=r'"front" ends at \[2.400, 0.000, 1.100\] to \[0.000, 0.000, 1.100\]'
    ) as got:
        close_shell(facets, names=names)
    assert {gap.facet for gap in got.value.gaps} == {1, 2, 3, 4}
    assert len(got.value.gaps) == 4
    with pytest.raises(OpenShellError, match="within 5 mm"):
        solve_cavity(facets, absorption=0.1)
    slit = box()
    slit[1] = slit[1] + (0.0, 0.0, 0.02)  # a roof 2 cm above its walls: nothing is guessed
    with pytest.raises(OpenShellError):
        close_shell(slit)
    slit[1] = box()[1] + (0.0, 0.0, 0.003)
    assert close_shell(slit).volume_m3 == pytest.approx(2.4 * 1.4 * 1.1, rel=0.005)


def test_sheets_inside_bound_no_volume() -> None:
    free = np.array([[1.5, -0.5, 0.2], [1.5, 0.5, 0.2], [1.7, 0.5, 0.8], [1.7, -0.5, 0.8]])
    shell = close_shell([*cabin(), free])
    assert shell.ignored == ()
    assert set(shell.sheet) == {8}
    assert shell.volume_m3 == pytest.approx(close_shell(cabin()).volume_m3)
    # Two rooms with one wall between: three facets meet at each of its edges, and it alone may go.
    near, far = box(1.2), [facet + np.array([1.2, 0.0, 0.0]) for facet in box(1.2)]
    between = next(i for i, facet in enumerate(near) if np.all(facet[:, 0] == 1.2))
    beyond = [facet for facet in far if not np.allclose(facet[:, 0], 1.2)]
    divided = close_shell([*near, *beyond])
    assert divided.ignored == (between,)
    assert divided.volume_m3 == pytest.approx(2.4 * 1.4 * 1.1)


def test_a_body_inside_takes_its_volume() -> None:
    seat = [0.4 * facet + (1.0, 0.3, 0.2) for facet in box()]
    shell = close_shell([*box(), *seat])
    assert shell.ignored == ()
    assert shell.volume_m3 == pytest.approx(2.4 * 1.4 * 1.1 * (1.0 - 0.4**3))
    assert not shell.inside(np.array([[1.2, 0.5, 0.4]]))[0]


def test_an_open_cabin_is_not_taken_for_the_box_inside_it() -> None:
    facets = box()
    del facets[1]
    seat = [0.4 * facet + (1.0, 0.3, 0.2) for facet in box()]
    with pytest.raises(OpenShellError, match="enclose the cabin"):
        close_shell([*facets, *seat])


@pytest.mark.parametrize(
    ("facet", "match"),
    [
        (np.zeros((3, 3)), "facet 7: a facet needs three corners"),
        (np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0]]), "facet 7: a facet needs three corners"),
        (np.array([[0, 0, 0], [2, 0, 0], [0, 1, 0], [1, 1, 0], [1, -1, 0]]), "facet 7: .*crosses itself"),
        (np.array([[0, 0], [1, 0], [0, 1]]), "three finite numbers"),
        (np.array([[0, 0, np.nan], [1, 0, 0], [0, 1, 0]]), "three finite numbers"),
    ],
)
def test_broken_facets(facet: np.ndarray, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        close_shell([*box(), facet.astype(float)])


def test_two_rooms_without_a_way_between() -> None:
    with pytest.raises(ValueError, match="two spaces"):
        solve_cavity([*box(), *(facet + np.array([3.0, 0.0, 0.0]) for facet in box())], absorption=0.1)
