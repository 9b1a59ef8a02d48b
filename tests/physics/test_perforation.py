"""Hole fields: webs under Hypothesis, open area against published tables and shapely, symmetry, and what is refused."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, union_all

from cabinwright.physics.outline import Contour, Corner, circle, from_corners, slot
from cabinwright.physics.perforation import Field, Ramp, covered_m2, least_web_m, perforate

ENTRIES = tomllib.loads((Path(__file__).parents[1] / "references" / "workshop.toml").read_text(encoding="utf-8"))[
    "entry"
]
REFERENCE = {entry["id"]: entry for entry in ENTRIES}
CURVE = from_corners([Corner(0.05 + 0.05j), Corner(0.45 + 0.05j, via=0.25 + 0.1j)], fillet_m=0.2, closed=False)


def panel() -> Contour:
    corners = [Corner(0), Corner(0.5), Corner(0.5 + 0.3j), Corner(0.3j, via=0.25 + 0.36j)]
    return Contour(from_corners(corners, fillet_m=0.03))


OUTLINE, ISLAND = panel().as_polygon(1e-6), slot(CURVE, 0.006).as_polygon(1e-6)


def even(length_m: float) -> Ramp:
    return Ramp(length_m, length_m, 1.0)


def brute_web(field: Field) -> float:
    """Every pair, by another route."""
    apart = np.abs(field.centres[:, None] - field.centres[None, :])
    web = apart - (field.diameters_m[:, None] + field.diameters_m[None, :]) / 2.0
    return float(np.min(web[~np.eye(len(web), dtype=bool)]))


@settings(max_examples=60, deadline=None)
@given(
    rows=st.sampled_from(["hexagonal", "concentric"]),
    focus=st.sampled_from([0.25 + 0.15j, -0.1 + 0.4j, CURVE]),
    near=st.floats(0.001, 0.02),
    far=st.floats(0.001, 0.02),
    pitches=st.tuples(st.floats(0.008, 0.03), st.floats(0.008, 0.03)),
    web=st.floats(0.0005, 0.004),
    reach=st.floats(0.02, 0.5),
    turn=st.floats(-3.0, 3.0),
)
def test_webs_hold_whatever_is_graded(
    rows: str, focus: complex | tuple, near: float, far: float, pitches: tuple, web: float, reach: float, turn: float
) -> None:
    pitch = Ramp(pitches[0], pitches[1] if rows == "concentric" else pitches[0], reach)
    field = perforate(
        panel(),
        focus=focus,
        diameter=Ramp(near, far, reach),
        pitch=pitch,
        least_web_m=web,
        margin_m=0.005,
        rows=rows,
        turn_rad=turn,
        avoid=[slot(CURVE, 0.006)],
    )
    if len(field.centres) > 1:
        assert brute_web(field) >= web - 1e-8
        assert least_web_m(field) == pytest.approx(brute_web(field), abs=1e-12)
    holes = shapely.points(field.centres.real, field.centres.imag)
    room = field.diameters_m / 2.0 + 0.005 - 5e-6
    assert np.all(OUTLINE.exterior.distance(holes) >= room)
    assert np.all(shapely.contains(OUTLINE, holes))
    assert np.all(ISLAND.distance(holes) >= room)


def test_regular_fields_are_as_open_as_the_tables_say() -> None:
    rows = REFERENCE["F.perf.round60"]
    for (diameter, pitch), wanted in zip(rows["d_c_mm"], rows["expected"], strict=True):
        field = perforate(
            circle(0.0, 0.11 * pitch),
            focus=0j,
            diameter=even(1e-3 * diameter),
            pitch=even(1e-3 * pitch),
            least_web_m=1e-4,
            margin_m=0.0,
        )
        disc = 0.1 * pitch  # a hundred pitches: what the rim cuts off at random is some 0.2 %
        share = 100.0 * np.sum(covered_m2(field, centre=0j, diameter_m=disc)) / (math.pi / 4.0 * disc**2)
        assert share == pytest.approx(wanted, rel=4e-3)
        assert share != pytest.approx(1.02 * wanted, rel=4e-3)
    examples = REFERENCE["F.perf.TI_open"]
    for (d, b), wanted in zip(examples["d_b_in"], examples["expected"], strict=True):
        assert REFERENCE["F.perf.coeff"]["expected"] * (d / b) ** 2 == pytest.approx(wanted, abs=examples["tol_abs"])


def test_area_in_front_of_a_loudspeaker_by_shapely() -> None:
    field = perforate(
        panel(),
        focus=0.25 + 0.15j,
        diameter=Ramp(0.006, 0.002, 0.2),
        pitch=even(0.009),
        least_web_m=0.001,
        margin_m=0.004,
    )
    disc = Point(0.25, 0.15).buffer(0.05, quad_segs=2000)
    holes = [
        Point(at.real, at.imag).buffer(size / 2.0, quad_segs=64)
        for at, size in zip(field.centres, field.diameters_m, strict=True)
    ]
    wanted = union_all(holes).intersection(disc).area
    assert float(np.sum(covered_m2(field, centre=0.25 + 0.15j, diameter_m=0.1))) == pytest.approx(wanted, rel=2e-4)


def test_a_lens_of_two_circles() -> None:
    # Two unit circles a unit apart share 2π/3 − √3/2 (plane geometry).
    field = Field(np.array([1.0 + 0j, 5.0, 0.0]), np.array([2.0, 1.0, 0.5]))
    assert covered_m2(field, centre=0j, diameter_m=2.0) == pytest.approx(
        [2 * math.pi / 3 - math.sqrt(0.75), 0.0, math.pi / 16]
    )


def test_sizes_fall_with_the_distance() -> None:
    field = perforate(
        panel(),
        focus=0.25 + 0.15j,
        diameter=Ramp(0.006, 0.002, 0.2),
        pitch=even(0.009),
        least_web_m=0.001,
        margin_m=0.004,
    )
    order = np.argsort(np.abs(field.centres - (0.25 + 0.15j)))
    sizes = field.diameters_m[order]
    assert sizes[0] == pytest.approx(0.006, abs=1e-6)
    assert np.all(np.diff(sizes) <= 1e-12)
    assert sizes[-1] == pytest.approx(0.002, abs=2e-5)
    mirrored = {(round(0.5 - at.real, 6), round(at.imag, 6)) for at in field.centres}
    assert mirrored == {(round(at.real, 6), round(at.imag, 6)) for at in field.centres}


def test_what_cannot_be_is_said() -> None:
    with pytest.raises(ValueError, match="leaves no hole"):
        perforate(panel(), focus=0j, diameter=even(0.003), pitch=even(0.002), least_web_m=0.002, margin_m=0.0)
    with pytest.raises(ValueError, match="more than 60000 holes"):
        perforate(panel(), focus=0j, diameter=even(1e-4), pitch=even(5e-4), least_web_m=1e-4, margin_m=0.0)
    with pytest.raises(ValueError, match="needs concentric rows"):
        perforate(
            panel(), focus=0j, diameter=even(0.003), pitch=Ramp(0.006, 0.008, 0.1), least_web_m=0.001, margin_m=0.0
        )


def test_rows_about_a_curve_begin_on_it_and_fill_its_bend() -> None:
    """No place of the field is farther from a hole than two rows are apart, its rim aside, the bend's middle included."""
    curve = from_corners([Corner(0.05 + 0.2j), Corner(0.45 + 0.25j, via=0.26 + 0.14j)], fillet_m=0.0, closed=False)
    region = Contour(from_corners([Corner(0), Corner(0.5), Corner(0.5 + 0.4j), Corner(0.4j)], fillet_m=0.0))
    field = perforate(
        region,
        focus=curve,
        diameter=even(0.004),
        pitch=even(0.008),
        least_web_m=0.001,
        margin_m=0.005,
        rows="concentric",
    )
    x, y = np.meshgrid(np.arange(0.015, 0.486, 0.004), np.arange(0.015, 0.386, 0.004))
    places = (x + 1j * y).ravel()
    nearest = np.abs(places[:, None] - field.centres[None, :]).min(axis=1)
    assert nearest.max() < 2.0 * 0.008
    on_it = np.array([segment.distance_m(field.centres) for segment in curve]).min(axis=0) < 1e-9
    assert np.sum(on_it) > 45  # 0.44 m at 8 mm
    assert brute_web(field) >= 0.001 - 1e-9


def test_rows_whose_holes_grow_stay_whole() -> None:
    """Rows far enough apart for the larger of two neighbours: none is left out for the web, so no ring has gaps."""
    field = perforate(
        Contour(circle(0j, 0.4).segments),
        focus=0.03 + 0.02j,
        diameter=Ramp(0.0015, 0.006, 0.12),
        pitch=Ramp(0.0034, 0.0083, 0.12),
        least_web_m=0.0012,
        margin_m=0.005,
        rows="concentric",
    )
    assert field.left_out_web == 0
    assert brute_web(field) >= 0.0012 - 1e-9
