"""Hollows that strangers scanned: binary and text STL as trimesh writes them, and files that lie."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.errors import RecordingError
from cabinwright.measure import hollows
from cabinwright.measure.hollows import parse_stl, read_hollows
from cabinwright.physics.outline import Drawn
from cabinwright.physics.solid import Mesh

BODY = trimesh.creation.cylinder(radius=300.0, height=220.0, sections=48)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_both_kinds(kind: str) -> None:
    written = BODY.export(file_type=kind)
    content = written.encode() if isinstance(written, str) else written
    mesh = parse_stl(content, file="bay.stl", units="mm")
    assert mesh.open_edges == 0
    assert mesh.volume_m3 == pytest.approx(BODY.volume / 1e9, rel=1e-5)


def test_faces_that_look_inwards_are_turned() -> None:
    inside = BODY.copy()
    inside.invert()
    assert parse_stl(inside.export(file_type="stl"), file="a.stl", units="mm").volume_m3 > 0.0


def test_a_hole_is_kept_for_the_stage_to_name() -> None:
    torn = trimesh.Trimesh(BODY.vertices, BODY.faces[2:])
    assert parse_stl(torn.export(file_type="stl"), file="a.stl", units="mm").open_edges > 0


def lying(count: int) -> bytes:
    content = BODY.export(file_type="stl")
    return content[:80] + struct.pack("<I", count) + content[84:]


@pytest.mark.parametrize(
    ("content", "units", "words"),
    [
        (lying(4_000_000_000), "mm", "its header promises 4000000000 triangles and the file holds 192"),
        (lying(12), "mm", "its header promises 12"),
        (BODY.export(file_type="stl")[:-7], "mm", "cut short or no STL"),
        (b"\0" * 40, "mm", "too short"),
        (b"\0" * 84, "mm", "no triangle"),
        (BODY.export(file_type="stl"), None, "does not say its unit"),
        (BODY.export(file_type="stl"), "m", "no hollow of a car"),
        (b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 x\n", "mm", "a corner is no number"),
        (b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 1\n", "mm", "has not three corners"),
        (b"solid a\nfacet normal 0 0 1\nvertex nan 0 0\nvertex 1 0 0\nvertex 0 1 0\n", "mm", "numbers that are none"),
        (b"solid a\n" + b"facet normal 0 0 1\n" * 200_001, "mm", "more than 200000 triangles"),
    ],
)
def test_what_is_no_hollow_is_named(content: bytes, units: str | None, words: str) -> None:
    with pytest.raises(RecordingError, match=words):
        parse_stl(content, file="bay.stl", units=units)


def test_a_binary_file_that_begins_as_text() -> None:
    """Some programs write "solid" at the head of a binary file."""
    content = b"solid bay".ljust(80) + BODY.export(file_type="stl")[80:]
    assert parse_stl(content, file="a.stl", units="mm").open_edges == 0


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=300).map(lambda text: b"solid x facet " + text.encode()))
def test_anything_at_all(content: bytes) -> None:
    try:
        mesh = parse_stl(content, file="a.stl", units="mm")
    except RecordingError as error:
        assert str(error).startswith("a.stl: ")
    else:
        assert np.isfinite(mesh.vertices).all()


def test_files_of_shapes_and_openings_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bay.stl").write_bytes(BODY.export(file_type="stl"))
    (tmp_path / "hatch.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="700mm" height="600mm" viewBox="0 0 700 600">'
        '<rect x="0" y="0" width="700" height="600"/></svg>',
        encoding="utf-8",
    )
    build = parse(
        """schema = 1
title = "invented"
[vehicle]
name = "invented"
driving_side = "left"
[[speaker_models]]
name = "m"
[[boxes]]
name = "bay"
model = "m"
kind = "sealed"
[boxes.shape]
file = "bay.stl"
file_units = "mm"
opening = {file = "hatch.svg"}
[[boxes]]
name = "lost"
model = "m"
kind = "sealed"
[boxes.shape]
file = "nowhere.dxf"
height_m = 0.2
"""
    )
    found = read_hollows(build, tmp_path)
    assert isinstance(found["bay.stl"], Mesh)
    hatch = found["hatch.svg"]
    assert isinstance(hatch, Drawn) and hatch.closed[0].area_m2 == pytest.approx(0.42, rel=1e-6)
    lost = found["nowhere.dxf"]
    assert isinstance(lost, str) and "nowhere.dxf" in lost
    monkeypatch.setattr(hollows, "LIMIT_BYTES", 1000)
    assert "larger than" in str(read_hollows(build, tmp_path)["bay.stl"])
