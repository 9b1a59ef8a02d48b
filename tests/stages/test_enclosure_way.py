"""Boxes let into hollows: every way is walked again with trimesh and shapely; what no box can do is named as such."""

from __future__ import annotations

from itertools import pairwise
from math import radians
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from shapely import MultiPoint, Point, Polygon, affinity, box

from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.solid import Mesh
from cabinwright.stages.enclosure.fit import hopeless, largest, passage, shadow
from cabinwright.stages.enclosure.fit_way import Hollow, Way, way_in
from stages.test_enclosure_shape import codes, rectangle, solved


def hollow(size: tuple[float, float, float], opening: Polygon, **more: Any) -> Hollow:
    x, y, high = size
    rest = {"gap_m": 0.002, "rim_m": 0.003, "headroom_m": None} | more
    return Hollow(((box(-x / 2, -y / 2, x / 2, y / 2), -0.001, high),), opening, **rest)


def brick(x: float, y: float, z: float) -> tuple[tuple[Polygon, float, float], ...]:
    return ((box(-x / 2, -y / 2, x / 2, y / 2), 0.0, z),)


def walked(way: Way, body: Any, around: Hollow) -> float:
    """Deepest that a point of the box's surface gets into a wall, on the way in steps of 2 mm. Points by trimesh, walls by
    shapely: neither slices nor manifold3d."""
    plan, low, high = body[0]
    solid = trimesh.creation.extrude_polygon(plan, high - low)
    solid.apply_translation([0, 0, low])
    rng = np.random.default_rng(7)
    points = np.concatenate([solid.vertices, trimesh.sample.sample_surface(solid, 900, seed=rng)[0]])
    u, _, z = way.middle_m
    theta = radians(way.direction_deg)
    frame = np.array([[np.cos(theta), np.sin(theta), 0], [-np.sin(theta), np.cos(theta), 0], [0, 0, 1]])
    local = points @ frame.T - (u, 0.0, z)
    top = around.top_m + around.rim_m
    deepest = 0.0
    for a, b in pairwise(way.poses):
        far = np.hypot(b[0] - a[0], b[1] - a[1]) + abs(b[2] - a[2]) * 0.35
        for part in np.linspace(0.0, 1.0, 2 + int(far / 4e-3)):
            x, up, turn = np.asarray(a) + part * (np.asarray(b) - np.asarray(a))
            c, s = np.cos(turn), np.sin(turn)
            moved = np.column_stack(
                (c * local[:, 0] - s * local[:, 2] + u + x, local[:, 1], s * local[:, 0] + c * local[:, 2] + z + up)
            )
            at = moved @ frame
            for outline, first, last in [*around.layers, (around.opening, around.top_m, top)]:
                here = at[(at[:, 2] > first) & (at[:, 2] < last)]
                if len(here):
                    deepest = max(deepest, float(shapely.distance(outline, shapely.points(here[:, :2])).max()))
            deepest = max(deepest, around.layers[0][1] - at[:, 2].min())
    assert way.poses[-1] == (0.0, 0.0, 0.0)
    assert at[:, 2].min() == pytest.approx(low, abs=1e-9)  # it stands in its place
    return deepest


@pytest.mark.parametrize(
    ("opening", "tilts"),
    [(box(-0.26, -0.2, 0.26, 0.2), False), (box(-0.2, -0.2, 0.2, 0.2), True), (box(-0.3, -0.2, 0.1, 0.2), True)],
)
def test_a_brick_is_let_in(opening: Polygon, tilts: bool) -> None:
    body, around = brick(0.5, 0.3, 0.15), hollow((0.6, 0.4, 0.3), opening)
    way = way_in(body, around)
    assert way.found and (way.tilt_deg > 5.0) is tilts
    assert walked(way, body, around) < 1e-6
    assert way.clearance_m is not None and way.clearance_m > 0.0


def test_a_disc_is_tilted_in() -> None:
    body = ((Point(0, 0).buffer(0.28, quad_segs=8), 0.0, 0.2),)
    around = hollow((0.72, 0.72, 0.45), box(-0.3, -0.2, 0.3, 0.2))
    way = way_in(body, around)
    assert way.found and way.tilt_deg > 20.0
    assert walked(way, body, around) < 1e-4


def test_what_the_hollow_does_not_let_in() -> None:
    """By hand: 0.5 long, opening 0.4. Lying at 0.18 it cannot be raised at one end far enough; with 0.3 it can (above). A
    roof over the rim lower than the box is high keeps it out, whatever the opening."""
    gate = box(-0.2, -0.2, 0.2, 0.2)
    assert not way_in(brick(0.5, 0.3, 0.15), hollow((0.6, 0.4, 0.18), gate)).found
    wide = box(-0.3, -0.2, 0.3, 0.2)
    assert way_in(brick(0.5, 0.3, 0.15), hollow((0.6, 0.4, 0.18), wide, headroom_m=0.2)).found
    assert not way_in(brick(0.5, 0.3, 0.15), hollow((0.6, 0.4, 0.18), wide, headroom_m=0.14)).found


def test_the_build_says_where_the_opening_lies() -> None:
    """The same brick in a build: levels of the hollow, verdicts and findings."""
    text = "size_m = [0.52, 0.32]\noffset_m = 0.01\nconstruction = 'stacked'\nboard_m = 0.015\n"
    gate = "opening = {size_m = [0.51, 0.31], at_m = [0.005, 0.005]}\n"
    found, findings = solved(f"{text}height_m = 0.15\n{gate}")
    assert found is not None and found.shape is not None and found.shape.gate is not None, findings
    assert found.shape.gate.verdict == "fits" and found.shape.gate.way is not None
    row = found.to_dict()["shape"]["opening"]
    assert row["fits"] and row["straight"] and row["way"]["poses"][-1] == {"along_m": 0.0, "up_m": 0.0, "tilt_deg": 0.0}
    beside = "opening = {size_m = [0.51, 0.31], at_m = [0.3, 0.005]}\n"
    assert "enclosure.shape_way" in codes(f"{text}height_m = 0.15\n{beside}")


def test_a_scanned_hollow() -> None:
    """A funnel that somebody scanned, with its opening over it."""
    body = trimesh.creation.cone(radius=0.45, height=1.2, sections=16)
    body.apply_transform(trimesh.transformations.rotation_matrix(np.pi, [1, 0, 0]))
    body = body.slice_plane([0, 0, -0.9], [0, 0, 1], cap=True)
    scan = Mesh(np.asarray(body.vertices), np.asarray(body.faces, dtype=np.int64))
    text = 'file = "bay.stl"\nfile_units = "m"\noffset_m = 0.01\nheight_m = 0.25\nboard_m = 0.04\nwall_m = 0.03\n'
    found, _ = solved(f"{text}opening = {{diameter_m = 0.9, at_m = [0, 0]}}", files={"bay.stl": scan})
    assert found is not None and found.shape is not None and found.shape.gate is not None
    way = found.shape.gate.way
    assert way is not None and way.found and way.tilt_deg == 0.0  # a funnel lets go of what is lifted straight up
    assert found.shape.gate.verdict == "fits" and way.whole


@pytest.mark.parametrize(
    ("size", "gate", "what"),
    [
        ((0.5, 0.4, 0.3), rectangle(0.45, 0.28), "ball"),
        ((0.5, 0.4, 0.02), rectangle(0.3, 0.2), "width"),
        ((0.4, 0.4, 0.2), rectangle(0.36, 0.21), None),  # its diagonals are left: not found, but not ruled out
    ],
)
def test_what_no_turning_helps(size: tuple[float, float, float], gate: Contour, what: str | None) -> None:
    found = hopeless([box(0, 0, size[0], size[1])], size[2], gate)
    assert (found and found[0]) == what


@pytest.mark.parametrize("seed", range(6))
def test_what_passes_is_never_called_hopeless(seed: int) -> None:
    """Openings made as the shadow of a box that somebody tilts: it passes by construction (convex hull by shapely)."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(0.1, 0.6, 3)
    corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]])
    points = shadow(corners, size[2], axis_deg=float(rng.uniform(0, 180)), tilt_deg=float(rng.uniform(0, 90)))
    hull = MultiPoint(points).convex_hull
    hull = affinity.scale(hull, 1.001, 1.001)
    gate = Contour(
        from_corners([Corner(complex(x, y)) for x, y in list(hull.exterior.coords)[:-1]], fillet_m=0.0)
    ).counter_clockwise()
    assert hopeless([box(0, 0, size[0], size[1])], size[2], gate) is None


def test_the_largest_against_every_size_and_attitude() -> None:
    """All insets in steps of 2 mm and all attitudes in steps of 3° by brute force, placed by their bounding boxes: a rectangle is
    held by those. What the search finds is no worse, and one step more is refused by both."""
    size, high, gate = (0.42, 0.30), 0.20, (0.33, 0.19)
    tilts, axes, turns = (
        np.radians(np.arange(0, 91, 3)),
        np.radians(np.arange(0, 180, 15)),
        np.radians(np.arange(0, 180, 3)),
    )
    best = None
    for inset in np.arange(0.0, 0.15, 0.002):
        x, y = size[0] - 2 * inset, size[1] - 2 * inset
        corners = np.array([[0, 0], [x, 0], [x, y], [0, y]])
        for axis in axes:
            for tilt in tilts:
                points = shadow(corners, high, axis_deg=float(np.degrees(axis)), tilt_deg=float(np.degrees(tilt)))
                c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
                wide = np.ptp(c * points[:, 0] - s * points[:, 1], axis=1)
                tall = np.ptp(s * points[:, 0] + c * points[:, 1], axis=1)
                if bool(((wide <= gate[0]) & (tall <= gate[1])).any()):
                    best = float(inset)
                    break
            if best is not None:
                break
        if best is not None:
            break
    assert best is not None
    found = largest(rectangle(*size), high, rectangle(*gate), gap_m=0.0)
    assert best - 0.0045 <= found["inset_m"] <= best + 1e-4
    assert found["height_m"] >= gate[1] - 2e-4  # level, turned on its side: by hand
    moved = rectangle(size[0] - 2 * found["inset_m"], size[1] - 2 * found["inset_m"])
    assert passage(moved, high, rectangle(*gate)).fits


def test_a_largest_that_is_left_between_wide_steps() -> None:
    """A disc of 0.3 over a slit of 12 mm: only the last hundredth of it passes, which ten steps of 45 % never saw."""
    found = largest(circle(0j, 0.3), 0.3, rectangle(0.012, 0.5), gap_m=0.0)
    assert found["inset_m"] == pytest.approx(0.15 - 0.006, abs=5e-4)
