"""Boxes as shapes: volumes against shapely and trimesh, openings against rectangles that anybody can place, faults named."""

from __future__ import annotations

from math import hypot, pi
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from cabinwright.build.codec import parse
from cabinwright.build.shapes import BoxShape
from cabinwright.errors import BuildError
from cabinwright.findings import Finding
from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.solid import Mesh
from cabinwright.stages import enclosure
from cabinwright.stages.enclosure.fit import largest, passage
from cabinwright.stages.enclosure.result import BoxResult
from cabinwright.stages.enclosure.shape import body_of

MODEL = """schema = 1
title = "invented"
[vehicle]
name = "invented"
driving_side = "left"
[[speaker_models]]
name = "invented 8 inch"
fs_hz = 35.0
qes = 0.5
qms = 5.0
vas_m3 = 0.02
re_ohm = 3.4
sd_m2 = 0.022
xmax_m = 0.010
pe_w = 300
cut_out_m = 0.18
mounting_circle_m = 0.196
screws = 6
outer_diameter_m = 0.21
depth_m = 0.09
displacement_m3 = 0.001
mass_kg = 3.0
"""
BOX = '[[boxes]]\nname = "bay"\nmodel = "invented 8 inch"\nkind = "sealed"\npower_w = 50\n'
STIFF = "stiff_above_hz = 10\n"  # no word on ribs


def solved(
    shape: str, *, kind: str = BOX, files: dict[str, Any] | None = None
) -> tuple[BoxResult | None, tuple[Finding, ...]]:
    result = enclosure.run(parse(f"{MODEL}{kind}[boxes.shape]\n{STIFF}{shape}"), drawn=files)
    assert result is not None
    return result.boxes.get("bay"), result.findings


def codes(shape: str, *, kind: str = BOX, files: dict[str, Any] | None = None) -> set[str]:
    return {item.code for item in solved(shape, kind=kind, files=files)[1]}


def rectangle(width: float, height: float) -> Contour:
    return Contour(
        from_corners([Corner(0), Corner(width), Corner(width + 1j * height), Corner(1j * height)], fillet_m=0.0)
    )


def test_flat_walls_by_hand() -> None:
    """0.5 × 0.4 × 0.3 outside of 18 mm board."""
    found, _ = solved("size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018")
    assert found is not None and found.shape is not None
    assert found.net_volume_m3 == pytest.approx(0.464 * 0.364 * 0.264 - 0.001, rel=1e-9)
    assert found.shape.material_volume_m3 == pytest.approx(
        0.5 * 0.4 * 0.3 - 0.464 * 0.364 * 0.264 - pi / 4 * 0.18**2 * 0.018, rel=1e-9
    )
    assert found.shape.clearances_m["behind_m"] == pytest.approx(0.264 - 0.09)
    assert found.shape.clearances_m["rim_m"] == pytest.approx(0.2 - 0.105, abs=1e-3)


def test_an_l_against_shapely_and_the_reference() -> None:
    """F.vol.L_prism of the reference values: 101.4 L outside."""
    corners = [(0, 0), (0.7, 0), (0.7, 0.18), (0.32, 0.18), (0.32, 0.42), (0, 0.42)]
    found, _ = solved(
        f"outline = {[list(at) for at in corners]}\nheight_m = 0.5\nboard_m = 0.012\nspeakers_at_m = [[0.16, 0.25]]"
    )
    assert found is not None and found.shape is not None
    assert found.shape.body.outer_volume_m3 == pytest.approx(0.1014, rel=1e-9)
    inside = Polygon(corners).buffer(-0.012, join_style="mitre", mitre_limit=10).area * (0.5 - 0.024)
    assert found.shape.body.inside_volume_m3 == pytest.approx(inside, rel=1e-9)


def test_rings_keep_arcs_exactly_and_the_solid_agrees() -> None:
    found, _ = solved("diameter_m = 0.5\noffset_m = 0.01\nheight_m = 0.25\nboard_m = 0.02\ndouble_baffle = true")
    assert found is not None and found.shape is not None
    shape = found.shape
    assert [(run.role, run.count) for run in shape.body.runs] == [("bottom", 1), ("ring", 9), ("top", 2)]
    assert shape.body.height_m == pytest.approx(0.24)  # whole boards only
    assert shape.body.inside_volume_m3 == pytest.approx(pi / 4 * 0.44**2 * 0.18, rel=1e-9)
    solid = trimesh.Trimesh(shape.mesh.vertices, shape.mesh.faces, process=False)
    assert solid.is_watertight
    assert solid.volume == pytest.approx(shape.material_volume_m3, rel=1e-3)
    assert solid.volume != pytest.approx(1.003 * shape.material_volume_m3, rel=1e-3)


def test_levels_keep_a_ring_of_wood_everywhere() -> None:
    """Where the box widens, the first wider layer is a ledge: its opening is the narrower one's."""
    text = "diameter_m = 0.5\nboard_m = 0.02\nlevels = [{height_m = 0.1, inset_m = 0.05}, {height_m = 0.1}]"
    found, _ = solved(text)
    assert found is not None and found.shape is not None
    rows = [
        (run.count, run.outline.bounds[2] * 2, run.opening.bounds[2] * 2)
        for run in found.shape.body.hollow_runs
        if run.opening
    ]
    assert [count for count, _, _ in rows] == [4, 1, 3]
    assert np.array([row[1:] for row in rows]) == pytest.approx(np.array([[0.4, 0.36], [0.5, 0.36], [0.5, 0.46]]))
    assert found.shape.mesh.open_edges == 0


@settings(max_examples=30, deadline=None)
@given(
    radius=st.floats(0.12, 0.4),
    sagitta=st.floats(0.0, 0.1),
    wide=st.floats(0.3, 0.9),
    gap=st.floats(0.0, 0.01),
)
def test_any_outline_against_a_fine_polygon(radius: float, sagitta: float, wide: float, gap: float) -> None:
    shape = BoxShape.model_validate(
        {
            "outline": [[0, 0], {"at_m": [wide, 0], "sagitta_m": sagitta}, {"at_m": [wide, radius]}, [0, radius]],
            "fillet_m": 0.03,
            "offset_m": gap,
            "height_m": 0.2,
            "construction": "stacked",
        }
    )
    body = body_of(shape, {}, board_m=0.01, cutter_radius_m=0.003)
    polygon = body.runs[0].outline.as_polygon(1e-6)
    assert body.outer_volume_m3 == pytest.approx(polygon.area * body.height_m, rel=1e-4)
    ring = body.hollow_runs[0]
    assert ring.opening is not None
    far = ring.outline.distance_m(ring.opening.points(1e-4))
    assert far.min() == pytest.approx(0.01, abs=1e-5)


def test_a_vented_box_finds_port_and_volume_together() -> None:
    kind = BOX.replace("sealed", "vented") + "tuning_hz = 40\nport = {diameter_m = 0.06}\n"
    found, _ = solved("size_m = [0.6, 0.4]\nheight_m = 0.4\nboard_m = 0.018", kind=kind)
    assert found is not None and found.shape is not None and found.port is not None
    tube = pi / 4 * 0.066**2 * (found.port.length_m - 0.018)
    assert found.shape.displaced_m3["port"] == pytest.approx(tube, rel=1e-6)
    assert found.net_volume_m3 == pytest.approx(0.564 * 0.364 * 0.364 - 0.001 - tube, rel=1e-6)
    assert len(found.shape.ports) == 1 and not found.shape.stopped


def hollow(rounded: float = 0.0) -> Mesh:
    body = trimesh.creation.cone(radius=0.45, height=1.2, sections=64)  # wide below: turned over it is a funnel
    body.apply_transform(trimesh.transformations.rotation_matrix(pi, [1, 0, 0]))
    body = body.slice_plane([0, 0, -0.9 + rounded], [0, 0, 1], cap=True)
    return Mesh(np.asarray(body.vertices), np.asarray(body.faces, dtype=np.int64))


def test_rings_in_a_scanned_funnel() -> None:
    """A cone that widens upwards: every layer lies in it with its gap, and widens upwards as well."""
    scan = hollow()
    text = 'file = "bay.stl"\nfile_units = "m"\noffset_m = 0.01\nheight_m = 0.4\nboard_m = 0.018\nwall_m = 0.025'
    found, findings = solved(text, files={"bay.stl": scan})
    assert found is not None and found.shape is not None, findings
    runs = found.shape.body.runs
    radii = [run.outline.bounds[2] for run in runs]
    assert radii == sorted(radii) and radii[-1] > radii[0]
    low = float(scan.bounds[0][2])
    across, heights = np.hypot(*found.shape.mesh.vertices[:, :2].T), found.shape.mesh.vertices[:, 2]
    tops = np.array([run.high_m for run in runs])
    assert found.shape.mesh.open_edges == 0
    rooms = [  # how much narrower than the cone (its 64 sides at their nearest) it is at its tightest, at any height
        float(np.min(0.45 * (1.0 + (heights + lift) / 1.2) * np.cos(pi / 64) - across))
        for lift in np.arange(low + 0.01, -tops[-1] + 0.05, 0.001)
    ]
    assert max(rooms) >= 0.009
    tightest = next(room for room in rooms if room >= 0.009)
    assert tightest < 0.02  # and no room is given away
    assert tops[-1] <= 0.4 + 1e-9


def test_faults_of_files_are_named() -> None:
    scan = hollow()
    text = 'file = "bay.stl"\nfile_units = "m"\nheight_m = 0.4\nboard_m = 0.018'
    torn = Mesh(scan.vertices, scan.faces[3:])
    assert "enclosure.shape_not_tight" in codes(text, files={"bay.stl": torn})
    assert "enclosure.shape_file" in codes(text, files={"bay.stl": "bay.stl: larger than 20 MB."})
    assert "enclosure.shape_file" in codes(text)


@pytest.mark.parametrize(
    ("shape", "code"),
    [
        ("outline = [[0, 0], [0.5, 0.4], [0.5, 0], [0, 0.4]]\nheight_m = 0.3", "enclosure.shape_outline"),
        ("size_m = [0.2, 0.2]\nheight_m = 0.3", "enclosure.shape_narrow"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.1", "enclosure.shape_deep"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.14", "enclosure.shape_vent"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.03", "enclosure.shape_flat"),
        ("size_m = [0.1, 0.1]\nheight_m = 0.1", "enclosure.shape_no_air"),
        ("size_m = [0.03, 0.4]\nheight_m = 0.3", "enclosure.shape_outline"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.3\ncover_gap_m = 0.008", "enclosure.shape_cover"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.3\nspeakers_at_m = [[0.1, 0.2]]", "enclosure.shape_rim"),
        (
            "size_m = [0.5, 0.4]\nheight_m = 0.3\nbraces = [{from_m = [0.02, 0.2], to_m = [0.48, 0.2]}]",
            "enclosure.shape_brace",
        ),
        (
            "size_m = [0.5, 0.4]\nheight_m = 0.3\nposts = [{at_m = [0.7, 0.2], diameter_m = 0.03}]",
            "enclosure.shape_brace_out",
        ),
        ("size_m = [0.5, 0.4]\nheight_m = 0.3\nbaffle = 5", "enclosure.shape_wall"),
        ('diameter_m = 0.5\nheight_m = 0.3\nconstruction = "panels"', "enclosure.shape_bent"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.3\nopening = {size_m = [0.45, 0.28]}", "enclosure.shape_opening"),
        ("size_m = [0.5, 0.4]\nheight_m = 0.3\nstiff_above_hz = 900", "enclosure.shape_soft"),
        (
            'size_m = [0.5, 0.4]\nheight_m = 0.3\namplifiers = [{name = "a", at_m = [0.61, 0.2], size_m = [0.2, 0.2, 0.1]}]',
            "enclosure.shape_amplifier",
        ),
        (
            'size_m = [0.5, 0.4]\nheight_m = 0.3\namplifiers = [{name = "a", at_m = [0.55, 0.2], size_m = [0.2, 0.2, 0.1]}]',
            "enclosure.shape_amplifier_meets",
        ),
    ],
)
def test_what_cannot_be_built_is_named(shape: str, code: str) -> None:
    shape = shape if "stiff" in shape else STIFF + shape
    result = enclosure.run(parse(f"{MODEL}{BOX}[boxes.shape]\nboard_m = 0.018\n{shape}"))
    assert result is not None
    assert code in {item.code for item in result.findings}
    bay = result.boxes.get("bay")
    stops = {item.code for item in result.findings if item.severity == "stop"}
    assert (not stops) or bay is None or set(bay.shape.stopped if bay.shape else ()) == stops


def test_a_sound_box_has_nothing_to_remark() -> None:
    assert codes("size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018\nopening = {size_m = [0.6, 0.5]}") == set()


def test_a_port_longer_than_the_box() -> None:
    kind = BOX.replace("sealed", "vented") + "tuning_hz = 18\nport = {diameter_m = 0.09}\n"
    assert "enclosure.shape_port" in codes("size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018", kind=kind)


def test_a_stated_volume_that_differs() -> None:
    kind = BOX + "volume_m3 = 0.03\n"
    found, findings = solved("size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018", kind=kind)
    assert "enclosure.shape_volume" in {item.code for item in findings}
    assert found is not None and found.net_volume_m3 == 0.03
    assert found.shape is not None and found.shape.net_volume_m3 == pytest.approx(0.0436, abs=1e-4)


def test_an_stl_says_its_unit() -> None:
    with pytest.raises(BuildError, match="an STL does not say its unit"):
        parse(f'{MODEL}{BOX}[boxes.shape]\nfile = "a.stl"\nheight_m = 0.3')


def test_a_sheet_that_is_not_there() -> None:
    with pytest.raises(BuildError, match="no sheet has this name"):
        parse(f'{MODEL}{BOX}[boxes.shape]\nsize_m = [0.5, 0.4]\nheight_m = 0.3\nsheet = "nothing"')


@pytest.mark.parametrize(
    ("gate", "margin"),
    [((0.6, 0.5), 0.05), ((0.6, 0.23), 0.015), ((0.45, 0.21), 0.005), ((0.39, 0.19), -0.005 * 2**0.5)],
)
def test_a_brick_through_a_rectangle(gate: tuple[float, float], margin: float) -> None:
    """0.5 × 0.4 × 0.2: its best face against the opening, by hand; what is missing is missing at the corners."""
    found = passage(rectangle(0.5, 0.4), 0.2, rectangle(*gate))
    assert found.margin_m == pytest.approx(margin, abs=1e-4)


def test_a_disc_through_a_round_hole_and_through_a_slit() -> None:
    assert passage(circle(0, 0.5), 0.1, circle(2, 0.52)).margin_m == pytest.approx(0.01, abs=5e-4)
    edgewise = passage(circle(0, 0.5), 0.1, rectangle(0.52, 0.12))
    assert edgewise.margin_m == pytest.approx(0.01, abs=5e-4)
    assert edgewise.tilt_deg == pytest.approx(90.0, abs=1.0)


def test_a_turn_in_the_opening() -> None:
    """A slat goes through a square slanting: half diagonal against half length and half width."""
    found = passage(rectangle(0.62, 0.02), 0.01, rectangle(0.5, 0.5))
    assert found.fits
    assert hypot(0.5, 0.5) > 0.62
    assert not passage(rectangle(0.75, 0.75), 0.3, rectangle(0.5, 0.5)).fits


def test_re_entrant_openings() -> None:
    corners = [Corner(0), Corner(1), Corner(1 + 0.3j), Corner(0.3 + 0.3j), Corner(0.3 + 1j), Corner(1j)]
    gate = Contour(from_corners(corners, fillet_m=0.0))
    assert passage(rectangle(0.5, 0.4), 0.2, gate).fits
    assert not passage(rectangle(0.5, 0.4), 0.35, gate).fits


def test_a_box_as_large_as_the_hull_of_a_notched_opening_is_refused() -> None:
    corners = (0j, 0.2 + 0j, 0.2 + 0.3j, 0.3 + 0.3j, 0.3 + 0j, 0.5 + 0j, 0.5 + 0.4j, 0.4j)
    gate = Contour(from_corners([Corner(corner) for corner in corners], fillet_m=0.0))
    for off in (0.0, 5e-6, 0.01):
        assert not passage(rectangle(0.5 - off, 0.4 - off), 0.6, gate).fits
    assert passage(rectangle(0.15, 0.2), 0.6, gate).fits


def test_the_largest_that_passes() -> None:
    """0.5 × 0.4 × 0.35 through 0.45 × 0.3: on edge 0.4 × 0.3 at best, so lower to 0.3; all round 50 mm off makes 0.4 × 0.3."""
    found = largest(rectangle(0.5, 0.4), 0.35, rectangle(0.45, 0.3), gap_m=0.0)
    assert found["height_m"] == pytest.approx(0.3, abs=0.002)
    assert found["inset_m"] == pytest.approx(0.05, abs=0.002)
    assert not passage(rectangle(0.42, 0.32), 0.35, rectangle(0.45, 0.3)).fits


@pytest.mark.parametrize("seed", range(6))
def test_what_is_said_to_pass_lies_in_the_opening(seed: int) -> None:
    """By shapely, in the attitude that is told: openings of any corners, their edges between whole degrees."""
    from cabinwright.stages.enclosure.fit import shadow

    rng = np.random.default_rng(seed)
    corners = np.sort(rng.uniform(0.0, 2.0 * np.pi, 4 + seed % 3))
    points = 0.4 * np.exp(1j * corners) * rng.uniform(0.8, 1.0, len(corners))
    gate = Contour(from_corners([Corner(complex(point)) for point in points], fillet_m=0.0))
    body, height = np.asarray(box(0, 0, 0.5, 0.3).exterior.coords)[:-1], 0.15
    for scale in (0.5, 0.7, 0.85, 1.0):
        found = passage(rectangle(0.5 * scale, 0.3 * scale), height * scale, gate)
        seen = shadow(body * scale, height * scale, axis_deg=found.axis_deg, tilt_deg=found.tilt_deg)
        turn = np.exp(1j * np.radians(found.turn_deg))
        placed = (seen[:, 0] + 1j * seen[:, 1]) * turn + complex(*found.shift_m)
        hull = Polygon(trimesh.convex.hull_points(np.column_stack((placed.real, placed.imag)))).convex_hull
        inside = gate.as_polygon(1e-4).buffer(1e-7).covers(hull)
        assert found.fits == inside
        whole = gate.as_polygon(1e-4)
        if found.fits and whole.convex_hull.area < whole.area + 1e-6:  # else any place is taken, without a margin
            assert hull.distance(gate.as_polygon(1e-4).exterior) == pytest.approx(found.margin_m, abs=2e-5)


def test_a_gate_that_stands_between_whole_degrees() -> None:
    """A box 2 mm larger than a slot, however the slot is turned; between whole degrees no direction looks square at it."""
    for degrees in (0.0, 10.5, 33.3):
        turn = np.exp(1j * np.radians(degrees))
        gate = Contour(
            from_corners([Corner(corner * turn) for corner in (0j, 0.9 + 0j, 0.9 + 0.05j, 0.05j)], fillet_m=0.0)
        )
        assert not passage(rectangle(0.8, 0.052), 0.3, gate).fits
        assert passage(rectangle(0.6, 0.02), 0.3, gate).fits


def test_shadows_against_trimesh() -> None:
    """The shadow of a tilted brick, by projecting a turned mesh."""
    from cabinwright.stages.enclosure.fit import shadow

    body = trimesh.creation.box([0.5, 0.4, 0.2])
    body.apply_translation([0.25, 0.2, 0.1])
    body.apply_transform(trimesh.transformations.rotation_matrix(-np.radians(30.0), [1, 0, 0]))
    outside = trimesh.path.polygons.projected(body, normal=[0, 0, 1])
    corners = np.asarray(box(0, 0, 0.5, 0.4).exterior.coords)[:-1]
    ours = Polygon(trimesh.convex.hull_points(shadow(corners, 0.2, axis_deg=0.0, tilt_deg=30.0)))
    assert ours.convex_hull.area == pytest.approx(outside.area, rel=1e-6)
