"""Rings, pods and jigs: aims and planes by hand, stacks and skeletons against the solid they are to fill, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from shapely import LineString, Polygon, box

from cabinwright.build.codec import parse
from cabinwright.physics.wedge import Wedge
from cabinwright.stages import enclosure, layout, workshop
from cabinwright.stages.workshop.files import mounts_dict, planned_files
from cabinwright.stages.workshop.mount_shapes import layers_of, rib, rib_turns
from cabinwright.stages.workshop.result import Part, WorkshopResult

TEXT = """schema = 1
title = "t"
[vehicle]
name = "car"
driving_side = "left"
[[seats]]
name = "driver"
head_m = [1.4, -0.36, 1.05]
[[cabin.surfaces]]
name = "wall"
corners_m = [[0, -0.72, 0], [3, -0.72, 0], [3, -0.72, 1.3], [0, -0.72, 1.3]]
[[speaker_models]]
name = "six"
cut_out_m = "143 mm"
mounting_circle_m = "156 mm"
screws = 4
outer_diameter_m = "166 mm"
depth_m = "68 mm"
[[speaker_models]]
name = "one"
cut_out_m = "46 mm"
mounting_circle_m = "54 mm"
screws = 3
outer_diameter_m = "60 mm"
[[places]]
name = "door"
role = "midbass"
side = "left"
position_m = [0.83, -0.68, 0.42]
aim = [0.0, 0.96, 0.28]
depth_m = "60 mm"
[[places]]
name = "sail"
role = "tweeter"
side = "left"
position_m = [0.64, -0.64, 0.97]
aim = [0.28, 0.96, 0.0]
[[sheets]]
name = "board"
material = "MDF"
thickness_m = "9 mm"
length_m = 1.2
width_m = 0.6
cutter = "router"
[[sheets]]
name = "ply"
material = "birch plywood"
thickness_m = "4 mm"
length_m = 0.6
width_m = 0.4
[[rings]]
name = "ring"
place = "door"
model = "six"
surface = "wall"
sheet = "board"
trim = {sheet = "board"}
[[pods]]
name = "pod"
place = "sail"
model = "one"
surface_points_m = [[0.5, -0.70, 0.9], [0.8, -0.70, 0.9], [0.6, -0.70, 1.1]]
sheet = "ply"
trim = {sheet = "ply", sight_diameter_m = "50 mm"}
[[jigs]]
name = "angle"
kind = "angle"
of = "ring"
sheet = "ply"
[[jigs]]
name = "drill"
kind = "drill"
of = "ring"
sheet = "ply"
[[jigs]]
name = "hole"
kind = "surface"
of = "ring"
sheet = "ply"
[[jigs]]
name = "drill the small one"
kind = "drill"
model = "one"
sheet = "ply"
"""
ANGLE = math.degrees(math.asin(0.28))  # 7, 24, 25: both aims lie so far off the wall's normal
BAG = """[[cabin.keep_outs]]
name = "side airbag"
kind = "airbag path"
corners_m = [[0.7, -0.75, 0.3], [0.75, -0.75, 0.3], [0.7, -0.5, 0.3], [0.7, -0.75, 0.6]]
"""


def run(text: str = TEXT) -> WorkshopResult:
    result = workshop.run(parse(text))
    assert result is not None
    return result


@pytest.fixture(scope="module")
def made() -> WorkshopResult:
    return run()


def codes(result: WorkshopResult, where: str) -> set[str]:
    return {item.code for item in result.findings if where in item.where}


def polygon(part: Part) -> Polygon:
    return Polygon(part.outline.as_polygon(1e-6).exterior, [item.as_polygon(1e-6).exterior for item in part.openings])


def part(result: WorkshopResult, start: str) -> Part:
    return next(item for name, item in result.parts.items() if name.startswith(start))


def test_a_ring_stands_as_computed_by_hand(made: WorkshopResult) -> None:
    ring = made.mounts["ring"]
    assert ring.angle_deg == pytest.approx(ANGLE)
    assert ring.body.outer_m == pytest.approx(0.178)  # frame and 6 mm all round
    assert ring.body.height_m == pytest.approx(0.04 / 0.96)  # 40 mm off the wall along an aim of cosine 0.96
    assert ring.moved_m == pytest.approx(0.0, abs=1e-12)
    assert ring.centre_m == pytest.approx((0.83, -0.68, 0.42))
    assert ring.thick_way == pytest.approx((0.0, 0.0, -1.0), abs=1e-9)  # it looks up, so it is thickest below
    assert ring.thick_words == "bottom"
    assert ring.body.greatest_m - ring.body.least_m == pytest.approx(0.178 * 0.28 / 0.96)


def test_solids_are_closed_and_stand_on_their_surface(made: WorkshopResult) -> None:
    for mount in made.mounts.values():
        mesh = trimesh.Trimesh(mount.mesh.vertices, mount.mesh.faces, process=False)
        assert mesh.is_watertight and mesh.is_winding_consistent
        body = mount.body
        # a hole that ends above the surface takes its cylinder, one that goes through it what is over the surface
        gone = [min(mount.pilot_deep_m, body.height_m - at.real * body.slope) for at in mount.screws]
        wanted = body.volume_m3 - math.pi / 4.0 * mount.pilot_m**2 * sum(gone)
        assert mesh.volume == pytest.approx(wanted, rel=1e-3)
        assert mesh.volume != pytest.approx(1.0025 * wanted, rel=1e-3)
        there = np.asarray(mount.origin_m) + mount.mesh.vertices @ mount.frame.T
        over = (there - np.asarray(mount.origin_m)) @ np.asarray(mount.normal)
        assert over.min() == pytest.approx(0.0, abs=1e-9)
        assert np.linalg.det(mount.frame) == pytest.approx(1.0)
    assert (made.mounts["ring"].mesh.vertices @ made.mounts["ring"].frame.T + made.mounts["ring"].origin_m)[
        :, 1
    ].min() == pytest.approx(-0.72)


@pytest.mark.parametrize("deg", [0.0, 3.0, 16.0, 35.0])
@pytest.mark.parametrize("board", [0.0031, 0.009, 0.018])
def test_layers_hold_the_whole_ring(deg: float, board: float) -> None:
    """Every layer covers what the solid has between its faces; what it has too much lies beyond the marked line."""
    slope = math.tan(math.radians(deg))
    body = Wedge(0.178, 0.178, 0.143, 0.089 * slope + 0.006, math.radians(deg))
    ring = _disc(0.178) - _disc(0.143)
    high = body.height_m
    for layer in layers_of(body, board):
        cut = Polygon(layer.outline.as_polygon(1e-6).exterior, [o.as_polygon(1e-6).exterior for o in layer.openings])
        upper = ring if slope == 0.0 else ring.intersection(box(-1.0, -1.0, high / slope, 1.0))
        missing = upper - cut.buffer(1e-5)
        # at most the feather tips beside the hole and the last half millimetre of a whole layer are missing
        assert missing.area < 0.03 * ring.area
        extra = cut - ring.buffer(1e-5)
        assert extra.area < 1e-9
        high -= board
        for chain in layer.planed_to:
            x = {round(end.real, 9) for segment in chain for end in (segment.start, segment.end)}
            assert x == {round(high / slope, 9)}
    assert high < 0.004 - 0.089 * slope if slope else high < 1e-4


def _disc(size: float) -> Polygon:
    turn = np.linspace(0.0, 2.0 * np.pi, 3000, endpoint=False)
    return Polygon(np.column_stack((size / 2.0 * np.cos(turn), size / 2.0 * np.sin(turn))))


@pytest.mark.parametrize("count", [3, 8, 13])
def test_ribs_join_ring_and_foot(count: int) -> None:
    body = Wedge(0.08, 0.12, 0.05, 0.045, math.radians(20.0))
    board = 0.004
    turns = rib_turns(count, ())
    for turn in turns:
        outline = rib(body, turn, ring_m=board, foot_m=board)
        outline.check()
        shape = outline.as_polygon(1e-6)
        assert shape.is_valid
        ring_half = box(0.025, body.height_m - board, 0.0325, body.height_m)  # what is left of the ring at a slot
        assert shape.intersection(ring_half).area == pytest.approx(0.0, abs=1e-12)
        tenon = box(0.0325, body.height_m - board, 0.04, body.height_m)
        assert shape.intersection(tenon).area == pytest.approx(tenon.area)  # and the rib fills the other half
        rise = math.cos(turn) * body.slope
        lowest = shape.exterior.coords[:2]
        for radius, height in lowest:  # it stands on the foot's board, as thick along the normal as it is
            assert (height - radius * rise) * math.cos(body.angle_rad) == pytest.approx(board)
        skin = LineString([(0.06, 0.06 * rise), (0.04, body.height_m)])
        assert max(skin.distance(point) for point in _points([*lowest[1:], (0.04, body.height_m)])) < 1e-9


def _points(at: list[tuple[float, ...]]) -> list[LineString]:
    return [LineString([point, point]) for point in at]


def test_slots_take_their_ribs(made: WorkshopResult) -> None:
    ring = part(made, "pod, ring")
    whole = _disc(made.mounts["pod"].body.outer_m) - _disc(0.046)
    rows = [name for name in made.parts if name.startswith("pod, rib")]
    assert len(rows) == 8
    gone = whole.area - polygon(ring).area
    depth = (made.mounts["pod"].body.outer_m - 0.046) / 4.0
    assert gone == pytest.approx(8 * depth * 0.0041, rel=5e-3)
    assert gone != pytest.approx(8 * depth * 0.0042, rel=5e-3)
    for at in ring.drills.centres:  # screws have wood round them
        assert ring.outline.distance_m(np.array([at]))[0] > 0.0015 + 0.002


def test_trim_has_a_rebate_as_its_machine_makes_it(made: WorkshopResult) -> None:
    face, back, frame = (part(made, f"pod, {name}") for name in ("trim face", "trim back", "cloth frame"))
    across = [item.openings[0].bounds[2] * 2.0 for item in (face, back, frame)]
    assert across == pytest.approx([0.05, 0.06, 0.05])
    assert frame.size_m[0] == pytest.approx(0.06 - 2 * 0.0008 - 2 * 0.0002)
    one = part(made, "ring, trim")
    ((operation, line, depth),) = one.lines
    assert depth == one.thickness_m / 2.0
    assert operation == "score"
    assert max(segment.end.real for segment in line) == pytest.approx(0.143 / 2 + 0.005)


def test_jigs(made: WorkshopResult) -> None:
    wedge = made.parts["angle"].outline
    top = next(s for s in wedge.segments if min(s.start.imag, s.end.imag) > 0.0 and s.start.real != s.end.real)
    assert math.degrees(math.atan2(abs(top.chord.imag), abs(top.chord.real))) == pytest.approx(ANGLE)
    drill = made.parts["drill"]
    assert sorted(abs(drill.drills.centres)) == pytest.approx([0.0, 0.078, 0.078, 0.078, 0.078])
    hole = made.parts["hole"].openings[0].bounds
    assert hole[2] - hole[0] == pytest.approx(0.143 / 0.96)  # the hole seen aslant
    assert hole[3] - hole[1] == pytest.approx(0.143)
    assert len(made.parts["drill the small one"].drills.centres) == 4


def test_angles_are_marked_and_everything_is_laid_out(made: WorkshopResult) -> None:
    assert codes(made, "ring") | codes(made, "pod") <= {
        "workshop.hard_inside_corner",
        "workshop.mount_moved",
        "workshop.thin_web",
    }
    assert [item.code for item in made.findings if item.severity == "stop"] == []
    for name in ("ring, layer 1", "pod, ring", "pod, foot", "drill", "angle"):
        assert any(line.operation == "mark" for line in part(made, name).lines), name
    placed = {item.part for sheet in made.nesting for item in sheet.placed}
    assert placed == set(made.parts)
    rows = mounts_dict(made)
    assert rows["ring"]["solid"]["file"] == "workshop/ring_solid.stl"
    assert rows["ring"]["angle_deg"] == pytest.approx(ANGLE)
    assert set(rows["ring"]["parts"]) <= set(made.parts)


def test_nothing_is_written_in_an_airbags_way() -> None:
    result = run(TEXT + BAG)
    ring = result.mounts["ring"]
    assert "workshop.mount_airbag" in ring.stopped
    assert codes(result, "“ring”") >= {"workshop.mount_airbag"}
    held = {name for name, item in result.parts.items() if item.stopped}
    assert held >= {*ring.parts, "angle", "drill", "hole"}
    assert not held & {*result.mounts["pod"].parts, "drill the small one"}
    names = [item.name for item in planned_files(result)]
    assert not any("ring_solid" in name or "ring-layer" in name for name in names)
    assert "workshop/pod_solid.stl" in names
    assert mounts_dict(result)["ring"]["solid"]["file"] is None


def test_an_airbag_is_named_even_where_no_ring_can_be_made() -> None:
    result = run(
        TEXT.replace("aim = [0.0, 0.96, 0.28]", "aim = [1.0, 0.1, 0]")
        + BAG.replace("[0.75,", "[0.95,").replace("[0.7,", "[0.8,")
    )
    assert codes(result, "“ring”") >= {"workshop.mount_steep", "workshop.mount_airbag"}


def test_the_rings_own_body_is_held_against_the_airbag() -> None:
    """The cone alone stays clear of it, the ring around it does not."""
    near = BAG.replace("0.7,", "0.72,").replace("0.75,", "0.735,", 1)
    build = parse(TEXT + near)
    assert all(item.gap_m > 0.0 for item in layout.keep_outs.clearances(build) if item.place == "door")
    result = workshop.run(build)
    assert result is not None
    assert "workshop.mount_airbag" in result.mounts["ring"].stopped


def test_the_best_aim_of_layout_is_taken() -> None:
    text = TEXT.replace("aim = [0.0, 0.96, 0.28]\n", "aim = [0.0, 0.96, 0.28]\naim_limit_deg = 30\n")
    build = parse(text)
    placed = layout.run(build)
    assert placed is not None
    aimed = placed.places["door"].aimed
    assert aimed is not None
    result = workshop.run(build, placed=placed)
    assert result is not None
    assert result.mounts["ring"].aim == pytest.approx(aimed.aim)
    assert aimed.turn_deg > 0.5
    assert run(text).mounts["ring"].aim != pytest.approx(aimed.aim, abs=1e-3)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('surface = "wall"\n', "", "workshop.mount_surface"),
        (
            "[[0.5, -0.70, 0.9], [0.8, -0.70, 0.9], [0.6, -0.70, 1.1]]",
            "[[0.5, 0, 0], [0.6, 0, 0], [0.7, 0, 0]]",
            "workshop.mount_surface",
        ),
        ("aim = [0.0, 0.96, 0.28]", "aim = [1.0, 0.1, 0]", "workshop.mount_steep"),
        ("position_m = [0.83, -0.68, 0.42]", "position_m = [0.83, 0.68, 0.42]", "workshop.mount_far"),
        ("aim = [0.0, 0.96, 0.28]", "aim = [0.0, 0.7, 0.7]", "workshop.mount_moved"),
        ('surface = "wall"\n', 'surface = "wall"\nheight_m = "12 mm"\n', "workshop.mount_low"),
        ('surface = "wall"\n', 'surface = "wall"\nouter_diameter_m = "150 mm"\n', "workshop.mount_narrow"),
        ('depth_m = "60 mm"', 'depth_m = "20 mm"', "workshop.mount_depth"),
        ("position_m = [0.83, -0.68, 0.42]", "position_m = [0.05, -0.68, 0.42]", "workshop.mount_overhang"),
    ],
)
def test_what_is_wrong_is_named(old: str, new: str, code: str) -> None:
    assert old in TEXT
    result = run(TEXT.replace(old, new, 1))
    found = [item for item in result.findings if item.code == code]
    assert found
    if found[0].severity == "stop":
        name = "pod" if "pod" in found[0].where else "ring"
        assert f"workshop/{name}_solid.stl" not in [item.name for item in planned_files(result)]
        assert not any(name_.startswith(f"{name}, ") and not item.stopped for name_, item in result.parts.items())


def test_a_ring_without_a_sheet_is_a_solid_alone() -> None:
    text = TEXT.replace('sheet = "board"\ntrim = {sheet = "board"}\n', "", 1)
    result = run(text)
    assert result.mounts["ring"].parts == ()
    assert "workshop/ring_solid.stl" in [item.name for item in planned_files(result)]


def test_a_speaker_will_do_in_place_of_a_place() -> None:
    speaker = """[[speakers]]
name = "left door"
role = "midbass"
side = "left"
position_m = [0.83, -0.68, 0.42]
aim = [0, 1, 0]
"""
    result = run(TEXT.replace('place = "door"', 'speaker = "left door"', 1) + speaker)
    ring = result.mounts["ring"]
    assert ring.angle_deg == pytest.approx(0.0, abs=1e-6)
    assert ring.body.height_m == pytest.approx(0.04)
    assert ring.layers == 5  # 40 mm of 9 mm boards


def test_models_with_dimensions_alone_are_nothing_to_the_enclosure_stage() -> None:
    assert enclosure.run(parse(TEXT)) is None
    speaker = '[[speakers]]\nname = "s"\nrole = "midbass"\nside = "left"\nmodel = "six"\n'
    result = enclosure.run(parse(TEXT + speaker))
    assert result is not None
    assert [item.code for item in result.findings] == ["enclosure.incomplete"]
