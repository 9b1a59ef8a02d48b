"""Pictures of boxes drawn apart: the boards that they show, put together again, are the box that its STL holds."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.drawings import exploded_parts
from cabinwright.drawings.boards import Board, Eye
from cabinwright.drawings.exploded import Level
from cabinwright.handover.assembly import _box_steps, _groups, assemblies
from cabinwright.handover.workshop_page import millimetres
from cabinwright.physics.solid import left_over
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.workshop.result import WorkshopResult
from stages.test_box_panels import SHEET
from stages.test_enclosure_shape import BOX, MODEL, STIFF

SQUARE = "size_m = [0.5, 0.4]\nheight_m = 0.3\n"
SHAPES = {
    "butt": SQUARE + "braces = [{from_m = [0.1, 0.012], to_m = [0.1, 0.388]}]\nspeakers_at_m = [[0.3, 0.2]]",
    "finger": SQUARE + 'joint = "finger"',
    "dowel": SQUARE + 'joint = "dowel"\ndouble_baffle = true',
    "wall": SQUARE + "baffle = 2\ndouble_baffle = true",
    "rings": "diameter_m = 0.36\nheight_m = 0.14\n"
    "speakers_at_m = [[0.04, 0.0]]\nposts = [{at_m = [-0.13, 0.0], diameter_m = 0.03}]",
    "an inside corner": "outline = [[0, 0], [0.7, 0], [0.7, 0.3], [0.35, 0.3], [0.35, 0.6], [0, 0.6]]\nheight_m = 0.3\n"
    "speakers_at_m = [[0.17, 0.4]]",
    "clockwise": "outline = [[0, 0], [0, 0.6], [0.35, 0.6], [0.35, 0.3], [0.7, 0.3], [0.7, 0]]\nheight_m = 0.3\nbaffle = 1",
}


def planned(shape: str) -> tuple[Build, WorkshopResult]:
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\n{shape}\n{SHEET.replace("laser", "router")}')
    boxed = enclosure.run(build)
    cut = workshop.run(build, boxed)
    assert boxed is not None and cut is not None
    return build, cut


def levels(build: Build, cut: WorkshopResult) -> list[Level]:
    (box,) = build.boxes
    steps = tuple(_box_steps(box, [*cut.parts.values()]))
    found = exploded_parts.box_levels("bay", cut.boxes["bay"], cut.parts, build.speaker_models[0], _groups(steps))
    return [*found]


def together_m3(boards: list[Board]) -> float:
    return left_over([item.plate for item in boards], gone=()).volume_m3


@pytest.mark.parametrize("name", SHAPES)
def test_the_boards_of_the_picture_are_the_box(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    build, cut = planned(SHAPES[name])
    monkeypatch.setattr(exploded_parts, "OUT", 0.0)
    boards = [board for level in levels(build, cut) for board in level.boards]
    whole = cut.boxes["bay"].mesh.volume_m3
    assert together_m3(boards) == pytest.approx(whole, rel=2e-4)
    assert together_m3([boards[0].lifted((0.0, 0.0, 0.004)), *boards[1:]]) != pytest.approx(whole, rel=2e-3)
    span = np.concatenate([item.corners for item in boards])
    (low, high) = cut.boxes["bay"].mesh.bounds
    assert span.min(axis=0) == pytest.approx(low, abs=3e-4) and span.max(axis=0) == pytest.approx(high, abs=3e-4)


def test_steps_rise_in_their_order_and_every_number_is_shown() -> None:
    build, cut = planned(SHAPES["butt"])
    (item,) = assemblies(build, cut, millimetres)
    root = ET.fromstring(item.picture)
    words = list(root.iter("{http://www.w3.org/2000/svg}text"))
    numbers = [(int(node.text or ""), float(node.attrib["y"])) for node in words if (node.text or "").isdigit()]
    shown = [number for number, step in enumerate(item.steps, 1) if step.shows]
    assert sorted(number for number, _ in numbers) == shown == [1, 2, 3, 5, 7]
    assert [number for number, _ in sorted(numbers, key=lambda row: -row[1])] == shown  # from below upwards
    x, y, wide, tall = (float(part) for part in root.attrib["viewBox"].split())
    for node in words:
        size, left = float(node.attrib["font-size"]), float(node.attrib["x"])
        assert x <= left and left + 0.6 * size * len(node.text or "") <= x + wide  # at 0.6 of an em a letter
        assert y <= float(node.attrib["y"]) <= y + tall
    assert len(set(re.findall(r'id="([^"]+)"', item.picture))) == item.picture.count(' id="')
    assert "wall 1, wall 2, wall 3" in item.steps[1].says


def test_the_eye_sees_what_looks_at_it() -> None:
    """Directions by hand: up and towards the front are seen, down and away are not; a step along the sight moves nothing."""
    eye = Eye(complex(1.0), math.radians(30.0))
    assert eye.towards(np.array([0.0, 0.0, 1.0])) == pytest.approx(0.5)
    assert eye.towards(np.array([0.0, -1.0, 0.0])) == pytest.approx(math.sqrt(0.75))
    assert eye.towards(np.array([0.0, 1.0, 0.0])) < 0.0
    sight = np.array([0.0, -math.sqrt(0.75), 0.5])
    assert eye.spot(sight) == pytest.approx((0.0, 0.0), abs=1e-9)
