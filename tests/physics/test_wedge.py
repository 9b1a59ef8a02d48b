"""Bodies cut off aslant: against trimesh's own volume, shapely's areas of their sections, and points of the surface."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from cabinwright.physics.solid import Bore
from cabinwright.physics.wedge import Wedge, ellipse


def wedge(
    *, outer: float = 0.18, foot: float = 0.18, bore: float = 0.144, height: float = 0.04, deg: float = 15.0
) -> Wedge:
    return Wedge(outer, foot, bore, height, math.radians(deg))


def by_slices(body: Wedge, count: int = 800) -> float:
    """Volume of a ring from the areas of flat slices, each a disc less a disc, cut by the line where the surface is."""
    low = -body.foot_m / 2.0 * body.slope
    step = (body.height_m - low) / count
    whole = Point(0, 0).buffer(body.outer_m / 2.0, quad_segs=256) - Point(0, 0).buffer(body.bore_m / 2.0, quad_segs=256)
    heights = low + (np.arange(count) + 0.5) * step
    return sum(whole.intersection(box(-1.0, -1.0, z / body.slope, 1.0)).area for z in heights) * step


@pytest.mark.parametrize("deg", [0.0, 4.0, 15.0, 40.0])
@pytest.mark.parametrize("foot", [0.18, 0.24])
def test_solid_is_closed_and_holds_its_volume(deg: float, foot: float) -> None:
    body = wedge(foot=foot, height=0.12, deg=deg)
    mesh = body.mesh()
    other = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert mesh.open_edges == 0 and other.is_watertight and other.is_winding_consistent
    assert other.volume == pytest.approx(body.volume_m3, rel=1e-3)
    assert other.volume == pytest.approx(body.volume_m3, rel=1e-6)
    worse = wedge(foot=foot, height=0.12 * 1.002, deg=deg)
    assert other.volume != pytest.approx(worse.volume_m3, rel=1e-3)


def test_volume_agrees_with_slices() -> None:
    body = wedge()
    assert by_slices(body) == pytest.approx(body.volume_m3, rel=3e-4)
    assert by_slices(body) != pytest.approx(wedge(deg=15.0, height=0.0401).volume_m3, rel=3e-4)


@given(deg=st.floats(0.5, 50.0), outer=st.floats(0.05, 0.3), share=st.floats(0.3, 0.9), flare=st.floats(0.0, 0.1))
def test_it_stands_flat_on_its_surface(deg: float, outer: float, share: float, flare: float) -> None:
    foot = outer + flare
    height = foot / 2.0 * math.tan(math.radians(deg)) + 0.006
    body = Wedge(outer, foot, share * outer, height, math.radians(deg))
    points = body.mesh().vertices
    over = points[:, 2] - points[:, 0] * body.slope
    assert over.min() == pytest.approx(0.0, abs=1e-9)
    assert points[:, 2].max() == pytest.approx(height, abs=1e-9)
    assert body.least_m == pytest.approx(0.006)


def test_screw_holes_are_taken_out() -> None:
    body = wedge()
    hole = Bore(at=(0.0, 0.081, 0.02), way=(0.0, 0.0, 1.0), diameter_m=0.003, length_m=0.05)
    gone = body.mesh().volume_m3 - body.mesh((hole,)).volume_m3
    assert gone == pytest.approx(math.pi * 0.0015**2 * 0.02, rel=2e-3)
    assert body.mesh((hole,)).open_edges == 0


def test_ellipse_is_one() -> None:
    made = ellipse(across_m=0.2, up_m=0.15, centre=0.3 + 0.1j)
    made.check()
    assert made.area_m2 == pytest.approx(math.pi * 0.2 * 0.15 / 4.0, rel=1e-6)
    turn = np.linspace(0.0, 2.0 * math.pi, 500)
    on = 0.3 + 0.1j + 0.1 * np.cos(turn) + 0.075j * np.sin(turn)
    assert made.distance_m(on).max() < 1e-6
    assert not isinstance(made.polygon, MultiPolygon)
