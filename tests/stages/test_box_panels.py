"""Panels of computed boxes: put together again they are the box, to the last cubic millimetre that a joint leaves."""

from __future__ import annotations

import io
import json
from math import hypot, pi, tan

import pytest
from ezdxf import recover
from shapely import Polygon, affinity, unary_union

from cabinwright.build.codec import parse
from cabinwright.handover.documents import plan_documents
from cabinwright.pipeline import Results
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.files import planned_files
from cabinwright.stages.workshop.result import WorkshopResult
from stages.test_enclosure_shape import BOX, MODEL, STIFF

SHEET = """[[sheets]]
name = "board"
material = "birch plywood"
thickness_m = 0.012
length_m = 2.5
width_m = 1.25
cutter = "laser"
"""


def made(shape: str) -> tuple[ShapeResult, WorkshopResult]:
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\n{shape}\n{SHEET}')
    boxed = enclosure.run(build)
    assert boxed is not None
    cut = workshop.run(build, boxed)
    result = boxed.boxes["bay"].shape
    assert cut is not None and result is not None
    return result, cut


def material_m3(cut: WorkshopResult, *, less: str = "brace") -> float:
    drilled = sum(part.drills.area_m2 * part.thickness_m * part.count for part in cut.parts.values())
    return drilled + sum(
        part.area_m2 * part.thickness_m * part.count for name, part in cut.parts.items() if less not in name
    )


@pytest.mark.parametrize("joint", ["butt", "finger"])
@pytest.mark.parametrize("more", ["", "double_baffle = true", "baffle = 2\ndouble_baffle = true", 'baffle = "bottom"'])
def test_square_corners_leave_nothing_and_take_nothing(joint: str, more: str) -> None:
    result, cut = made(f'size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "{joint}"\n{more}')
    assert material_m3(cut) == pytest.approx(result.material_volume_m3, rel=1e-9)
    assert not any(part.stopped for part in cut.parts.values())


def test_the_floor_shows_where_braces_stand_and_the_baffle_lets_the_cable_out() -> None:
    shape = "size_m = [0.5, 0.4]\nheight_m = 0.3\nbraces = [{from_m = [0.05, 0.012], to_m = [0.05, 0.388]}]\n"
    _, cut = made(shape + "cable_holes = [{at_m = [0.44, 0.06], diameter_m = 0.016}]")
    assert not any(part.stopped for part in cut.parts.values())
    ((operation, chain, _),) = cut.parts["bay, floor"].lines
    assert operation == "mark"
    print_ = Polygon([(item.start.real, item.start.imag) for item in chain])
    assert print_.bounds == pytest.approx((0.044, 0.012, 0.056, 0.388))
    assert cut.parts["bay, floor"].joinery.face == "inside"
    holes = [item.polygon for item in cut.parts["bay, baffle"].openings]
    assert any(hole.centroid.coords[0] == pytest.approx((0.44, 0.06), abs=1e-4) for hole in holes)
    for place in ("[0.01, 0.06]", "[0.05, 0.2]", "[0.25, 0.2]"):  # in the wall, over the brace, at the loudspeaker
        _, met = made(shape + f"cable_holes = [{{at_m = {place}, diameter_m = 0.016}}]")
        assert "workshop.cable_hole" in [item.code for item in met.findings]
        assert all("workshop.cable_hole" in part.stopped for part in met.parts.values())


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ("volume_m3 = 0.0002", "enclosure.no_room_to_move"),  # by hand 220 cm² × 10 mm are 0.22 L
        ('kind = "vented"\ntuning_hz = 150\nport = {diameter_m = 0.03}', "enclosure.port_impossible"),
        ("volume_m3 = 0.04", None),
    ],
)
def test_a_box_that_cannot_work_is_not_cut(more: str, code: str | None) -> None:
    """A stop about its sound stands against its boards and its solid as one about its shape does."""
    kind = BOX.replace('kind = "sealed"\n', "") if "kind" in more else BOX
    shape = f'[boxes.shape]\n{STIFF}sheet = "board"\nsize_m = [0.5, 0.4]\nheight_m = 0.3\n'
    build = parse(f"{MODEL}{kind}{more}\n{shape}{SHEET}")
    boxed = enclosure.run(build)
    cut = workshop.run(build, boxed)
    assert boxed is not None and cut is not None and boxed.boxes["bay"].shape is not None
    stops = (code,) if code else ()
    assert {item.code for item in boxed.findings if item.severity == "stop"} == set(stops)
    assert boxed.boxes["bay"].shape.stopped == stops
    assert all(part.stopped == stops for part in cut.parts.values())
    assert bool(planned_files(cut)) == (code is None)


def test_panels_and_walls_are_numbered_as_the_build_counts_them() -> None:
    """Of this outline each side is longer than the one before, whichever way round it is kept."""
    outline = [[0.0, 0.0], [0.0, 0.4], [0.5, 0.5], [0.7, 0.0]]
    result, cut = made(f"outline = {outline}\nheight_m = 0.3\nbaffle = 3")
    walls = [part for name, part in cut.parts.items() if ", wall " in name]
    assert [part.name for part in walls] == ["bay, wall 1", "bay, wall 2", "bay, wall 3 (baffle)", "bay, wall 4"]
    sides = [0.4, hypot(0.5, 0.1), hypot(0.2, 0.5), 0.7]  # by hand; corners that are not square take a little off
    assert [max(part.size_m) for part in walls] == pytest.approx(sides, abs=0.02)
    named = [wall for wall in result.walls if wall.name.startswith("wall")]
    assert [wall.name for wall in named] == ["wall 1", "wall 2", "wall 3", "wall 4"]
    assert [wall.length_m for wall in named] == pytest.approx(sides, abs=0.03)
    (hole,) = [opening for opening in walls[2].openings if abs(opening.area_m2) > 0.01]  # 180 mm wide: 0.025 m²
    assert abs(hole.area_m2) == pytest.approx(pi / 4 * 0.18**2, rel=1e-6)


def test_an_inside_corner_is_closed_as_well() -> None:
    outline = "outline = [[0, 0], [0.7, 0], [0.7, 0.3], [0.35, 0.3], [0.35, 0.6], [0, 0.6]]"
    result, cut = made(f"{outline}\nheight_m = 0.3\nspeakers_at_m = [[0.17, 0.4]]")
    assert material_m3(cut) == pytest.approx(result.material_volume_m3, rel=1e-9)


def test_rabbets_go_half_a_board_into_their_neighbours() -> None:
    _, cut = made('size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "rabbet"')
    walls = [part for name, part in cut.parts.items() if "wall" in name]
    assert {round(part.size_m[1], 6) for part in walls} == {0.3 - 0.024 + 0.012}
    assert sorted(round(part.size_m[0], 6) for part in walls) == [0.394, 0.394, 0.494, 0.494]
    assert all(
        any(line.operation == "score" and line.depth_m == 0.006 for line in part.lines) for part in cut.parts.values()
    )


def test_fingers_of_neighbours_fill_the_corner() -> None:
    """Both ends laid over one another at the corner: no gap, no overlap."""
    _, cut = made('size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "finger"')
    first, second = cut.parts["bay, wall 1"], cut.parts["bay, wall 2"]
    height = first.size_m[1]
    strip = Polygon([(0, 0), (0.012, 0), (0.012, height), (0, height)])
    end = affinity.translate(first.outline.polygon, -(0.5 - 0.012), 0.0).intersection(strip)
    start = second.outline.polygon.intersection(strip)
    assert unary_union([end, start]).area == pytest.approx(strip.area, rel=1e-6)
    assert end.intersection(start).area == pytest.approx(0.0, abs=1e-9)
    assert min(end.area, start.area) > 0.3 * strip.area


def test_other_corners_are_mitred_and_say_so() -> None:
    result, cut = made("outline = [[0, 0], [0.6, 0], [0.6, 0.3], [0.4, 0.5], [0, 0.5]]\nheight_m = 0.3")
    bevels = cut.parts["bay, wall 3"].joinery.bevels
    assert [(item.side, round(item.tilt_deg, 6), item.inward) for item in bevels] == [
        ("left", 22.5, True),
        ("right", 22.5, True),
    ]
    assert not cut.parts["bay, wall 1"].joinery.bevels
    high = 0.3 - 0.024
    wedges = 4 * 0.5 * 0.012**2 * tan(pi / 8) * high  # four bevelled ends
    assert material_m3(cut) - result.material_volume_m3 == pytest.approx(wedges, rel=1e-6)


def test_rings_keep_their_arcs_on_the_way_to_the_cutter() -> None:
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\ndiameter_m = 0.5\nheight_m = 0.24\n{SHEET}')
    boxed = enclosure.run(build)
    cut = workshop.run(build, boxed)
    assert boxed is not None and cut is not None
    assert {name: part.count for name, part in cut.parts.items()} == {
        "bay, floor": 1,
        "bay, ring": 18,
        "bay, baffle": 1,
    }
    shape = boxed.boxes["bay"].shape
    assert shape is not None and material_m3(cut) == pytest.approx(shape.material_volume_m3, rel=1e-9)
    files = plan_documents(build, Results(enclosure=boxed, workshop=cut))
    text = files["workshop/bay-baffle.dxf"]
    assert isinstance(text, str)
    document, auditor = recover.read(io.BytesIO(text.encode()))
    assert not auditor.has_errors
    radii = {round(item.dxf.radius, 3) for item in document.modelspace().query("CIRCLE")}
    assert radii == {1.5}  # six pilot holes, 3 mm
    assert len(document.modelspace().query("CIRCLE")) == 6
    plan = json.loads(files["plan.json"])
    assert plan["enclosure"]["boxes"]["bay"]["shape"]["solid"]["file"] == "workshop/bay.stl"
    assert "workshop/bay.stl" in files and "workshop/bay.stl" in plan["workshop"]["files"]
    assert ">workshop/bay.stl<" in str(files["workshop.html"])


def test_a_window_is_as_open_as_was_said() -> None:
    braces = "braces = [{from_m = [0.1, 0.02], to_m = [0.1, 0.38], open_share = 0.4}]"
    result, cut = made(f"size_m = [0.5, 0.4]\nheight_m = 0.3\nspeakers_at_m = [[0.3, 0.2]]\n{braces}")
    part = cut.parts["bay, brace 1"]
    assert part.area_m2 == pytest.approx(0.6 * part.size_m[0] * part.size_m[1], rel=1e-6)
    assert part.area_m2 * 0.012 == pytest.approx(result.displaced_m3["braces"], rel=1e-6)


def test_nothing_is_written_under_a_stop() -> None:
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\nsize_m = [0.5, 0.4]\nheight_m = 0.1\n{SHEET}')
    boxed = enclosure.run(build)
    cut = workshop.run(build, boxed)
    assert boxed is not None and cut is not None
    assert all(part.stopped == ("enclosure.shape_deep",) for part in cut.parts.values())
    files = plan_documents(build, Results(enclosure=boxed, workshop=cut))
    assert not [name for name in files if name.endswith((".stl", ".dxf", ".svg")) and name.startswith("workshop/")]
    plan = json.loads(files["plan.json"])
    assert plan["enclosure"]["boxes"]["bay"]["shape"]["solid"]["file"] is None
