"""Drawings and solids that are damaged, hostile or of another kind: refused by name, place, rule and cure, or read right."""

from __future__ import annotations

import io
import math
import struct
from collections.abc import Callable
from typing import Any

import ezdxf
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.errors import RecordingError
from cabinwright.measure.hollows import parse_stl
from cabinwright.measure.outlines import parse_drawing

SQUARE = [(0, 0), (300, 0), (300, 200), (0, 200)]


def dxf(draw: Callable[[Any], object], units: int = 4) -> bytes:
    document = ezdxf.new("R2000", units=units)
    draw(document.modelspace())
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def svg(body: str, head: str = 'width="300mm" height="200mm" viewBox="0 0 300 200"') -> bytes:
    return f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {head}>{body}</svg>'.encode()


def lines(space: Any, points: list[tuple[float, float]]) -> None:
    for a, b in zip(points, [*points[1:], points[0]], strict=True):
        space.add_line(a, b)


PLAIN = dxf(lambda space: lines(space, SQUARE))
NOT_FLAT = "only flat drawings are taken; project it"

BAD = {
    "3d line": ("a.dxf", dxf(lambda s: s.add_line((0, 0, 0), (100, 0, 5))), f"a LINE .handle .*{NOT_FLAT}"),
    "tilted circle": ("a.dxf", dxf(lambda s: s.add_circle((0, 0), 9, dxfattribs={"extrusion": (0, 1, 0)})), "tilted plane"),
    "3d polyline": ("a.dxf", dxf(lambda s: s.add_polyline3d([(0, 0, 0), (9, 0, 1), (9, 9, 2)])), "POLYLINE .*flat"),
    "3d spline": ("a.dxf", dxf(lambda s: s.add_spline([(0, 0, 0), (50, 9, 4), (90, 0, 8)])), f"SPLINE .*{NOT_FLAT}"),
    "3d face": ("a.dxf", dxf(lambda s: s.add_3dface([(0, 0), (9, 0), (9, 9), (0, 9)])), "3DFACE .*no part of an outline"),
    "cut short": ("a.dxf", PLAIN[: len(PLAIN) * 2 // 3], "ends with EOF.*copy or save it again"),
    "binary": ("a.dxf", b"Invented Binary DXF\r\n\x1a\x00" + bytes(90), r"binary DXF.*Save it as text \(ASCII\) DXF"),
    "unit is no number": ("a.dxf", PLAIN.replace(b"$INSUNITS\n 70\n4", b"$INSUNITS\n 70\nx"), "cannot be read as DXF"),
    "not a number": ("a.dxf", PLAIN.replace(b" 11\n300.0", b" 11\nnan"), "no number"),
    "infinite": ("a.dxf", PLAIN.replace(b" 11\n300.0", b" 11\n1e999"), "no number|cannot be read"),
    "far away": ("a.dxf", dxf(lambda s: lines(s, [(x + 1e12, y) for x, y in SQUARE])), "farther than 1000 m.*Check the unit"),
    "endless bulge": (
        "a.dxf", dxf(lambda s: s.add_lwpolyline([(0, 0, 1e300), (9, 0, 0), (9, 9, 0)], format="xyb", close=True)), "bulge of 1e"
    ),
    "a star of lines": (
        "a.dxf", dxf(lambda s: [s.add_line((0, 0), (k, 9)) for k in range(300)]), "more than 64 lines end at 0.00, 0.00"
    ),
    "open": ("a.dxf", dxf(lambda s: lines(s, SQUARE) or s.add_line((400, 0), (500, 0))), "open by 100.000 mm between 500.00"),
    "crossing": ("a.dxf", dxf(lambda s: lines(s, [(0, 0), (99, 90), (99, 0), (0, 90)])), "cross"),
    "large": ("a.dxf", b" " * 5_000_001, "larger than 5 MB"),
    "far away svg": ("a.svg", svg('<path d="M0 0H1e40V9Z"/>'), "farther than 1000 m"),
    "infinite svg": ("a.svg", svg('<path d="M0 0H1e999V9Z"/>'), "no number"),
    "huge view": ("a.svg", svg('<rect width="9" height="9"/>', 'width="1mm" height="1mm" viewBox="0 0 1e999 1"'), "unit"),
    "deep": ("a.svg", svg('<g transform="scale(2)">' * 3000 + "</g>" * 3000), "nested too deep"),
    "use": ("a.svg", svg('<g id="a"><use xlink:href="#a"/></g>'), "<use> is not taken.*break the copies apart"),
    "script": ("a.svg", svg("<script>1</script><path d='M0 0H9V9Z'/>"), "<script> is not taken"),
    "image": ("a.svg", svg('<image href="file:///invented"/>'), "<image> is not taken"),
    "entities": ("a.svg", b'<!DOCTYPE svg [<!ENTITY a "b">]>' + svg("&a;"), "declares entities"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_it_is_named_with_its_place_and_cure(case: str) -> None:
    file, content, words = BAD[case]
    with pytest.raises(RecordingError, match=words) as caught:
        parse_drawing(content, file=file)
    assert str(caught.value).startswith(f"{file}: ")


def test_twenty_thousand_loose_lines_make_one_outline() -> None:
    """In any order and either way round; a circle's area by the shoelace of its own corners."""
    count = 19_990
    corners = [(200 * math.cos(a), 200 * math.sin(a)) for a in np.linspace(0, 2 * math.pi, count, endpoint=False)]
    order = np.random.default_rng(5).permutation(count)

    text = "0\nSECTION\n2\nENTITIES\n" + "".join(
        f"0\nLINE\n8\n0\n10\n{a[0]}\n20\n{a[1]}\n11\n{b[0]}\n21\n{b[1]}\n"
        for k in order
        for a, b in [(corners[k], corners[(k + 1) % count])[:: 1 if k % 2 else -1]]
    )
    with pytest.raises(RecordingError, match="does not say its unit"):  # an old file without a header
        parse_drawing((text + "0\nENDSEC\n0\nEOF\n").encode(), file="a.dxf")
    (outline,) = parse_drawing((text + "0\nENDSEC\n0\nEOF\n").encode(), file="a.dxf", units="mm").closed
    assert len(outline.segments) == count
    assert outline.area_m2 == pytest.approx(0.5 * count * 0.04 * math.sin(2 * math.pi / count), rel=1e-9)


@pytest.mark.parametrize("bulge", [0.0, 1.0])
def test_points_that_stand_for_lines_are_left_out(bulge: float) -> None:
    rows = [(0, 0, 0), (300, 0, bulge), (300, 0, 0), (300, 1e-300, 0), (300, 200, 0), (0, 200, 0)]
    drawn = parse_drawing(dxf(lambda s: s.add_lwpolyline(rows, format="xyb", close=True)), file="a.dxf")
    assert drawn.closed[0].area_m2 == pytest.approx(0.06, rel=1e-9)


def test_curves_of_any_size_are_followed() -> None:
    for size in (1.0, 4e4, 4e5):
        drawn = parse_drawing(dxf(lambda s, size=size: s.add_ellipse((0, 0), (size, 0), 0.5)), file="a.dxf")
        assert drawn.closed[0].area_m2 == pytest.approx(math.pi * 0.5 * (size / 1e3) ** 2, rel=1e-3)
    with pytest.raises(RecordingError, match="farther than 1000 m"):
        parse_drawing(dxf(lambda s: s.add_ellipse((0, 0), (1e15, 0), 0.5)), file="a.dxf")


def stl(corners: np.ndarray[Any, Any]) -> bytes:
    rows = b"".join(struct.pack("<12fH", 0, 0, 0, *row, 0) for row in corners.reshape(-1, 9))
    return bytes(80) + struct.pack("<I", len(corners.reshape(-1, 9))) + rows


CORNERS = np.array([[[0, 0, 0], [0, 300, 0], [300, 0, 0]]], dtype=float)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (bytes(80) + struct.pack("<I", 4_000_000_000) + bytes(50), "promises 4000000000 triangles and the file holds 1"),
        (stl(np.where(CORNERS == 300, np.nan, CORNERS)), "numbers that are none"),
        (stl(CORNERS + 1e9), "more than 1000 m from its origin.*Check file_units"),
        (b"solid a\nfacet normal 0 0 1\n" + b"vertex 0 0 1\n" * 600_003, "more than 200000 triangles"),
        (b"solid a\nfacet normal 0 0 1\nouter loop\n" + stl(CORNERS), "no triangle is in it"),
        (stl(CORNERS * 25.4), "is no hollow of a car. Check file_units"),
    ],
)  # fmt: skip
def test_a_hostile_solid_is_named(content: bytes, words: str) -> None:
    with pytest.raises(RecordingError, match=words) as caught:
        parse_stl(content, file="a.stl", units="mm")
    assert str(caught.value).startswith("a.stl: ")


@given(st.integers(0, len(PLAIN) - 1), st.binary(min_size=1, max_size=6))
def test_a_damaged_drawing_is_read_or_refused_and_nothing_else(at: int, noise: bytes) -> None:
    content = PLAIN[:at] + noise + PLAIN[at + len(noise) :]
    try:
        drawn = parse_drawing(content, file="a.dxf")
    except RecordingError as error:
        assert str(error).startswith("a.dxf: ")
    else:
        assert all(math.isfinite(item.area_m2) for item in drawn.closed)
