"""Colour against colour-science and the published test pairs."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon

from cabinwright.physics.colour import Primary, ciede2000, lab, match, screen_hex, srgb_to_xy, xyz
from physics.test_perforation import REFERENCE

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

STRIP = (
    Primary("red", (0.69, 0.305), 20.0),
    Primary("green", (0.17, 0.70), 50.0),
    Primary("blue", (0.135, 0.075), 12.0),
)
WHITE = Primary("white", (0.38, 0.38), 90.0)
LAB = st.tuples(st.floats(0.0, 100.0), st.floats(-120.0, 120.0), st.floats(-120.0, 120.0))


def test_published_pairs() -> None:
    rows = REFERENCE["I.dE2000"]
    for one, other, wanted in zip(rows["lab1"], rows["lab2"], rows["expected"], strict=True):
        got = ciede2000(np.array(one), np.array(other))
        assert got == pytest.approx(wanted, abs=rows["tol_abs"])
        assert 1.001 * got != pytest.approx(wanted, abs=rows["tol_abs"])
        assert ciede2000(np.array(other), np.array(one)) == pytest.approx(got, abs=1e-9)


@settings(max_examples=300, deadline=None)
@given(LAB, LAB)
def test_differences_as_colour_science_has_them(one: tuple, other: tuple) -> None:
    turn = np.degrees(np.arctan2(one[2], one[1]) - np.arctan2(other[2], other[1])) % 360.0
    assume(abs(turn - 180.0) > 1.0)  # opposite hues have no mean: the formula jumps there
    wanted = float(colour.delta_E(np.array(one), np.array(other), method="CIE 2000"))
    assert ciede2000(np.array(one), np.array(other)) == pytest.approx(wanted, abs=1e-6)


@given(st.floats(0.05, 0.6), st.floats(0.05, 0.35), st.floats(0.01, 1.0))
def test_lab_as_colour_science_has_it(x: float, y: float, luminance: float) -> None:
    values = xyz((x, y), luminance)
    assert values == pytest.approx(colour.xyY_to_XYZ([x, y, luminance]))
    assert lab(values) == pytest.approx(colour.XYZ_to_Lab(values, (0.3127, 0.3290)), abs=1e-6)


def test_patches_of_a_photograph() -> None:
    rows = REFERENCE["I.srgb.xyY"]
    for rgb, wanted in zip(rows["rgb"], rows["expected"], strict=True):
        assert srgb_to_xy(rgb) == pytest.approx(wanted, abs=rows["tol_abs"])
    assert srgb_to_xy([200, 180, 120], white=[200, 180, 120]) == pytest.approx((0.3127, 0.329), abs=3e-4)
    with pytest.raises(ValueError, match="no hue"):
        srgb_to_xy([0, 0, 0])
    assert screen_hex((0.64, 0.33)) == "#ff0000"
    assert screen_hex((0.3127, 0.329)) == "#ffffff"


@settings(max_examples=80, deadline=None)
@given(st.floats(0.14, 0.6), st.floats(0.08, 0.6), st.sampled_from([STRIP, (*STRIP, WHITE)]))
def test_a_hue_inside_the_gamut_is_met(x: float, y: float, strip: tuple) -> None:
    gamut = Polygon([primary.xy for primary in STRIP])
    found = match(strip, (x, y), steps=65535)
    if gamut.buffer(-0.004).contains(Point(x, y)):
        assert found.in_gamut
        assert found.delta_e < 0.02
        assert max(found.drive) == pytest.approx(1.0)
        mixed = sum(share * xyz(p.xy, p.luminous) for p, share in zip(strip, found.drive, strict=True))
        assert mixed[:2] / mixed.sum() == pytest.approx([x, y], abs=1e-6)
    elif not gamut.buffer(0.004).contains(Point(x, y)):
        assert not found.in_gamut
        assert found.delta_e > 0.05
        assert gamut.buffer(1e-4).contains(Point(found.xy))


def test_outside_the_gamut_the_nearest_look_is_taken() -> None:
    cyan = match(STRIP, (0.05, 0.30))
    assert not cyan.in_gamut
    wanted = lab(xyz((0.05, 0.30), 0.5))
    for share in np.linspace(0.0, 1.0, 41):
        for one, other in ((0, 1), (1, 2), (0, 2)):
            x, y = (1 - share) * np.array(STRIP[one].xy) + share * np.array(STRIP[other].xy)
            assert ciede2000(lab(xyz((x, y), 0.5)), wanted) > cyan.delta_e - 0.3
    assert match(STRIP[:1], (0.3, 0.3)).drive == (1.0,)


def test_a_white_emitter_gives_more_light() -> None:
    target = (0.35, 0.36)
    three, four = match(STRIP, target), match((*STRIP, WHITE), target)
    light = [
        sum(p.luminous for p in strip) * m.luminous_share for strip, m in ((STRIP, three), ((*STRIP, WHITE), four))
    ]
    assert light[1] > 1.5 * light[0]


def test_whole_steps_cost_something() -> None:
    assert match(STRIP, (0.5, 0.44), steps=15).delta_e > match(STRIP, (0.5, 0.44), steps=4095).delta_e
