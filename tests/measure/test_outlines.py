"""Outlines from files of others: units, gaps, what is refused, read back against ezdxf and by hand."""

from __future__ import annotations

import io
import math

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.errors import RecordingError
from cabinwright.measure.outlines import parse_drawing
from cabinwright.physics.outline import Drawn

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="0 0 400 200">{}</svg>'


def dxf(units: int, *, gap: float = 0.0, extra: str = "") -> bytes:
    """A 200 × 100 box of loose lines with one round corner, drawn every which way."""
    document = ezdxf.new("R2000", units=units)
    space = document.modelspace()
    space.add_line((0, 0), (180, 0))
    space.add_arc((180, 20), 20, 270, 360)
    space.add_line((200, 100), (200, 20))
    space.add_line((200, 100), (0, 100))
    space.add_line((0, gap), (0, 100))
    space.add_circle((50, 50), 10)
    if extra == "block":
        document.blocks.new("b").add_line((0, 0), (1, 1))
        space.add_blockref("b", (0, 0))
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def read(content: bytes, **more: object) -> Drawn:
    return parse_drawing(content, file="o.dxf" if b"<svg" not in content else "o.svg", **more)


@pytest.mark.parametrize(("units", "metre"), [(4, 0.001), (1, 0.0254), (5, 0.01), (6, 1.0)])
def test_a_dxf_is_read_in_the_unit_it_states(units: int, metre: float) -> None:
    outline, hole = read(dxf(units)).closed
    area = 200 * 100 - (1 - math.pi / 4) * 20**2
    assert outline.area_m2 == pytest.approx(area * metre**2, rel=1e-9)
    assert hole.area_m2 == pytest.approx(math.pi * 100 * metre**2, rel=1e-9)
    assert outline.kinks()  # three hard corners, the fourth an arc
    assert len(outline.segments) == 5


def test_inches_never_pass_for_millimetres() -> None:
    with pytest.raises(RecordingError, match="does not say its unit"):
        read(dxf(0))
    assert read(dxf(0), units="in").closed[0].bounds[2] == pytest.approx(5.08)
    with pytest.raises(RecordingError, match="states another unit than"):
        read(dxf(1), units="mm")
    document = ezdxf.new("R2000", units=0)
    document.modelspace().add_lwpolyline([(0, 0), (20, 0), (20, 16), (0, 16)], close=True)
    out = io.StringIO()
    document.write(out)
    with pytest.raises(RecordingError, match=r'20\.0 mm across .* drawn in "in" it would be 508 mm'):
        read(out.getvalue().encode(), units="mm")
    assert read(out.getvalue().encode(), units="in").closed[0].bounds[2] == pytest.approx(0.508)


def test_how_sure_the_unit_is_goes_with_the_drawing() -> None:
    sure = read(dxf(4)).read_in
    assert sure is not None and (sure.unit, sure.other, sure.doubt) == ("mm", "in", "")
    assert sure.times == pytest.approx(25.4)
    open_ = read(dxf(0), units="ft").read_in
    assert open_ is not None and "states no unit" in open_.doubt
    assert open_.times == pytest.approx(1.0 / 0.3048)  # in metres it would be so much larger
    two = read(SVG.format('<path d="M0 0H400V200H0Z"/>').replace('height="100mm"', 'height="10in"').encode()).read_in
    assert two is not None and two.other == "the height's scale" and two.times == pytest.approx(2.54)


def test_gaps_blocks_and_noise_are_named() -> None:
    with pytest.raises(RecordingError, match=r"open by 0\.500 mm between"):
        read(dxf(4, gap=0.5))
    with pytest.raises(RecordingError, match="a INSERT is no part of an outline"):
        read(dxf(4, extra="block"))
    with pytest.raises(RecordingError, match="cannot be read as DXF"):
        read(b"nonsense\nmore\n")
    with pytest.raises(RecordingError, match="only DXF and SVG"):
        parse_drawing(b"", file="o.step")
    with pytest.raises(RecordingError, match="larger than 5 MB"):
        read(b"0" * 5_000_001)


def test_an_svg_in_its_unit_with_arcs_kept() -> None:
    body = '<path d="M40 0H360A40 40 0 0 1 400 40V200H0V40A40 40 0 0 1 40 0Z"/><circle cx="200" cy="100" r="20"/>'
    outline, hole = read(SVG.format(body).encode()).closed
    assert outline.area_m2 == pytest.approx(0.2 * 0.1 - 2 * (1 - math.pi / 4) * 0.02**2, rel=1e-6)
    assert hole.area_m2 == pytest.approx(math.pi * 0.01**2, rel=1e-6)
    assert outline.bounds[3] > outline.bounds[1]
    with pytest.raises(RecordingError, match="does not say its unit"):
        read(SVG.format(body).replace("mm", "px").encode())


def test_curves_become_arcs_that_lie_on_them() -> None:
    drawn = read(SVG.format('<ellipse cx="200" cy="100" rx="160" ry="80"/>').encode())
    assert drawn.closed[0].area_m2 == pytest.approx(math.pi * 0.08 * 0.04, rel=1e-4)
    assert 4 < len(drawn.closed[0].segments) < 200
    wave = read(SVG.format('<path d="M0 0C100 0 100 200 200 200"/>').encode(), outline=False)
    (chain,) = wave.lines
    length = sum(segment.length_m for segment in chain)
    t = np.linspace(0.0, 1.0, 100_001)
    x = 300 * t * (1 - t) ** 2 + 300 * t**2 * (1 - t) + 200 * t**3
    wanted = 0.0005 * np.sum(np.hypot(np.diff(x), np.diff(600 * t**2 * (1 - t) + 200 * t**3)))
    assert length == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (
            '<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h1"/>&a;</svg>',
            "entities",
        ),
        ('<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]><svg><path d="M0 0h1"/>&a;</svg>', "entities"),
        (SVG.format('<image href="http://example.org/a.png"/>'), "<image> is not taken"),
        (SVG.format("<script>alert(1)</script>"), "<script> is not taken"),
        (SVG.format('<use href="#a"/>'), "break the copies apart"),
        (SVG.format("<text>hello</text>"), "turn text into paths"),
        (SVG.format("<foreignObject/>"), "is not taken"),
        ("<g>" * 60 + "</g>" * 60, "no SVG"),
        (SVG.format("<g>" * 60 + "</g>" * 60), "nested too deep"),
        ("<svg", "cannot be read as SVG"),
    ],
)
def test_what_an_svg_must_not_hold(content: str, said: str) -> None:
    with pytest.raises(RecordingError, match=said):
        parse_drawing(content.encode(), file="o.svg")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300), st.sampled_from(["o.svg", "o.dxf"]))
def test_whatever_bytes_are_there_it_answers(content: bytes, file: str) -> None:
    with pytest.raises(RecordingError):
        parse_drawing(content, file=file)


@settings(max_examples=100, deadline=None)
@given(st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,- eE", max_size=60))
def test_whatever_path_is_written_it_answers(d: str) -> None:
    try:
        drawn = parse_drawing(SVG.format(f'<path d="{d}"/>').encode(), file="o.svg", outline=False)
    except RecordingError as error:
        assert str(error).startswith("o.svg: ")
        return
    assert drawn.closed or drawn.lines
