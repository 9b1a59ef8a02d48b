"""Pictures of rings and pods, their STL read back by trimesh, their STEP by the kernel that is optional."""

from __future__ import annotations

import io
import math
import re
import sys
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import trimesh

from cabinwright.drawings.mount_view import mount_front, mount_side, part_view
from cabinwright.drawings.step import StepError, mount_step
from cabinwright.drawings.stl import stl_bytes
from cabinwright.handover.workshop_page import millimetres, workshop_documents
from cabinwright.physics.strokes import WAYS, strokes, strokes_width_m
from stages.test_mounts import ANGLE, TEXT, parse, run


@pytest.mark.parametrize("name", ["ring", "pod"])
def test_pictures_say_the_angle(name: str) -> None:
    result = run()
    mount = result.mounts[name]
    for text in (mount_front(name, mount, length=millimetres), mount_side(name, mount, length=millimetres)):
        root = ET.fromstring(text)
        x, y, width, height = (float(part) for part in root.attrib["viewBox"].split())
        for item in root.iter(
            "{http://www.w3.org/2000/svg}text"
        ):  # no word leaves the picture, at 0.6 of an em a letter
            size, at = float(item.attrib["font-size"]), float(item.attrib["x"])
            long = 0.6 * size * len(item.text or "")
            left = {"start": at, "middle": at - long / 2.0, "end": at - long}[item.attrib["text-anchor"]]
            assert x <= left and left + long <= x + width
            assert y <= float(item.attrib["y"]) <= y + height
    side = mount_side(name, mount, length=millimetres)
    assert f"{mount.angle_deg:.1f}° aim" in side
    # the top of the drawn section is turned against the level surface by the angle
    corners = [
        [float(number) for number in re.findall(r"-?[\d.]+", path)] for path in re.findall(r'd="(M[^"]*L[^"]*Z)"', side)
    ]
    top = np.array(corners[0][4:8]).reshape(2, 2)
    across = top[1] - top[0]
    assert math.degrees(math.atan2(abs(across[1]), abs(across[0]))) == pytest.approx(ANGLE, abs=0.1)


def test_parts_show_their_marks() -> None:
    result = run()
    ring = next(item for name, item in result.parts.items() if name.startswith("ring, layer 1"))
    assert part_view(ring).count("<circle") == 4
    assert part_view(ring).count("<path") == 2


def test_figures_are_upright_strokes() -> None:
    for letter in WAYS:
        points = np.array([s.start for chain in strokes(letter, centre=0j, height_m=1.0) for s in chain])
        assert points.size and np.all(np.abs(points.imag) <= 0.5 + 1e-9) and np.all(np.abs(points.real) <= 0.25 + 1e-9)
    shapes = {
        str([[(s.start, s.end) for s in chain] for chain in strokes(letter, centre=0j, height_m=1.0)])
        for letter in WAYS
    }
    assert len(shapes) == len(WAYS)
    wide = np.array([s.start.real for chain in strokes("12.6°", centre=0j, height_m=0.01) for s in chain])
    assert np.ptp(wide) < strokes_width_m("12.6°", 0.01) + 1e-9


def test_the_page_and_the_stl_are_written() -> None:
    build, result = parse(TEXT), run()
    documents = workshop_documents(build, result)
    page = documents["workshop.html"]
    assert isinstance(page, str)
    assert "aim off the surface" in page and "ring_solid.stl" in page and "<h2>Jigs</h2>" in page
    for name, mount in result.mounts.items():
        content = documents[f"workshop/{name}_solid.stl"]
        assert isinstance(content, bytes)
        mesh = trimesh.load_mesh(io.BytesIO(content), file_type="stl")
        assert mesh.is_watertight
        assert mesh.volume == pytest.approx(1e9 * mount.mesh.volume_m3, rel=1e-3)
        assert mesh.bounds[1][2] == pytest.approx(1e3 * mount.body.height_m)  # its axis upright, millimetres
        assert content == stl_bytes(mount.mesh, title=f"{mount.kind} {name}")


def test_without_its_part_step_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("OCP", "OCP.Message"):
        monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(StepError, match=r"pip install cabinwright\[step\]"):
        mount_step(run().mounts["ring"], title="ring")


def test_asking_for_step_without_its_part_is_a_note(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules["cabinwright.stages.workshop.run"], "find_spec", lambda _: None)
    result = run(TEXT.replace("[[seats]]", "[workshop]\nstep = true\n[[seats]]"))
    assert [item.severity for item in result.findings if item.code == "workshop.step_missing"] == ["note"]
    assert not result.step
