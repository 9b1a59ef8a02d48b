"""Outlines of lines and arcs against shapely's buffers, against plane geometry, and against numbers drawn by Hypothesis."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, union_all

from cabinwright.physics.arcs import Segment, arc_through, arc_with_sagitta, crossings
from cabinwright.physics.outline import (
    Contour,
    Corner,
    OutlineFault,
    circle,
    from_corners,
    least_inside_radius_m,
    slot,
)

FINE_M = 1e-7


def lens() -> Contour:
    """A cover with a sweeping front edge."""
    corners = [Corner(0), Corner(1.0), Corner(1 + 0.5j), Corner(0.5j, via=0.5 + 0.62j)]
    return Contour(from_corners(corners, fillet_m=0.05))


def dumbbell() -> Contour:
    points = [
        0,
        0.3,
        0.3 + 0.13j,
        0.6 + 0.13j,
        0.6,
        0.9,
        0.9 + 0.3j,
        0.6 + 0.3j,
        0.6 + 0.17j,
        0.3 + 0.17j,
        0.3 + 0.3j,
        0.3j,
    ]
    return Contour(from_corners([Corner(complex(point)) for point in points], fillet_m=0.01))


def test_radius_from_chord_and_sagitta() -> None:
    # Plane geometry: R = c²/(8s) + s/2, entry F.arc.radius_from_sagitta: 300 mm and 23.0304 mm give 500 mm.
    arc = arc_with_sagitta(0, 0.3, 0.0230303992915)
    assert arc.radius_m == pytest.approx(0.5, rel=1e-9)
    assert arc.point(0.5) == pytest.approx(0.15 - 0.0230303992915j)  # to the right of the way


@given(st.floats(-3.0, 3.0), st.floats(0.05, 5.0), st.floats(-3.1, 3.1))
def test_an_arc_goes_through_its_three_points(sweep: float, radius: float, turned: float) -> None:
    if abs(sweep) < 0.01:
        return
    angles = turned + sweep * np.array([0.0, 0.37, 1.0])
    start, via, end = (radius * cmath.exp(1j * angle) for angle in angles)
    arc = arc_through(start, via, end)
    assert arc.radius_m == pytest.approx(radius, rel=1e-6)
    assert arc.length_m == pytest.approx(radius * abs(sweep), rel=1e-6)
    assert float(arc.distance_m(np.array([via]))[0]) < 1e-9 * radius + 1e-12
    assert arc.share_of(via) == pytest.approx(0.37, abs=1e-5)


def test_where_a_line_and_two_circles_meet() -> None:
    # The chord of a unit circle at y = 0.6 ends at x = ±0.8; circles a unit apart meet at x = 0.5, y = ±√3/2.
    upper = Segment(1, -1, 1.0)
    assert sorted(point.real for point in crossings(Segment(-2 + 0.6j, 2 + 0.6j), upper)) == pytest.approx([-0.8, 0.8])
    other = upper.moved(shift=1.0)
    (meet,) = crossings(upper, other)
    assert meet == pytest.approx(0.5 + 1j * math.sqrt(0.75))
    assert crossings(upper, upper.moved(shift=2.5)) == []


@pytest.mark.parametrize("outline", [lens(), dumbbell(), circle(0.1j, 0.2)])
@pytest.mark.parametrize("distance_m", [0.02, 0.1, -0.005, -0.03, -0.09])
def test_offsets_cover_what_a_buffer_covers(outline: Contour, distance_m: float) -> None:
    wanted = outline.as_polygon(FINE_M).buffer(distance_m, quad_segs=2000)
    made = outline.offset(distance_m)
    assert sum(part.area_m2 for part in made) == pytest.approx(wanted.area, rel=2e-5, abs=1e-7)
    assert sum(part.length_m for part in made) == pytest.approx(wanted.length, rel=2e-5, abs=2e-5)
    wrong = sum(part.area_m2 for part in outline.offset(1.01 * distance_m))
    assert made == () or wrong != pytest.approx(wanted.area, rel=2e-5, abs=1e-7)  # the check can fail
    for part in made:
        part.check()


def test_an_offset_keeps_arcs_and_parts_in_two() -> None:
    assert [len(part.segments) for part in lens().offset(0.02)] == [8]
    assert len(dumbbell().offset(-0.03)) == 2
    assert circle(0, 0.2).offset(-0.11) == ()


@st.composite
def wavy(draw: st.DrawFn) -> Contour:
    """Outlines round a centre, lines and arcs, hard corners among them."""
    count = draw(st.integers(3, 9))
    corners = []
    for index in range(count):
        radius = draw(st.floats(0.15, 0.6))
        at = radius * cmath.exp(2j * math.pi * index / count)
        corners.append(Corner(at, sagitta_m=draw(st.sampled_from([None, None, 0.02, -0.02, 0.05]))))
    return Contour(from_corners(corners, fillet_m=0.0))


@settings(max_examples=60, deadline=None)
@given(wavy(), st.sampled_from([-0.04, -0.006, -0.0001, 0.0001, 0.006, 0.04]))
def test_offsets_of_any_outline(outline: Contour, distance_m: float) -> None:
    try:
        outline.check()
    except OutlineFault:
        return
    whole = outline.as_polygon(1e-5)
    round_it = list(pairwise(whole.exterior.coords))
    # Chord by chord: shapely's buffer of one ring of fine chords has been a millimetre off beside an inward corner.
    strip = union_all([LineString(chord).buffer(abs(distance_m), quad_segs=100) for chord in round_it])
    wanted = whole.union(strip) if distance_m > 0.0 else whole.difference(strip)
    got = outline.offset(distance_m)
    assert sum(part.area_m2 for part in got) == pytest.approx(wanted.area, rel=1e-4, abs=2e-6)
    wrong = sum(part.area_m2 for part in outline.offset(1.1 * distance_m))
    assert wrong != pytest.approx(wanted.area, rel=1e-5, abs=2e-6)  # the check can fail


def test_an_offset_round_an_inward_corner_of_line_and_arc() -> None:
    corners = [0.5, 0.25 + 0.4330127j, -0.125 + 0.2165064j, -0.25, -0.25 - 0.4330127j, 0.25 - 0.4330127j]
    outline = Contour(
        from_corners([Corner(at, sagitta_m=0.05 if at == -0.25 else None) for at in corners], fillet_m=0.0)
    )
    (made,) = outline.offset(0.04)
    away = np.sort(outline.distance_m(made.points(1e-6)))
    assert away[0] == pytest.approx(0.04, abs=1e-6)  # the definition itself, at every point of the offset
    assert away[-1] == pytest.approx(0.04, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(wavy(), st.floats(0.001, 0.03))
def test_roundings_leave_no_kink_and_nothing_tighter(outline: Contour, radius: float) -> None:
    corners = [
        Corner(b.start, via=None if a.is_line else a.point(0.5))
        for a, b in zip((outline.segments[-1], *outline.segments), outline.segments, strict=False)
    ]
    try:
        Contour(from_corners(corners, fillet_m=0.0)).check()
        rounded = Contour(from_corners(corners, fillet_m=radius))
        rounded.check()
    except OutlineFault as fault:
        assert fault.cure
        return
    assert rounded.kinks() == []
    assert min(segment.radius_m for segment in rounded.segments) > 0.999 * min(
        radius, *(segment.radius_m for segment in outline.segments)
    )
    assert abs(rounded.area_m2) == pytest.approx(rounded.as_polygon(FINE_M).area, rel=1e-5)


def test_faults_are_named_with_their_cure() -> None:
    with pytest.raises(OutlineFault, match="crosses itself at 500") as crossed:
        from_corners([Corner(0), Corner(1), Corner(1j), Corner(1 + 1j)], fillet_m=0.0)
    assert crossed.value.kind == "crosses"
    with pytest.raises(OutlineFault, match="does not fit") as tight:
        from_corners([Corner(0), Corner(1), Corner(1 + 1j), Corner(1j)], fillet_m=0.6)
    assert tight.value.kind == "too tight"
    assert "400.0 mm or less" in tight.value.cure  # the rounding before it takes 600 of the metre
    with pytest.raises(OutlineFault, match=r"open by 1\.000 mm"):
        Contour((Segment(0, 1), Segment(1, 1j), Segment(1j, -0.001))).check()
    with pytest.raises(OutlineFault, match="too tight for a strip"):
        slot([Segment(0, 0.01, 1.0)], 0.02)


def test_a_rounding_may_use_up_its_neighbour() -> None:
    points = [0, 0.1, 0.1 + 0.02j, 0.02j]
    round_ended = Contour(from_corners([Corner(complex(point)) for point in points], fillet_m=0.01))
    assert round_ended.area_m2 == pytest.approx(0.08 * 0.02 + math.pi * 0.01**2)
    assert round_ended.kinks() == []


def test_the_radius_that_a_cutter_has_to_follow() -> None:
    square = Contour(from_corners([Corner(0), Corner(1), Corner(1 + 1j), Corner(1j)], fillet_m=0.0))
    assert least_inside_radius_m(square)[0] == math.inf
    assert least_inside_radius_m(square, hollow=True)[0] == 0.0
    assert least_inside_radius_m(dumbbell())[0] == pytest.approx(0.01)


def test_a_slot_is_as_wide_as_asked_everywhere() -> None:
    curve = from_corners([Corner(0), Corner(0.5 + 0.1j, via=0.25 + 0.12j), Corner(0.9)], fillet_m=0.2, closed=False)
    made = slot(curve, 0.006)
    assert made.kinks() == []
    length = sum(segment.length_m for segment in curve)
    assert made.area_m2 == pytest.approx(0.006 * length + math.pi * 0.003**2, rel=1e-9)  # Pappus
    middle = np.concatenate([segment.flattened(1e-5) for segment in curve])
    assert made.distance_m(middle) == pytest.approx(0.003, abs=1e-9)


@given(
    radius_m=st.floats(0.1, 10.0),
    more=st.floats(-0.01, 0.01),
    left_m=st.just(0.0) | st.floats(1e-12, 4e-7),
    sweep=st.floats(0.2, 1.4),
)
def test_what_an_offset_leaves_between_two_arcs_is_no_crossing(
    radius_m: float, more: float, left_m: float, sweep: float
) -> None:
    """Two tangent arcs of nearly one circle, closed by a chord that cannot meet them: convex, so it crosses nowhere."""
    other_m = radius_m * (1.0 + more)
    start = radius_m * complex(-math.sin(sweep), 1.0 - math.cos(sweep))
    end = left_m + other_m * complex(math.sin(sweep), 1.0 - math.cos(sweep))
    bulge = math.tan(sweep / 4.0)
    between = [Segment(0, left_m)] if left_m > 0.0 else []
    arcs = [Segment(start, 0, bulge), *between, Segment(left_m, end, bulge)]
    Contour((*arcs, Segment(end, start))).check()
    with pytest.raises(OutlineFault, match="crosses itself"):  # the same with its closing line led through an arc
        low = -0.1j * radius_m
        Contour(
            (
                *arcs,
                Segment(end, low),
                Segment(low, start / 2.0 + 0.2j * radius_m),
                Segment(start / 2.0 + 0.2j * radius_m, start),
            )
        ).check()


def test_points_on_one_line_hold_no_area() -> None:
    with pytest.raises(OutlineFault, match="holds no area") as flat:
        from_corners([Corner(0), Corner(0.1), Corner(0.3), Corner(0.2)], fillet_m=0.0)
    assert flat.value.kind == "nothing left"
    assert "one line" in flat.value.cure


def test_an_arc_through_its_own_end_is_told_with_its_place() -> None:
    with pytest.raises(OutlineFault, match=r"via_m is one of its own ends at 300\.0, 0\.0 mm"):
        from_corners([Corner(0), Corner(0.3, via=0.3 + 0j), Corner(0.3 + 0.2j)], fillet_m=0.0)
