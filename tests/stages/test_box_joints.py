"""Dowels, rabbets and bends put together again: holes meet in the assembled box, webs close, nothing is cut through."""

from __future__ import annotations

import io
import math
from itertools import combinations

import numpy as np
import pytest
import trimesh
from ezdxf import recover
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, affinity

from cabinwright.build.codec import parse
from cabinwright.drawings.cut import part_drawing
from cabinwright.drawings.cut_dxf import dxf_text
from cabinwright.errors import BuildError
from cabinwright.physics.kerf_bend import kerf_bend
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.result import Part, WorkshopResult
from stages.test_box_panels import SHEET, made
from stages.test_enclosure_shape import BOX, MODEL, STIFF

BOARD = 0.012
Place = NDArray[np.float64]


def walls_in_plan(result: ShapeResult) -> list[tuple[complex, complex]]:
    """Start and unit direction of every wall's outer side, from the plan alone."""
    points = list(result.body.plan.counter_clockwise().points(1e-4))
    return [(complex(a), complex((b - a) / abs(b - a))) for a, b in zip(points, [*points[1:], points[0]], strict=True)]


def placed(name: str, part: Part, result: ShapeResult, at: complex, deep: float) -> Place:
    """A point of a part, ``deep`` under the face that is drawn, where it is in the finished box."""
    x0, _, x1, _ = part.outline.bounds
    inside = part.joinery.face == "inside"
    run = next(item for item in result.body.runs if item.role == "walls")
    if "wall" in name:
        start, way = walls_in_plan(result)[int(name.split("wall ")[1].split()[0]) - 1]
        x = x0 + x1 - at.real if inside else at.real
        spot = start + way * (x + 1j * (BOARD - deep if inside else deep))
        return np.array([spot.real, spot.imag, run.low_m + at.imag])
    if "floor" in name or (result.baffle == "bottom" and name.endswith("baffle")):
        return np.array([at.real, at.imag, run.low_m - deep])
    assert inside
    return np.array([x0 + x1 - at.real, at.imag, run.high_m + deep])


def holes(result: ShapeResult, cut: WorkshopResult) -> tuple[list[tuple[Place, Place]], list[tuple[Place, Place]]]:
    """Mouth and end of every hole in a face and in an edge, in the finished box."""
    faces, edges = [], []
    for name, part in cut.parts.items():
        for face in part.joinery.face_bores:
            faces.append((placed(name, part, result, face.at, 0.0), placed(name, part, result, face.at, face.depth_m)))
        for edge in part.joinery.edge_bores:
            end = edge.at + edge.way * edge.depth_m
            half = BOARD / 2.0
            edges.append((placed(name, part, result, edge.at, half), placed(name, part, result, end, half)))
    return faces, edges


SHAPES = {
    "square": "size_m = [0.5, 0.4]\nheight_m = 0.3",
    "inside corner": "outline = [[0, 0], [0.7, 0], [0.7, 0.3], [0.35, 0.3], [0.35, 0.6], [0, 0.6]]\nheight_m = 0.3\n"
    "speakers_at_m = [[0.17, 0.4]]",
    "mitred": "outline = [[0, 0], [0.6, 0], [0.6, 0.3], [0.4, 0.5], [0, 0.5]]\nheight_m = 0.3",
    "wall": "size_m = [0.5, 0.4]\nheight_m = 0.3\nbaffle = 2\ndouble_baffle = true",
    "two boards": "size_m = [0.5, 0.4]\nheight_m = 0.3\ndouble_baffle = true",
    "two below": 'size_m = [0.5, 0.4]\nheight_m = 0.3\nbaffle = "bottom"',
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_hole_meets_its_other_half(shape: str) -> None:
    result, cut = made(f'{SHAPES[shape]}\njoint = "dowel"')
    faces, edges = holes(result, cut)
    assert len(edges) >= 16 and len(faces) == len(edges)
    mouths = np.array([mouth for mouth, _ in faces])
    for mouth, end in edges:
        far = np.linalg.norm(mouths - mouth, axis=1)
        nearest = int(np.argmin(far))
        assert far[nearest] < 1e-9 and np.sort(far)[1] > 0.015
        into, other = end - mouth, faces[nearest][1] - faces[nearest][0]
        assert np.dot(into, other) == pytest.approx(-np.linalg.norm(into) * np.linalg.norm(other))
        room = float(np.linalg.norm(into) + np.linalg.norm(other))
        assert room == pytest.approx(0.030 + 0.002)  # a dowel of 30 mm and a millimetre for glue at both ends
    assert not any(part.stopped for part in cut.parts.values())


@pytest.mark.parametrize("shape", SHAPES)
def test_no_two_dowels_meet_and_none_comes_out(shape: str) -> None:
    """As solids by trimesh: rods as long as both holes, inside the boards, and apart from one another."""
    result, cut = made(f'{SHAPES[shape]}\njoint = "dowel"')
    faces, edges = holes(result, cut)
    rods = []
    for mouth, end in edges:
        other = min(faces, key=lambda item: float(np.linalg.norm(item[0] - mouth)))[1]
        rods.append(trimesh.creation.cylinder(radius=0.003, segment=np.array([end, other]), sections=24))
    for a, b in combinations(rods, 2):
        low, high = np.maximum(a.bounds[0], b.bounds[0]), np.minimum(a.bounds[1], b.bounds[1])
        assert (high - low).min() < -0.001 + 1e-9  # their boxes are apart by a millimetre or more
    plan = result.body.plan.polygon
    for rod in rods:
        assert all(plan.buffer(-0.002).contains(Point(x, y)) for x, y, _ in rod.vertices)
        assert rod.bounds[0][2] > 0.002 and rod.bounds[1][2] < result.body.height_m - 0.002


def test_what_is_in_the_way_is_gone_round() -> None:
    """A cut-out that comes within the reach of dowels: holes move aside or are left out, and a word is said."""
    far = 'size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "dowel"\n[boxes.shape.dowels]\npitch_m = 0.04'
    near = 'size_m = [0.5, 0.235]\nheight_m = 0.3\njoint = "dowel"\n[boxes.shape.dowels]\npitch_m = 0.04'
    for shape in (far, near):
        _, cut = made(shape)
        baffle = cut.parts["bay, baffle"]
        taken = [Polygon([(p.real, p.imag) for p in item.points(1e-5)]) for item in baffle.openings]
        taken += [
            Point(at.real, at.imag).buffer(size / 2.0)
            for at, size in zip(baffle.drills.centres, baffle.drills.diameters_m, strict=True)
        ]
        assert len(taken) > 1
        gaps = [item.distance(Point(b.at.real, b.at.imag)) - 0.003 for item in taken for b in baffle.joinery.face_bores]
        assert min(gaps) > 0.0049
    count = {
        name: len(made(shape)[1].parts["bay, baffle"].joinery.face_bores) for name, shape in (("n", near), ("f", far))
    }
    assert count["n"] < count["f"]


def test_a_joint_without_room_is_told() -> None:
    _, cut = made('size_m = [0.5, 0.4]\nheight_m = 0.08\njoint = "dowel"')
    told = [item for item in cut.findings if item.code == "workshop.dowel_few"]
    assert told and all("wall" in item.where for item in told)


def test_a_board_too_thin_for_dowels_is_refused() -> None:
    _, cut = made('size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "dowel"\ndowels = {diameter_m = "10 mm"}')
    stops = [item for item in cut.findings if item.code == "workshop.dowel_thin"]
    assert [(item.value, item.limit) for item in stops] == [(10.0, 8.0)]
    boards = [part for name, part in cut.parts.items() if "wall" in name or "floor" in name or "baffle" in name]
    assert all("workshop.dowel_thin" in part.stopped for part in boards)


@settings(max_examples=25, deadline=None)
@given(
    wide=st.floats(0.32, 0.9),
    deep=st.floats(0.32, 0.9),
    high=st.floats(0.12, 0.6),
    pitch=st.floats(0.02, 0.3),
    size=st.sampled_from([0.005, 0.006, 0.008]),
    length=st.floats(0.01, 0.2),
)
def test_any_numbers_give_holes_that_meet(
    wide: float, deep: float, high: float, pitch: float, size: float, length: float
) -> None:
    result, cut = made(
        f'size_m = [{wide}, {deep}]\nheight_m = {high}\njoint = "dowel"\n'
        f"dowels = {{diameter_m = {size}, length_m = {length}, pitch_m = {pitch}}}"
    )
    faces, edges = holes(result, cut)
    assert len(faces) == len(edges)
    mouths = np.array([mouth for mouth, _ in faces])
    for mouth, _ in edges:
        assert np.linalg.norm(mouths - mouth, axis=1).min() < 1e-9
    for part in cut.parts.values():
        rods = [LineString([(e.at.real, e.at.imag), ((e.at + e.way * e.depth_m).real, (e.at + e.way * e.depth_m).imag)])
                for e in part.joinery.edge_bores]  # fmt: skip
        assert all(a.distance(b) > size for a, b in combinations(rods, 2))
        assert all(part.outline.polygon.buffer(1e-6).contains(rod) for rod in rods)
        spots = [Point(item.at.real, item.at.imag) for item in part.joinery.face_bores]
        assert all(a.distance(b) > size for a in rods for b in spots)


def test_depths_go_with_the_file() -> None:
    _, cut = made(f'{SHAPES["square"]}\njoint = "dowel"')
    part = cut.parts["bay, wall 2"]
    document, auditor = recover.read(io.BytesIO(dxf_text(part_drawing(part)).encode()))
    assert not auditor.has_errors
    rounds = document.modelspace().query('CIRCLE[layer=="drill-8mm"]')
    assert len(rounds) == len(part.joinery.face_bores) > 1
    assert {round(item.dxf.thickness, 6) for item in rounds} == {-8.0}  # two thirds of 12 mm


def test_rabbets_are_drawn_on_the_face_they_are_cut_in() -> None:
    result, cut = made('size_m = [0.5, 0.4]\nheight_m = 0.3\njoint = "rabbet"\nspeakers_at_m = [[0.14, 0.2]]')
    assert {part.joinery.face for part in cut.parts.values()} == {"inside"}
    baffle = cut.parts["bay, baffle"]  # seen from below: the loudspeaker is on the other side
    x0, _, x1, _ = max(baffle.openings, key=lambda item: abs(item.area_m2)).bounds
    assert (x0 + x1) / 2.0 == pytest.approx(0.5 - 0.14)
    assert result.speakers == (0.14 + 0.2j,)


# --- bends ----------------------------------------------------------------------------------------------------------

ROUND = 'size_m = [0.5, 0.4]\nfillet_m = 0.15\nheight_m = 0.3\nconstruction = "bent"\nbend = {kerf_m = 0.003}'


def bent(radius: float, angle: float, thick: float, left: float, kerf: float, cuts: int) -> float:
    """Largest overlap of neighbouring webs when rigid webs turn about the skin's middle, by shapely."""
    step, web = angle / cuts, 0.004
    half = Polygon(
        [(kerf / 2.0, 0), (kerf / 2.0 + web, 0), (kerf / 2.0 + web, thick - left / 2), (kerf / 2.0, thick - left / 2)]
    )
    one = affinity.rotate(half, math.degrees(step / 2.0), origin=(0, 0))
    other = affinity.rotate(affinity.scale(half, -1.0, 1.0, origin=(0, 0)), -math.degrees(step / 2.0), origin=(0, 0))
    return float(one.intersection(other).area)


@given(
    radius=st.floats(0.05, 1.0),
    angle=st.floats(0.1, math.pi),
    thick=st.floats(0.006, 0.025),
    share=st.floats(0.05, 0.4),
    kerf=st.floats(0.001, 0.006),
)
def test_webs_just_close(radius: float, angle: float, thick: float, share: float, kerf: float) -> None:
    left = share * thick
    found = kerf_bend(radius_m=radius, angle_rad=angle, thickness_m=thick, left_m=left, kerf_m=kerf, web_m=0.002)
    assert bent(radius, angle, thick, left, kerf, found.cuts) < 1e-10
    if found.cuts > 1:  # one cut fewer and they would run into each other
        assert bent(radius, angle, thick, left, kerf, found.cuts - 1) > 0.0
    places = np.array(found.places_m)
    assert np.allclose(np.diff(places), found.pitch_m) and places[0] == pytest.approx(found.length_m - places[-1])
    assert (found.pitch_m - kerf >= 0.002 - 1e-12) == (radius >= found.least_radius_m - 1e-12)


def test_a_bent_wall_is_as_long_as_its_skin_and_scored_where_it_bends() -> None:
    result, cut = made(ROUND)
    walls = [part for name, part in cut.parts.items() if "wall" in name]
    assert len(walls) == 1 and not walls[0].stopped and walls[0].joinery.face == "inside"
    skin = result.body.plan.polygon.buffer(-0.00075, quad_segs=400)  # 1.5 mm are left
    assert walls[0].size_m[0] == pytest.approx(skin.exterior.length, rel=1e-5)
    assert walls[0].size_m[1] == pytest.approx(0.3 - 2 * BOARD)
    bends = walls[0].joinery.bends
    assert [round(math.degrees(item.cuts.angle_rad), 6) for item in bends] == [90.0] * 4
    scores = sorted(line.chain[0].start.real for line in walls[0].lines if line.operation == "score")
    assert len(scores) == sum(item.cuts.cuts for item in bends)
    wanted = [item.from_m + place for item in bends for place in item.cuts.places_m]
    assert np.allclose(scores, sorted(wanted))
    assert bends[0].cuts.depth_m == pytest.approx(0.0105)
    middle = [
        item.from_m + item.cuts.length_m / 2.0 for item in bends
    ]  # half of a long side to each seam: even all round
    assert sum(middle) / 4.0 == pytest.approx(walls[0].size_m[0] / 2.0)


def test_a_long_bent_wall_is_parted_in_its_straight_runs() -> None:
    _, cut = made(ROUND.replace("[0.5, 0.4]", "[1.1, 0.9]"))
    walls = [part for name, part in cut.parts.items() if "wall" in name]
    assert len(walls) == 2 and all(part.size_m[0] < 2.5 and not part.stopped for part in walls)


def test_a_corner_between_straight_runs_is_joined() -> None:
    outline = (
        "outline = [{at_m = [0, 0], fillet_m = 0}, {at_m = [0.5, 0], fillet_m = 0}, [0.5, 0.4], [0, 0.4]]\n"
        'fillet_m = 0.12\nheight_m = 0.3\nconstruction = "bent"\nbend = {kerf_m = 0.003}'
    )
    result, cut = made(outline)
    walls = [part for name, part in cut.parts.items() if "wall" in name]
    assert sorted(len(part.joinery.bends) for part in walls) == [0, 2]
    straight = min(walls, key=lambda part: part.size_m[0])
    assert straight.size_m[0] == pytest.approx(0.5 - BOARD)  # through at its start, a board short at its end
    skin = result.body.plan.polygon.buffer(-0.00075, quad_segs=400).exterior.length
    assert sum(part.size_m[0] for part in walls) == pytest.approx(skin + 4 * 0.00075 - 2 * BOARD, rel=1e-5)


def test_a_radius_too_tight_is_refused_with_the_least() -> None:
    _, cut = made(ROUND.replace("fillet_m = 0.15", "fillet_m = 0.015"))
    told = [item for item in cut.findings if item.code == "workshop.bend_tight"]
    assert len(told) == 4
    assert told[0].value == 15.0 and isinstance(told[0].limit, float) and 15.0 < told[0].limit < 25.0
    walls = [part for name, part in cut.parts.items() if "wall" in name]
    assert all("workshop.bend_tight" in part.stopped for part in walls)
    _, cut = made(ROUND.replace("fillet_m = 0.15", f"fillet_m = {told[0].limit / 1e3}"))
    assert not any(item.code == "workshop.bend_tight" for item in cut.findings)


@pytest.mark.parametrize(
    ("shape", "code"),
    [
        (ROUND.replace("bend = {kerf_m = 0.003}", ""), "workshop.bend_kerf"),  # a laser cuts this sheet
        (ROUND.replace("kerf_m = 0.003", "kerf_m = 0.003, left_m = 0.007"), "workshop.bend_thin"),
    ],
)
def test_what_a_bend_lacks_is_named(shape: str, code: str) -> None:
    _, cut = made(shape)
    assert [item.code for item in cut.findings if item.severity == "stop"] == [code]
    assert all(code in part.stopped for name, part in cut.parts.items() if "wall" in name)


@pytest.mark.parametrize(
    ("outline", "code"),
    [
        ("[{at_m = [0, 0], sagitta_m = -0.05}, [0.5, 0], [0.5, 0.4], [0, 0.4]]", "enclosure.shape_bent_in"),
        ("[{at_m = [0, 0], sagitta_m = 0.05}, [0.5, 0], [0.5, 0.4], [0, 0.4]]", "enclosure.shape_bent_corner"),
    ],
)
def test_arcs_that_a_bent_wall_cannot_follow_are_named(outline: str, code: str) -> None:
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}outline = {outline}\nheight_m = 0.3\nconstruction = "bent"\n')
    boxed = enclosure.run(build)
    assert boxed is not None and code in [item.code for item in boxed.findings]


def test_bent_walls_take_no_fingers() -> None:
    with pytest.raises(BuildError, match="bent walls meet by a butt or a rabbet"):
        made(f'{ROUND}\njoint = "finger"')


# --- bevels, braces, posts --------------------------------------------------------------------------------------------


def test_a_sharp_corner_says_that_a_saw_does_not_tilt_so_far() -> None:
    _, cut = made("outline = [[0, 0], [0.9, 0], [0.45, 0.78]]\nheight_m = 0.3\nspeakers_at_m = [[0.45, 0.26]]")
    assert all(round(item.tilt_deg) == 60 for n in (1, 2, 3) for item in cut.parts[f"bay, wall {n}"].joinery.bevels)
    assert sum(item.code == "workshop.bevel_steep" for item in cut.findings) == 6


def test_posts_are_discs_that_fill_the_height() -> None:
    result, cut = made("size_m = [0.5, 0.4]\nheight_m = 0.3\nposts = [{at_m = [0.08, 0.08], diameter_m = 0.05}]")
    post = cut.parts["bay, post 1"]
    high = 0.3 - 2 * BOARD
    assert post.count == 23 and post.joinery.stack_m == pytest.approx(high)
    assert post.area_m2 * high == pytest.approx(result.displaced_m3["posts"], rel=1e-9)
    assert post.count * BOARD >= high > (post.count - 1) * BOARD
    laid = sum(item.part == "bay, post 1" for sheet in cut.nesting for item in sheet.placed)
    assert laid == post.count


def test_a_brace_is_cut_from_a_sheet_of_its_thickness() -> None:
    brace = "braces = [{from_m = [0.1, 0.02], to_m = [0.1, 0.38], board_m = 0.018}]"
    shape = f"size_m = [0.5, 0.4]\nheight_m = 0.3\nspeakers_at_m = [[0.3, 0.2]]\n{brace}"
    _, cut = made(shape)
    assert cut.parts["bay, brace 1"].stopped == ("workshop.brace_sheet",)
    thick = SHEET.replace('"board"', '"thick"').replace("0.012", "0.018")
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\n{shape}\n{SHEET}{thick}')
    found = workshop.run(build, enclosure.run(build))
    assert found is not None
    part = found.parts["bay, brace 1"]
    assert part.sheet == "thick" and part.thickness_m == 0.018 and not part.stopped


def test_braces_that_stand_in_one_another_are_named() -> None:
    def told(*ends: str) -> list[str]:
        rows = ", ".join(ends)
        _, cut = made(f"size_m = [0.5, 0.4]\nheight_m = 0.3\nspeakers_at_m = [[0.35, 0.2]]\nbraces = [{rows}]")
        return [item.message for item in cut.findings if item.code == "workshop.brace_meets"]

    along = "{from_m = [0.1, 0.012], to_m = [0.1, 0.388]}"
    assert not told(along, "{from_m = [0.012, 0.2], to_m = [0.2, 0.2]}")  # half-lapped
    flat = told(along, "{from_m = [0.09, 0.1], to_m = [0.11, 0.3]}")  # crosses at 6°
    assert ["100, 200 mm in plan" in item for item in flat] == [True]
    assert told(along, "{from_m = [0.012, 0.2], to_m = [0.1, 0.2]}")  # ends in the other's middle
    assert not told(along, "{from_m = [0.012, 0.2], to_m = [0.094, 0.2]}")  # at its face


def test_the_grain_runs_round_the_box() -> None:
    grained = SHEET.replace('cutter = "laser"', 'cutter = "laser"\ngrained = true')
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\nsize_m = [0.5, 0.4]\nheight_m = 0.45\n{grained}')
    cut = workshop.run(build, enclosure.run(build))
    assert cut is not None
    turns = {item.turn_deg % 180.0 for sheet in cut.nesting for item in sheet.placed if "wall" in item.part}
    assert turns == {0.0}  # grain runs along the sheet, as walls run along x
    assert {row["grain"] for row in cut.cut_list if "wall" in row["part"]} == {"along x"}
    assert {row["grain"] for row in made("size_m = [0.5, 0.4]\nheight_m = 0.3")[1].cut_list} == {"any"}
