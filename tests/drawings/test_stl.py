"""Solids as STL: trimesh reads the same body back, in millimetres."""

from __future__ import annotations

import io

import pytest
import trimesh

from cabinwright.drawings.stl import stl_bytes
from cabinwright.physics.outline import circle
from cabinwright.physics.solid import Slab, shell

MESH = shell(
    [Slab(0.0, 0.02, circle(0.1 + 0.2j, 0.5)), Slab(0.02, 0.2, circle(0.1 + 0.2j, 0.5), (circle(0.1 + 0.2j, 0.46),))]
)


def test_read_back_by_trimesh() -> None:
    content = stl_bytes(MESH, title="box “bay” ä")
    body = trimesh.load(io.BytesIO(content), file_type="stl")
    assert body.is_watertight
    assert body.volume / 1e9 == pytest.approx(MESH.volume_m3, rel=1e-5)
    assert body.extents == pytest.approx([500.0, 500.0, 200.0], rel=1e-5)
    assert body.face_normals == pytest.approx(
        trimesh.Trimesh(MESH.vertices, MESH.faces, process=False).face_normals, abs=1e-3
    )


def test_the_file_says_its_unit_and_is_always_the_same() -> None:
    content = stl_bytes(MESH, title="bay")
    assert content.startswith(b"mm; bay") and not content.startswith(b"solid")
    assert content == stl_bytes(MESH, title="bay")
    assert len(content) == 84 + 50 * len(MESH.faces)
