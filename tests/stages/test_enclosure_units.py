"""Baskets, radiators and amplifiers against the real walls: the same cylinders as trimesh solids, and gaps worked out by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import trimesh
from shapely import Polygon

from cabinwright.build.loudspeaker import Radiator
from cabinwright.build.shapes import BoxShape, Housed
from cabinwright.physics.outline import Drawn
from cabinwright.stages.enclosure.fit import housed_gaps
from cabinwright.stages.enclosure.fit_units import free_depth_m, standing_gap_m, unit_of
from cabinwright.stages.enclosure.radiators import radiators_placed
from cabinwright.stages.enclosure.shape import Body, body_of
from stages.test_enclosure_shape import BOX, codes, rectangle, solved

WEDGE = [[0.0, 0.0], [0.6, 0.0], [0.6, 0.15], [0.0, 0.4]]


def made(**more: Any) -> tuple[BoxShape, Body]:
    shape = BoxShape.model_validate({"outline": WEDGE, "height_m": 0.4, "board_m": 0.02, "baffle": 1} | more)
    return shape, body_of(shape, {}, board_m=0.02, cutter_radius_m=0.003)


def cylinder(at: complex, radius: float, depth: float, low: float = 0.02) -> Any:
    """In the wedge's first wall (along x, looking along y), from its inner face inwards."""
    solid = trimesh.creation.cylinder(radius, depth, sections=128)
    solid.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    solid.apply_translation([at.real, low + depth / 2.0, at.imag])
    return solid


def inside_of(body: Body) -> Any:
    run = body.hollow_runs[0]
    assert run.opening is not None
    points = run.opening.points(1e-5)
    room = trimesh.creation.extrude_polygon(
        Polygon(np.column_stack((points.real, points.imag))), run.high_m - run.low_m
    )
    room.apply_translation([0, 0, run.low_m])
    return room


@pytest.mark.parametrize("depth", [0.05, 0.12, 0.16, 0.22])
@pytest.mark.parametrize("x", [0.12, 0.25, 0.42])
def test_a_basket_before_a_wall_that_slants(x: float, depth: float) -> None:
    """Whether all of it is inside, and how near it comes, by trimesh: the cylinder's mesh against the room's facets."""
    shape, body = made()
    gap = standing_gap_m(shape, body, complex(x, 0.2), 0.09, depth)
    solid = cylinder(complex(x, 0.2), 0.09, depth)
    points = solid.vertices[solid.vertices[:, 1] > 0.021]  # not the face that sits in its own wall
    room = inside_of(body)  # convex: how far inside is told by the planes of its facets
    planes = [(normal, origin) for normal, origin in zip(room.facets_normal, room.facets_origin, strict=True)]
    reach = np.min([(origin - points) @ normal for normal, origin in planes if normal[1] > -0.9], axis=0)
    floor = 0.2 - 0.09 - 0.02  # what floor and top leave is another figure
    if gap < 0.0:
        assert reach.min() == pytest.approx(gap, abs=1e-4)
    else:
        assert reach.min() == pytest.approx(min(gap, floor), abs=1e-4)
    deepest = free_depth_m(shape, body, 0, complex(x, 0.2), 0.09)
    slope = 0.25 / 0.6
    by_hand = 0.4 - slope * (x + 0.09) - 0.02 * np.hypot(1.0, slope) - 0.02
    assert deepest == pytest.approx(by_hand, abs=1e-6)


def test_what_a_middle_ray_let_pass_is_named() -> None:
    """0.09 deep: by hand the ray from its middle is 0.117 long, and at its side, 0.09 farther on, 0.072 is left."""
    steep = [[0.0, 0.0], [0.6, 0.0], [0.6, 0.1], [0.0, 0.4]]
    text = f"outline = {steep}\nheight_m = 0.4\nboard_m = 0.018\nbaffle = 1\nspeakers_at_m = [[%s, 0.2]]\n"
    assert not {"enclosure.shape_narrow", "enclosure.shape_deep"} & codes(text % 0.25)
    assert {"enclosure.shape_narrow", "enclosure.shape_deep"} <= codes(text % 0.49)


def test_a_brace_before_a_loudspeaker_in_a_wall() -> None:
    text = f"outline = {WEDGE}\nheight_m = 0.4\nboard_m = 0.018\nbaffle = 1\nspeakers_at_m = [[0.25, 0.2]]\n"
    there = "braces = [{from_m = [0.25, 0.06], to_m = [0.25, 0.27]}]"
    beside = "braces = [{from_m = [0.45, 0.03], to_m = [0.45, 0.17]}]"
    assert "enclosure.shape_brace" in codes(text + there)
    assert "enclosure.shape_brace" not in codes(text + beside)


@pytest.mark.parametrize(("area", "count", "lost"), [(0.015, 2, 0), (0.03, 3, 0), (0.3, 1, 1), (0.04, 12, 5)])
def test_radiators_find_room_or_are_named(area: float, count: int, lost: int) -> None:
    """Every one that was placed lies inside and clear of all others, by trimesh on its own solids."""
    shape, body = made(outline=[[0, 0], [0.7, 0], [0.7, 0.5], [0, 0.5]])
    part = Radiator(mms_kg=0.2, cms_m_per_n=2e-4, sd_m2=area, count=count, xmax_m=0.015)
    basket = unit_of(shape, body, 0, 0.35 + 0.2j, 0.09, 0.1)
    placed = radiators_placed(shape, body, part, [basket], [(0.35 + 0.2j, 0.105)])
    assert (sum(row is None for row in placed) >= lost) if lost else all(row is not None for row in placed)
    cone = np.sqrt(area / np.pi)
    frame, depth = 1.2 * cone, 0.5 * cone + 0.015
    solids = [cylinder(0.35 + 0.2j, 0.09, 0.1)]
    frames = {"1": (np.array([0.0, 1.0, 0.0]), lambda a: [a.real, 0.02, a.imag]),
              "2": (np.array([-1.0, 0.0, 0.0]), lambda a: [0.68, a.real, a.imag]),
              "3": (np.array([0.0, -1.0, 0.0]), lambda a: [0.7 - a.real, 0.48, a.imag]),
              "4": (np.array([1.0, 0.0, 0.0]), lambda a: [0.02, 0.5 - a.real, a.imag]),
              "top": (np.array([0.0, 0.0, -1.0]), lambda a: [a.real, a.imag, 0.38]),
              "bottom": (np.array([0.0, 0.0, 1.0]), lambda a: [a.real, a.imag, 0.02])}  # fmt: skip
    for row in placed:
        if row is None:
            continue
        way, start = frames[row.wall]
        foot = np.array(start(row.at))
        solids.append(trimesh.creation.cylinder(frame, segment=[foot, foot + way * depth], sections=48))
    room = trimesh.creation.box(bounds=[[0.02, 0.02, 0.02], [0.68, 0.48, 0.38]])
    for n, solid in enumerate(solids):
        assert (solid.bounds[0] >= room.bounds[0] - 1e-6).all() and (solid.bounds[1] <= room.bounds[1] + 1e-6).all()
        for other in solids[:n]:
            shared = trimesh.boolean.intersection([solid, other], engine="manifold")
            assert shared.is_empty or shared.volume < 1e-9


def test_a_box_says_which_radiators_have_no_wall() -> None:
    kind = (
        BOX.replace("sealed", "passive radiator")
        + "radiator = {mms_kg = 0.2, cms_m_per_n = 2e-4, sd_m2 = %s, count = 2}\n"
    )
    text = "size_m = [0.5, 0.4]\nheight_m = 0.35\nboard_m = 0.018\n"
    assert "enclosure.shape_radiator" in codes(text, kind=kind % 0.2)
    found, findings = solved(text, kind=kind % 0.02)
    told = {item.code for item in findings}
    assert "enclosure.shape_radiator" not in told and "enclosure.radiator_uncut" in told
    assert found is not None and len(found.to_dict()["shape"]["radiators"]) == 2


def test_several_amplifiers_beside_over_and_under() -> None:
    """Gaps by hand: beside 60 mm, over 30 mm, one another 50 mm aslant as 3-4-5; the least of them, and from what."""
    _, body = made(outline=[[0, 0], [0.5, 0], [0.5, 0.4], [0, 0.4]])
    rows = [
        Housed(name="a", at_m=(0.66, 0.2), size_m=(0.2, 0.2, 0.1)),
        Housed(name="b", at_m=(0.25, 0.2), size_m=(0.2, 0.2, 0.05), low_m=0.43),
        Housed(name="c", at_m=(0.66 + 0.23, 0.2), size_m=(0.2, 0.2, 0.1), low_m=0.14),
        Housed(name="d", at_m=(0.9, 0.2), size_m=(0.1, 0.1, 0.1), low_m=0.2),
    ]
    gaps = {item.name: (gap, what) for item, gap, what in housed_gaps(rows, body)}
    assert gaps["a"][0] == pytest.approx(0.05) and "c" in gaps["a"][1]
    assert gaps["b"] == (pytest.approx(0.03), "the box")
    assert gaps["c"][0] == pytest.approx(-0.04) and "d" in gaps["c"][1]
    assert gaps["d"][0] < 0.0 and "c" in gaps["d"][1]


def test_two_amplifiers_of_one_name() -> None:
    rows = [{"name": "a", "at_m": [0.9, 0.2], "size_m": [0.2, 0.2, 0.1]}] * 2
    with pytest.raises(ValueError, match="same name"):
        made(amplifiers=rows)


def test_a_drawing_in_inches_that_was_read_as_millimetres() -> None:
    """600 × 450 mm drawn as 23.6 × 17.7 and read as millimetres: no box is left, and the cure names the unit."""
    small = rectangle(0.6 / 25.4, 0.45 / 25.4)
    result, findings = solved('file = "bay.dxf"\nheight_m = 0.2\nboard_m = 0.018', files={"bay.dxf": Drawn((small,))})
    assert result is None
    assert any("24 × 18 mm" in item.remedy and "file_units" in item.remedy for item in findings)
