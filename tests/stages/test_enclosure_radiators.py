"""Passive radiators that are cut: solids against trimesh's own, holes traced in the DXF, what they meet against trimesh."""

from __future__ import annotations

import io
import json
from typing import Any

import numpy as np
import pytest
import trimesh
from ezdxf import recover
from ezdxf.path import make_path
from pydantic import ValidationError
from shapely import Point, Polygon

from cabinwright.build.codec import parse
from cabinwright.build.loudspeaker import Radiator, SpeakerModel
from cabinwright.errors import BuildError
from cabinwright.findings import Finding
from cabinwright.handover.documents import plan_documents
from cabinwright.pipeline import Results
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.enclosure.radiators import radiators_placed, stands
from cabinwright.stages.enclosure.shape_result import ShapeResult
from stages.test_box_panels import SHEET, material_m3
from stages.test_enclosure_shape import BOX, MODEL, STIFF
from stages.test_enclosure_units import made as body_made

KIND = BOX.replace("sealed", "passive radiator")
BARE = "mms_kg = 0.2, cms_m_per_n = 2e-4, sd_m2 = 0.02, count = 2, xmax_m = 0.012"
CUT = (
    f"{BARE}, cut_out_m = 0.17, mounting_circle_m = 0.19, screws = 6, outer_diameter_m = 0.205, depth_m = 0.06, "
    "displacement_m3 = 0.0005, mass_kg = 1.1"
)
ROOM = "size_m = [0.6, 0.5]\nheight_m = 0.4\nboard_m = 0.012\n"
SPREAD = 'radiators_at = [{wall = "bottom", at_m = [0.2, 0.25]}, {wall = 2, at_m = [0.25, 0.2]}]\n'


def solved(shape: str, radiator: str = CUT) -> tuple[ShapeResult, tuple[Finding, ...]]:
    result = enclosure.run(parse(f"{MODEL}{KIND}radiator = {{{radiator}}}\n[boxes.shape]\n{STIFF}{shape}"))
    assert result is not None
    found = result.boxes["bay"].shape
    assert found is not None
    return found, result.findings


def told(findings: tuple[Finding, ...], code: str) -> list[str]:
    return [item.message for item in findings if item.code == code]


def block(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> Any:
    return trimesh.creation.box(bounds=[[x0, y0, z0], [x1, y1, z1]])


def rod(start: Any, end: Any, radius: float) -> Any:
    return trimesh.creation.cylinder(radius, segment=[np.array(start), np.array(end)], sections=720)


@pytest.mark.parametrize("double", [False, True])
def test_the_solid_has_their_holes_and_the_air_is_less_by_what_they_take(double: bool) -> None:
    """Loudspeaker and one radiator in the second wall (x = 0.6), where a second board may lie; the other in the floor."""
    more = f"baffle = 2\ndouble_baffle = {str(double).lower()}\nspeakers_at_m = [[0.12, 0.2]]\n"
    places = 'radiators_at = [{wall = "bottom", at_m = [0.2, 0.25]}, {wall = 2, at_m = [0.36, 0.2]}]\n'
    found, findings = solved(ROOM + more + places)
    assert not [item for item in findings if item.severity == "stop"]
    deep = 0.024 if double else 0.012
    inside = block(0.012, 0.012, 0.012, 0.6 - deep, 0.488, 0.388)
    bored = (deep - 0.012) * np.pi * (0.09**2 + 0.085**2)  # the second board's holes are air
    assert found.net_volume_m3 == pytest.approx(inside.volume + bored - 0.001 - 2 * 0.0005, rel=1e-6)
    assert found.displaced_m3["radiators"] == pytest.approx(0.001)
    wood = trimesh.boolean.difference([block(0, 0, 0, 0.6, 0.5, 0.4), inside], engine="manifold")
    holes = [
        rod([0.2, 0.25, -0.01], [0.2, 0.25, 0.05], 0.085),
        rod([0.56, 0.12, 0.2], [0.61, 0.12, 0.2], 0.09),
        rod([0.56, 0.36, 0.2], [0.61, 0.36, 0.2], 0.085),
    ]
    wood = trimesh.boolean.difference([wood, *holes], engine="manifold")
    made = trimesh.Trimesh(found.mesh.vertices, found.mesh.faces, process=False)
    assert made.is_watertight
    assert made.volume == pytest.approx(wood.volume, rel=1e-4)
    assert found.material_volume_m3 == pytest.approx(wood.volume, rel=1e-4)
    assert wood.volume != pytest.approx(wood.volume + 0.012 * np.pi * 0.085**2, rel=1e-4)  # a hole less would show
    apart = trimesh.boolean.difference([made, wood], engine="manifold")
    assert apart.is_empty or apart.volume < 2e-6
    air = trimesh.Trimesh(found.air.vertices, found.air.faces, process=False)
    assert air.volume == pytest.approx(found.net_volume_m3 + 0.001 + 0.001, rel=1e-4)


@pytest.mark.parametrize("joint", ["butt", "rabbet", "dowel"])
def test_the_hole_is_in_the_file_that_a_machine_follows(joint: str) -> None:
    """Traced with ezdxf: a closed contour of that diameter in the floor and in the wall, with its pilot holes round it."""
    shape = f'sheet = "board"\njoint = "{joint}"\n{ROOM}{SPREAD}'
    build = parse(f"{MODEL}{KIND}radiator = {{{CUT}}}\n[boxes.shape]\n{STIFF}{shape}{SHEET}")
    boxed = enclosure.run(build)
    assert boxed is not None
    cut = workshop.run(build, boxed)
    assert cut is not None and not any(part.stopped for part in cut.parts.values())
    if joint == "butt":
        result = boxed.boxes["bay"].shape
        assert result is not None and material_m3(cut) == pytest.approx(result.material_volume_m3, rel=1e-9)
    files = plan_documents(build, Results(enclosure=boxed, workshop=cut))
    for name in ("floor", "wall-2"):
        text = files[f"workshop/bay-{name}.dxf"]
        assert isinstance(text, str)
        document, auditor = recover.read(io.BytesIO(text.encode()))
        assert not auditor.has_errors
        holes, pilots = [], []
        for item in document.modelspace():
            if item.dxftype() == "CIRCLE":
                at, across = Point(item.dxf.center.x, item.dxf.center.y), 2.0 * item.dxf.radius
                if across == pytest.approx(3.0, abs=1e-3):
                    pilots.append(at)
                elif 165.0 < across < 175.0:
                    holes.append(at.buffer(across / 2.0, quad_segs=256))
            elif item.dxftype() in ("LWPOLYLINE", "POLYLINE") and make_path(item).is_closed:
                ring = Polygon([(p.x, p.y) for p in make_path(item).flattening(0.01)])
                if ring.area == pytest.approx(np.pi * 85.0**2, rel=0.03):
                    holes.append(ring)
        assert len(holes) == 1
        hole = holes[0]
        # the laser's kerf may be taken off: at most half of it all round
        assert hole.area == pytest.approx(np.pi * 85.0**2, rel=5e-3)
        assert hole.area != pytest.approx(np.pi * 86.0**2, rel=5e-3)
        near = [at.distance(hole.centroid) for at in pilots if at.distance(hole.centroid) < 110.0]
        assert near == pytest.approx([95.0] * 6, abs=0.01)
    floor = cut.parts["bay, floor"].openings
    assert [(item.polygon.centroid.x, item.polygon.centroid.y) for item in floor] == [
        pytest.approx((0.2, 0.25), abs=1e-4)
    ]
    assert "bottom, at 200" in str(files["enclosure.html"]) and "wall 2, at 250" in str(files["enclosure.html"])
    plan = json.loads(files["plan.json"])["enclosure"]["boxes"]["bay"]["shape"]
    assert [(row["wall"], row["cut_out_m"]) for row in plan["radiators"]] == [("bottom", 0.17), ("2", 0.17)]


def test_they_weigh_and_a_fixing_holds_them() -> None:
    fixing = '[[fixings]]\nname = "bolts"\nholds = ["bay"]\nbody_m = [0.6, 0.5, 0.4]\n'
    shape = f'sheet = "board"\n{ROOM}'
    tables = f"{STIFF}{shape}{SHEET}{fixing}"
    weights = []
    for count in (1, 2):
        part = CUT.replace("count = 2", f"count = {count}")
        build = parse(f"{MODEL}{KIND}radiator = {{{part}}}\n[boxes.shape]\n{tables}")
        cut = workshop.run(build, enclosure.run(build))
        assert cut is not None and cut.mass is not None
        rows = {row.name: row.mass_kg for row in cut.mass.rows}
        assert rows["bay, passive radiators"] == pytest.approx(1.1 * count)
        weights.append(cut.fixings["bolts"].mass_kg - (rows["bay"] or 0.0))
    assert weights == pytest.approx([1.1, 2.2])


SOLIDS = {
    "loudspeaker 1": lambda: rod([0.3, 0.25, 0.388], [0.3, 0.25, 0.298], 0.09),
    "brace 1": lambda: block(0.450, 0.10, 0.012, 0.462, 0.40, 0.388),
    "post 1": lambda: rod([0.1, 0.1, 0.012], [0.1, 0.1, 0.388], 0.02),
}
STANDING = "speakers_at_m = [[0.3, 0.25]]\nbraces = [{from_m = [0.456, 0.1], to_m = [0.456, 0.4], open_share = 0}]\n"
STANDING += "posts = [{at_m = [0.1, 0.1], diameter_m = 0.04}]\n"


@pytest.mark.parametrize("wall", [1, 2, 3, 4])
@pytest.mark.parametrize("at", [(0.12, 0.3), (0.2, 0.28), (0.25, 0.12), (0.31, 0.286)])
def test_what_stands_behind_a_wall_is_met_where_trimesh_says_so(wall: int, at: tuple[float, float]) -> None:
    place = f"radiators_at = [{{wall = {wall}, at_m = [{at[0]}, {at[1]}]}}]\n"
    deep = CUT.replace("count = 2", "count = 1").replace("depth_m = 0.06", "depth_m = 0.13")
    _, findings = solved(ROOM + STANDING + place, deep)
    start, way = {
        1: ([at[0], 0.012, at[1]], [0, 1, 0]),
        2: ([0.588, at[0], at[1]], [-1, 0, 0]),
        3: ([0.6 - at[0], 0.488, at[1]], [0, -1, 0]),
        4: ([0.012, 0.5 - at[0], at[1]], [1, 0, 0]),
    }[wall]
    own = rod(start, np.array(start) + 0.142 * np.array(way), 0.085)
    meets = set()
    for name, solid in SOLIDS.items():
        shared = trimesh.boolean.intersection([own, solid()], engine="manifold")
        if not shared.is_empty and shared.volume > 1e-8:
            meets.add(name)
    said = told(findings, "enclosure.radiator_meets")
    assert {name for name in SOLIDS if any(f"it meets {name}" in line for line in said)} == meets


@pytest.mark.parametrize(
    ("place", "more", "what"),
    [
        ('wall = "bottom", at_m = [0.3, 0.25]', "", ""),
        ('wall = "bottom", at_m = [0.095, 0.25]', "", "the walls beside it by 2.0 mm"),
        ('wall = "bottom", at_m = [0.1, 0.25]', "", "the edge of its wall by 2.5 mm"),
        ('wall = "bottom", at_m = [0.3, 0.25]', "depth_m = 0.37", "what lies across from it by 6.0 mm"),
        ("at_m = [0.48, 0.25]", "", "loudspeaker 1 by 27.5 mm"),
        ("at_m = [0.48, 0.25]", "outer_diameter_m = 0.172, mounting_circle_m = 0.171", "loudspeaker 1 by 11.0 mm"),
    ],
)
def test_gaps_by_hand(place: str, more: str, what: str) -> None:
    """A hole of 170 mm and a frame of 205 in 12 mm board; the loudspeaker's frame of 210 in the middle of the top."""
    part = CUT.replace("count = 2", "count = 1")
    for pair in more.split(", ") if more else ():
        key = pair.split(" = ")[0]
        part = ", ".join(pair if item.startswith(f"{key} ") else item for item in part.split(", "))
    found, findings = solved(f"{ROOM}speakers_at_m = [[0.3, 0.25]]\nradiators_at = [{{{place}}}]\n", part)
    said = told(findings, "enclosure.radiator_meets")
    assert any(what in line for line in said) if what else not said
    assert ("enclosure.radiator_meets" in found.stopped) == bool(what)


def test_the_cover_is_met_by_one_beside_the_loudspeaker() -> None:
    text = "size_m = [0.8, 0.5]\nheight_m = 0.4\nboard_m = 0.012\nspeakers_at_m = [[0.2, 0.25]]\n"
    for where, meets in (("at_m = [0.5, 0.25]", True), ('wall = "bottom", at_m = [0.5, 0.25]', False)):
        _, findings = solved(f"{text}cover_gap_m = 0.0115\nradiators_at = [{{{where}}}]\n", CUT.replace("= 2,", "= 1,"))
        assert any("the cover by 0.5 mm" in line for line in told(findings, "enclosure.radiator_meets")) == meets


def test_two_in_one_place_are_told_once() -> None:
    place = '{wall = "bottom", at_m = [0.3, 0.25]}'
    _, findings = solved(f"{ROOM}radiators_at = [{place}, {place}]\n")
    assert [line for line in told(findings, "enclosure.radiator_meets") if "radiator 1" in line] == [
        "box “bay, radiator 2”: it meets radiator 1 by 205.0 mm"
    ]


def test_what_is_not_stated_is_said() -> None:
    """Without a cut-out no hole; a displacement is taken off all the same. With one, what was taken for the rest is named."""
    found, findings = solved(ROOM, BARE)
    assert "not taken from the net volume" in told(findings, "enclosure.radiator_uncut")[0]
    assert found.displaced_m3["radiators"] == 0.0 and not found.radiators_in("top")
    found, findings = solved(ROOM, f"{BARE}, displacement_m3 = 0.0005")
    assert "not taken" not in told(findings, "enclosure.radiator_uncut")[0]
    assert found.displaced_m3["radiators"] == pytest.approx(0.001)
    found, findings = solved(ROOM, f"{BARE}, cut_out_m = 0.17")
    assert not told(findings, "enclosure.radiator_uncut")
    assert "depth_m (half its cone's radius)" in told(findings, "enclosure.radiator_unknown")[0]
    half = 0.5 * np.pi * 0.085**2 * 0.5 * np.sqrt(0.02 / np.pi)
    assert found.displaced_m3["radiators"] == pytest.approx(2 * half)
    _, findings = solved(ROOM)
    assert not told(findings, "enclosure.radiator_unknown")


def test_one_that_finds_no_room_stops_the_files_once_its_hole_is_known() -> None:
    wide = CUT.replace("cut_out_m = 0.17", "cut_out_m = 0.45").replace("circle_m = 0.19", "circle_m = 0.47")
    found, findings = solved(ROOM, wide.replace("outer_diameter_m = 0.205", "outer_diameter_m = 0.49"))
    assert "enclosure.radiator_room" in found.stopped
    assert told(findings, "enclosure.radiator_room")[0].startswith("box “bay”: 1 of its 2")


def test_walls_are_counted_as_the_baffle_is() -> None:
    """Drawn clockwise the first side is the left one: a hole in it opens at x = 0, whichever way the sides are kept."""
    clockwise = "outline = [[0, 0], [0, 0.5], [0.6, 0.5], [0.6, 0]]\nheight_m = 0.4\nboard_m = 0.012\n"
    one = CUT.replace("count = 2", "count = 1")
    found, _ = solved(f"{clockwise}radiators_at = [{{wall = 1, at_m = [0.25, 0.2]}}]\n", one)
    made = trimesh.Trimesh(found.mesh.vertices, found.mesh.faces, process=False)
    for x, open_ in ((0.006, True), (0.594, False)):
        peg = rod([x - 0.005, 0.25, 0.2], [x + 0.005, 0.25, 0.2], 0.08)
        assert trimesh.boolean.intersection([made, peg], engine="manifold").is_empty == open_
    assert found.radiators[0] is not None and found.radiators[0].wall == "1"
    places = f'{clockwise}sheet = "board"\nradiators_at = [{{wall = 1, at_m = [0.25, 0.2]}}]\n'
    build = parse(f"{MODEL}{KIND}radiator = {{{one}}}\n[boxes.shape]\n{STIFF}{places}{SHEET}")
    cut = workshop.run(build, enclosure.run(build))
    assert cut is not None
    assert [name for name, part in cut.parts.items() if "wall" in name and part.openings] == ["bay, wall 1"]
    found, findings = solved(f"{clockwise}radiators_at = [{{wall = 5, at_m = [0.25, 0.2]}}]\n", one)
    assert "enclosure.radiator_wall" in found.stopped
    assert "no wall 5 for it (top, bottom, 1 to 4)" in told(findings, "enclosure.radiator_wall")[0]


@pytest.mark.parametrize(
    ("shape", "radiator", "says"),
    [
        ("diameter_m = 0.5\nheight_m = 0.3\nconstruction = 'stacked'\nradiators_at = [{wall = 1, at_m = [0, 0]}]",
         CUT, "radiators in the top or bottom"),
        (ROOM + "radiators_at = [{at_m = [0, 0]}, {at_m = [0, 0]}, {at_m = [0, 0]}]", CUT, "3 places for 2 passive radiators"),
        (ROOM, f"{BARE}, cut_out_m = 0.2, mounting_circle_m = 0.19", "inside the mounting circle"),
    ],
)  # fmt: skip
def test_slips_are_named(shape: str, radiator: str, says: str) -> None:
    with pytest.raises(BuildError, match=says):
        solved(shape, radiator)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ({"cut_out_m": 0.14, "outer_diameter_m": 0.10}, "falls through"),
        ({"cut_out_m": 0.14, "outer_diameter_m": 0.14}, "falls through"),
        ({"mounting_circle_m": 0.16, "outer_diameter_m": 0.15}, "screws go through the frame"),
        ({"cut_out_m": 0.14, "mounting_circle_m": 0.15, "outer_diameter_m": 0.16}, None),
        ({"mounting_circle_m": 0.15, "outer_diameter_m": 0.16}, None),
    ],
)
@pytest.mark.parametrize("part", [Radiator, SpeakerModel])
def test_a_frame_covers_its_hole_and_holds_its_screws(
    part: type[Radiator | SpeakerModel], rows: dict[str, float], says: str | None
) -> None:
    bare: dict[str, Any] = {"mms_kg": 0.2, "cms_m_per_n": 2e-4, "sd_m2": 0.006}
    bare |= rows | ({"name": "ten"} if part is SpeakerModel else {})
    if says is None:
        part.model_validate(bare)
        return
    with pytest.raises(ValidationError, match=says):
        part.model_validate(bare)


def test_chosen_places_keep_clear_of_braces_and_one_another() -> None:
    """By trimesh: cylinders share nothing with the braces, the basket, one another, and lie in the room."""
    shape, body = body_made(
        outline=[[0, 0], [0.7, 0], [0.7, 0.5], [0, 0.5]],
        baffle="top",
        braces=[{"from_m": [0.35, 0.02], "to_m": [0.35, 0.48]}, {"from_m": [0.36, 0.25], "to_m": [0.68, 0.25]}],
    )
    part = Radiator.model_validate(
        {"mms_kg": 0.2, "cms_m_per_n": 2e-4, "sd_m2": 0.012, "count": 4, "cut_out_m": 0.13, "depth_m": 0.09}
    )
    unit = stands(shape, body, _model(), [0.17 + 0.25j])
    placed = radiators_placed(shape, body, part, unit, [(0.17 + 0.25j, 0.105)])
    ways = {"top": ([0, 0, -1], 0.38), "bottom": ([0, 0, 1], 0.02)}
    solids = [
        block(0.34, 0.02, 0.02, 0.36, 0.48, 0.38),
        block(0.36, 0.24, 0.02, 0.68, 0.26, 0.38),
        rod([0.17, 0.25, 0.38], [0.17, 0.25, 0.29], 0.09),
    ]
    assert sum(row is not None for row in placed) == 4
    for row in placed:
        assert row is not None
        if row.wall in ways:
            way, high = ways[row.wall]
            start = np.array([row.at.real, row.at.imag, high])
        else:
            way, start = {
                "1": ([0, 1, 0], np.array([row.at.real, 0.02, row.at.imag])),
                "2": ([-1, 0, 0], np.array([0.68, row.at.real, row.at.imag])),
                "3": ([0, -1, 0], np.array([0.7 - row.at.real, 0.48, row.at.imag])),
                "4": ([1, 0, 0], np.array([0.02, 0.5 - row.at.real, row.at.imag])),
            }[row.wall]
        solid = rod(start, start + 0.09 * np.array(way), 0.065)
        assert (solid.bounds[0] >= 0.02 - 1e-6).all() and (
            solid.bounds[1] <= [0.68 + 1e-6, 0.48 + 1e-6, 0.38 + 1e-6]
        ).all()
        for other in solids:
            shared = trimesh.boolean.intersection([solid, other], engine="manifold")
            assert shared.is_empty or shared.volume < 1e-9
        solids.append(solid)


def _model() -> Any:
    return parse(MODEL).speaker_models[0]
