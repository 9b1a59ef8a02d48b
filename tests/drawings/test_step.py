"""STEP files read back by the CAD kernel: valid, every edge in two faces, and the STL's volume; arcs are still arcs."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from cabinwright.drawings.step import StepError, box_step, mount_step
from cabinwright.stages.enclosure.shape_result import ShapeResult
from stages.test_enclosure_solid import BOX, PLAIN, VENTED, shaped
from stages.test_mounts import run

if os.environ.get("CI") != "true":
    pytest.importorskip("OCP", reason="the optional part step is not installed")

RINGS = (
    "outline = [[0, 0], {at_m = [0.4, 0], via_m = [0.2, -0.05]}, [0.4, 0.3], [0, 0.3]]\nfillet_m = 0.05\nheight_m = 0.25\n"
    "board_m = 0.018\nbraces = [{from_m = [0.08, 0.05], to_m = [0.08, 0.25], open_share = 0.4}]\n"
    "posts = [{at_m = [0.34, 0.05], diameter_m = 0.03}]\nspeakers_at_m = [[0.22, 0.14]]\n"
)
SHAPES = {
    "rings": (RINGS, BOX),
    "a tube in a vented box": (PLAIN + "port_at_m = [[0.42, 0.2]]\nspeakers_at_m = [[0.2, 0.2]]", VENTED),
    "two boards in a wall": (PLAIN + "baffle = 2\ndouble_baffle = true", BOX),
    "bent": ('size_m = [0.5, 0.4]\nfillet_m = 0.12\nheight_m = 0.3\nboard_m = 0.012\nconstruction = "bent"', BOX),
}


@lru_cache
def boxed(name: str) -> ShapeResult:
    text, kind = SHAPES[name]
    return shaped(text, kind=kind)


def read(content: bytes, folder: Path) -> Any:
    from OCP.STEPControl import STEPControl_Reader

    file = folder / "solid.step"
    file.write_bytes(content)
    reader = STEPControl_Reader()
    reader.ReadFile(str(file))
    reader.TransferRoots()
    return reader.OneShape()


def parts(shape: Any, kind: str) -> list[Any]:
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    made, walk = [], TopExp_Explorer(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind}"))
    while walk.More():
        made.append(walk.Current())
        walk.Next()
    return made


def open_edges(shape: Any) -> int:
    """Edges that are not met once each way: the rule that trimesh judges triangles by, counted here by hand."""
    from OCP.BRep import BRep_Tool
    from OCP.TopoDS import TopoDS

    ways: Counter[Any] = Counter()
    for face in parts(shape, "FACE"):
        for edge in parts(face, "EDGE"):
            if not BRep_Tool.Degenerated_s(TopoDS.Edge(edge)):
                ways[edge.TShape()] += 1 if edge.Orientation().name == "TopAbs_FORWARD" else -1
    return sum(count != 0 for count in ways.values())


def volume_mm3(shape: Any) -> float:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties)
    return float(properties.Mass())


def arcs(shape: Any) -> int:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.TopoDS import TopoDS

    kinds = [BRepAdaptor_Surface(TopoDS.Face(face)).GetType().name for face in parts(shape, "FACE")]
    return kinds.count("GeomAbs_Cylinder")


def held(content: bytes, volume_m3: float, folder: Path) -> Any:
    from OCP.BRepCheck import BRepCheck_Analyzer

    assert b"SI_UNIT(.MILLI.,.METRE.)" in content
    shape = read(content, folder)
    assert BRepCheck_Analyzer(shape).IsValid()
    assert len(parts(shape, "SOLID")) == 1
    assert open_edges(shape) == 0
    assert volume_mm3(shape) == pytest.approx(1e9 * volume_m3, rel=1e-3)
    return shape


@pytest.mark.parametrize("name", SHAPES)
def test_boxes_are_the_solid_of_their_stl(name: str, tmp_path: Path) -> None:
    result = boxed(name)
    assert not result.stopped
    content = box_step(result.recipe, title=name, volume_m3=result.mesh.volume_m3)
    shape = held(content, result.mesh.volume_m3, tmp_path)
    assert arcs(shape) >= 1  # the loudspeaker's hole is a cylinder, not a hundred facets
    assert len(parts(shape, "FACE")) < 60


@pytest.mark.parametrize("name", ["ring", "pod"])
def test_rings_and_pods_are_the_solid_of_their_stl(name: str, tmp_path: Path) -> None:
    mount = run().mounts[name]
    content = mount_step(mount, title=name)
    shape = held(content, mount.mesh.volume_m3, tmp_path)
    assert arcs(shape) >= 1 + len(mount.screws)
    assert content == mount_step(mount, title=name)


def test_the_rule_for_closed_fails_where_a_face_is_missing(tmp_path: Path) -> None:
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    result = boxed("bent")
    shape = read(box_step(result.recipe, title="x", volume_m3=result.mesh.volume_m3), tmp_path)
    builder, some = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(some)
    for face in parts(shape, "FACE")[1:]:
        builder.Add(some, face)
    assert open_edges(some) > 0


def test_a_solid_that_differs_from_its_triangles_is_refused() -> None:
    result = boxed("two boards in a wall")
    whole = result.mesh.volume_m3
    with pytest.raises(StepError, match=r"-0\.20 % off in volume"):
        box_step(result.recipe, title="x", volume_m3=1.002 * whole)
    fewer = replace(result.recipe, holes=())
    with pytest.raises(StepError, match="off in volume"):
        box_step(fewer, title="x", volume_m3=whole)
