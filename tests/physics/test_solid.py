"""Solids against trimesh, and against area times height."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.solid import Bore, Mesh, Slab, bored, section, shell

ROUND = circle(0.0, 0.5)


def rectangle(width: float, height: float) -> Contour:
    return Contour(
        from_corners([Corner(0), Corner(width), Corner(width + 1j * height), Corner(1j * height)], fillet_m=0.0)
    )


def test_a_round_shell_is_closed_and_as_large_as_it_should() -> None:
    ring = Slab(0.02, 0.2, ROUND, (circle(0.0, 0.46),))
    slabs = [Slab(0.0, 0.02, ROUND), ring, Slab(0.2, 0.22, ROUND)]
    mesh = shell(slabs, holes=[Slab(0.19, 0.24, circle(0.0, 0.2))])
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    exact = sum(slab.volume_m3 for slab in slabs) - pi / 4 * 0.2**2 * 0.02
    assert body.is_watertight and body.is_winding_consistent
    assert body.volume == pytest.approx(mesh.volume_m3, rel=1e-9)
    assert mesh.volume_m3 == pytest.approx(exact, rel=1e-3)
    assert mesh.volume_m3 != pytest.approx(1.002 * exact, rel=1e-3)


@settings(max_examples=25, deadline=None)
@given(width=st.floats(0.1, 1.0), height=st.floats(0.1, 1.0), low=st.floats(-0.2, 0.2), thick=st.floats(0.003, 0.4))
def test_boxes(width: float, height: float, low: float, thick: float) -> None:
    mesh = shell([Slab(low, low + thick, rectangle(width, height))])
    assert mesh.open_edges == 0
    assert mesh.volume_m3 == pytest.approx(width * height * thick, rel=1e-6)


def test_a_missing_face_is_seen() -> None:
    mesh = shell([Slab(0.0, 0.1, rectangle(0.3, 0.2))])
    assert Mesh(mesh.vertices, mesh.faces[1:]).open_edges == 3
    assert Mesh(mesh.vertices, np.concatenate([mesh.faces[1:], mesh.faces[:1, ::-1]])).open_edges == 3
    with pytest.raises(ValueError, match="not closed"):
        section(Mesh(mesh.vertices, mesh.faces[1:]), 0.05)


def test_sections_have_the_right_area() -> None:
    mesh = shell([Slab(0.0, 0.1, ROUND, (circle(0.0, 0.2),)), Slab(0.1, 0.2, ROUND)])
    assert section(mesh, 0.05).area == pytest.approx(pi / 4 * (0.25 - 0.04), rel=1e-3)
    assert section(mesh, 0.15).area == pytest.approx(pi / 4 * 0.25, rel=1e-3)
    assert section(mesh, 0.25).is_empty


def test_a_hole_through_a_wall() -> None:
    whole = shell([Slab(0.0, 0.1, rectangle(0.3, 0.2))])
    less = bored(whole, [Bore((0.15, -0.01, 0.05), (0.0, 1.0, 0.0), 0.06, 0.22)])
    assert less.open_edges == 0
    assert whole.volume_m3 - less.volume_m3 == pytest.approx(pi / 4 * 0.06**2 * 0.2, rel=2e-3)
