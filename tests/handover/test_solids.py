"""A solid that fails its own check costs its own file, is named, and stands in no list; everything else is written."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from cabinwright.drawings.step import StepError
from cabinwright.handover import solids
from cabinwright.physics.solid import Mesh
from cabinwright.session import Session
from cabinwright.stages.workshop.files import planned_files
from cabinwright.stages.workshop.mount_result import MountResult
from stages.test_box_panels import made as cut_box
from stages.test_mounts import TEXT, run

STEP = TEXT.replace("[[seats]]", "[workshop]\nstep = true\n[[seats]]")


@pytest.mark.parametrize(
    "fault", [StepError("the solid for STEP is +0.31 % off in volume"), RuntimeError("BRep_API: command not done")]
)
def test_only_the_bad_step_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception) -> None:
    def step(mount: MountResult, *, title: str) -> bytes:
        if title == "ring":
            raise fault
        return b"ISO-10303-21;"

    monkeypatch.setattr(sys.modules["cabinwright.stages.workshop.run"], "find_spec", lambda _: True)
    monkeypatch.setattr(solids, "mount_step", step)
    (tmp_path / "build.toml").write_text(STEP, encoding="utf-8")
    results, _ = Session.open(tmp_path).plan()
    folder = tmp_path / "out" / "workshop"
    there = {path.name for path in folder.iterdir()}
    assert {"ring_solid.stl", "pod_solid.stl", "pod_solid.step"} <= there
    assert "ring_solid.step" not in there
    assert "ring_solid.step" not in json.loads((folder / "written.json").read_text(encoding="utf-8"))
    plan = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))["workshop"]
    assert "workshop/ring_solid.step" not in plan["files"]
    page = (tmp_path / "out" / "workshop.html").read_text(encoding="utf-8")
    assert ">workshop/pod_solid.step<" in page
    assert ">workshop/ring_solid.step<" not in page
    (found,) = (item for item in plan["findings"] if item["code"] == "workshop.solid_failed")
    for words in ("“ring”", "workshop/ring_solid.step", str(fault), "0.1 %"):
        assert words in found["message"]
    assert "height_m" in found["remedy"]
    assert results.workshop is not None
    assert [item.code for item in results.workshop.findings].count("workshop.solid_failed") == 1


def test_triangles_that_do_not_close_are_no_file() -> None:
    result = run()
    whole = result.mounts["ring"].mesh
    holed = replace(result.mounts["ring"], mesh=Mesh(whole.vertices, np.asarray(whole.faces[1:])))
    after = solids.made_solids(replace(result, mounts={**result.mounts, "ring": holed}))
    assert list(after.made or {}) == ["workshop/pod_solid.stl"]
    assert "workshop/ring_solid.stl" not in {item.name for item in planned_files(after)}
    assert "3 edges open" in after.findings[-1].message
    made = solids.made_solids(result)
    assert len(made.made or {}) == 2 and not made.unmade
    assert solids.made_solids(made) is made  # once


def test_a_box_goes_the_same_way() -> None:
    _, cut = cut_box("size_m = [0.5, 0.4]\nheight_m = 0.3")
    assert "workshop/bay.stl" in (solids.made_solids(cut).made or {})
    shape = cut.boxes["bay"]
    holed = replace(shape, mesh=Mesh(shape.mesh.vertices, np.asarray(shape.mesh.faces[1:])))
    after = solids.made_solids(replace(cut, boxes={"bay": holed}))
    assert "workshop/bay.stl" not in {item.name for item in planned_files(after)}
    assert "workshop/bay-floor.dxf" in {item.name for item in planned_files(after)}
    assert "“bay”: workshop/bay.stl was not written: its triangles leave 3 edges open" in after.findings[-1].message
