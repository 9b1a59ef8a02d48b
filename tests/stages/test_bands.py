"""Edge bands of any outline: finished size less a strip along the banded edges, by shapely's own buffers and pixels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from shapely import Point, Polygon

from cabinwright.physics.outline import Contour, Corner, OutlineFault, circle, from_corners
from cabinwright.stages import workshop
from cabinwright.stages.workshop.bands import bands_of
from cabinwright.stages.workshop.result import Part
from stages.test_workshop import PLY, built

BAND = 0.002


def part(outline: Contour, *sides: str, **more: object) -> Part:
    row = {
        "name": "p", "panel": "p", "layer": "", "look": "board", "sheet": "s", "material": "MDF", "cutter": "router",
        "thickness_m": 0.012, "kerf_m": 0.0, "count": 1, "grain": "any", "outline": outline, "banded": sides, "banding_m": BAND,
    }  # fmt: skip
    return Part(**{**row, **more})  # type: ignore[arg-type]


def left_over(outline: Contour, *ways: complex) -> Polygon:
    """What is inside of every banded side moved in: of straight ones half a plane, of the bowed one a disc."""
    whole = outline.as_polygon(1e-7)
    for item in outline.segments:
        normal = -1j * item.chord / abs(item.chord)
        if item.length_m < 0.1 or not any((normal * way.conjugate()).real > math.sqrt(0.5) for way in ways):
            continue
        if item.is_line:
            a, b = item.start - BAND * normal, item.end - BAND * normal
            step = b - a
            corners = (a - step, b + step, b + step - normal, a - step - normal)
            whole = whole & Polygon([(at.real, at.imag) for at in corners])
        else:
            whole = whole & Point(item.centre.real, item.centre.imag).buffer(item.radius_m - BAND, quad_segs=4000)
    return whole


TRAPEZE = Contour(from_corners([Corner(0), Corner(0.5), Corner(0.44 + 0.3j), Corner(0.05 + 0.3j)], fillet_m=0.0))
ROUNDED = Contour(
    from_corners(
        [Corner(0), Corner(0.5 - 0.02j, sagitta_m=0.03), Corner(0.46 + 0.3j), Corner(0.02 + 0.28j)], fillet_m=0.03
    )
)


def test_one_side_of_a_trapeze_by_hand() -> None:
    """Its bottom moves up by 2 mm between the slanted sides, which it then meets."""
    got = bands_of(part(TRAPEZE, "bottom"))
    x0, y0, x1, y1 = got.outline.bounds
    assert (y0, y1) == pytest.approx((0.002, 0.3))
    assert (x0, x1) == pytest.approx((0.002 * 0.05 / 0.3, 0.5 - 0.002 * 0.06 / 0.3))
    assert got.length_m == pytest.approx(0.5) and not got.fault
    assert TRAPEZE.area_m2 - got.outline.area_m2 == pytest.approx(0.002 * (0.5 + x1 - x0) / 2.0)


@pytest.mark.parametrize("sides", [("left",), ("bottom",), ("top", "right"), ("left", "right", "top", "bottom")])
@pytest.mark.parametrize("outline", [TRAPEZE, ROUNDED], ids=["trapeze", "rounded"])
def test_a_strip_along_the_banded_sides_is_gone(outline: Contour, sides: tuple[str, ...]) -> None:
    got = bands_of(part(outline, *sides))
    assert not got.fault
    got.outline.check()
    ways = {"left": -1 + 0j, "right": 1 + 0j, "top": 1j, "bottom": -1j}
    want = left_over(outline, *(ways[side] for side in sides))
    assert want.symmetric_difference(got.outline.as_polygon(1e-7)).area < 1e-6 * outline.area_m2
    other = left_over(outline, *(ways[side] for side in (*sides[1:], "left" if sides[0] != "left" else "bottom")))
    assert len(sides) == 4 or other.symmetric_difference(got.outline.polygon).area > 1e-3 * outline.area_m2


@settings(max_examples=25)
@given(
    st.floats(0.1, 0.5), st.floats(0.1, 0.4), st.floats(-0.03, 0.03), st.floats(0.0, 0.03),
    st.sets(st.sampled_from(["left", "right", "top", "bottom"]), min_size=1),
)  # fmt: skip
def test_any_outline_keeps_its_other_edges(
    wide: float, high: float, lean: float, fillet: float, sides: set[str]
) -> None:
    corners = [Corner(0), Corner(wide), Corner(complex(wide + lean, high)), Corner(complex(lean, high))]
    try:
        outline = Contour(from_corners(corners, fillet_m=fillet))
        outline.check()
    except OutlineFault:
        reject()
    got = bands_of(part(outline, *sides))
    assert not got.fault
    x, y = (np.array(rows) for rows in (outline.bounds, got.outline.bounds))
    moved = dict(zip(("left", "bottom", "right", "top"), (y - x) * (1, 1, -1, -1), strict=True))
    for side in ("bottom", "top"):
        assert moved[side] == pytest.approx(BAND if side in sides else 0.0, abs=1e-9)
    assert bool(np.all(outline.as_polygon(1e-6).buffer(2e-6).contains(got.outline.as_polygon(1e-6))))


def test_what_has_no_such_side_is_told_and_left() -> None:
    got = bands_of(part(circle(0j, 0.2), "left"))
    assert "nothing of it looks to the left" in got.fault
    assert got.outline.area_m2 == circle(0j, 0.2).area_m2
    text = PLY + '[[panels]]\nname = "disc"\nsheet = "ply"\ndiameter_m = 0.2\nbanded = ["top"]\n'
    result = workshop.run(built(text))
    assert result is not None
    assert [item.where for item in result.findings if item.code == "workshop.band"] == ["part “disc”"]
