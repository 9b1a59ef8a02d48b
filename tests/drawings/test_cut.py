"""Cut files read back by others: ezdxf's auditor, contours traced, area by pixels, kerf, and refusal under a stop."""

from __future__ import annotations

import io
import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import fromstring

import ezdxf
import numpy as np
import pytest
from ezdxf.path import make_path
from shapely import Polygon

from cabinwright.drawings.cut import CutDrawing, Line, Round, part_drawing, sheet_drawing
from cabinwright.drawings.cut_dxf import dxf_text
from cabinwright.drawings.cut_pdf import pdf_pages, template_pdf
from cabinwright.drawings.cut_svg import COLOURS, svg_text
from cabinwright.errors import RefusedError
from cabinwright.measure.outlines import parse_drawing
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.perforation import Field
from cabinwright.stages.workshop.joinery import FaceBore, Joinery, Scribe
from cabinwright.stages.workshop.result import Nesting, Part, Placed

OUTLINE = Contour(
    from_corners([Corner(0), Corner(0.3), Corner(0.3 + 0.2j, via=0.32 + 0.1j), Corner(0.2j)], fillet_m=0.02)
)


def part(**more: object) -> Part:
    curve = from_corners([Corner(0.22 + 0.05j), Corner(0.25 + 0.15j, sagitta_m=0.01)], fillet_m=0.0, closed=False)
    row = {
        "name": "cover, face",
        "panel": "cover",
        "layer": "face",
        "look": "dark face",
        "sheet": "s",
        "material": "acrylic",
        "cutter": "laser",
        "thickness_m": 0.003,
        "kerf_m": 0.0,
        "count": 1,
        "grain": "any",
        "outline": OUTLINE,
        "openings": (circle(0.15 + 0.1j, 0.08),),
        "holes": Field(np.array([0.05 + 0.05j, 0.05 + 0.1j]), np.array([0.006, 0.004])),
        "drills": Field(np.array([0.27 + 0.03j]), np.array([0.004])),
        "lines": (Scribe("mark", curve),),
    }
    return Part(**{**row, **more})


def area_of(entity) -> float:
    """A closed polyline's area with its bulges, by ezdxf's own arcs."""
    return Polygon([(point.x, point.y) for point in make_path(entity).flattening(1e-4)]).area


def test_dxf_is_clean_closed_and_in_millimetres() -> None:
    document = ezdxf.read(io.StringIO(dxf_text(part_drawing(part()))))
    audit = document.audit()
    assert audit.errors == []
    assert audit.fixes == []
    assert document.header["$INSUNITS"] == 4
    assert {"cut", "score", "mark", "drill"} <= {layer.dxf.name for layer in document.layers}
    space = document.modelspace()
    contours = [item for item in space.query("LWPOLYLINE") if item.dxf.layer == "cut"]
    assert all(item.closed for item in contours)
    assert any(bulge for item in contours for *_, bulge in item.get_points("xyb"))
    assert sorted(area_of(item) for item in contours) == pytest.approx(
        sorted(1e6 * a for a in (math.pi * 0.04**2, OUTLINE.area_m2)),
        rel=5e-4,  # ezdxf takes arcs as Béziers here
    )
    rounds = {(item.dxf.layer, round(2 * item.dxf.radius, 6)) for item in space.query("CIRCLE")}
    assert rounds == {("cut", 6.0), ("cut", 4.0), ("drill", 4.0)}
    assert [item.dxf.layer for item in space.query("LWPOLYLINE") if not item.closed] == ["mark"]


def test_dxf_comes_back_as_it_went() -> None:
    text = dxf_text(part_drawing(part(lines=())))
    drawn = parse_drawing(text.encode(), file="o.dxf")
    assert drawn.closed[0].area_m2 == pytest.approx(OUTLINE.area_m2, rel=1e-9)
    assert len(drawn.closed) == 5
    assert text == dxf_text(part_drawing(part(lines=())))


def test_kerf_lets_outlines_grow_and_holes_shrink() -> None:
    drawing = part_drawing(part(kerf_m=0.0004))
    outline = Contour(drawing.lines[-1].segments)
    wanted = OUTLINE.as_polygon(1e-7).buffer(0.0002, quad_segs=500)
    assert outline.area_m2 == pytest.approx(wanted.area, rel=1e-6)
    assert outline.area_m2 != pytest.approx(OUTLINE.area_m2, rel=1e-4)
    opening = next(line for line in drawing.lines if line.operation == "cut")
    assert Contour(opening.segments).area_m2 == pytest.approx(math.pi * 0.0398**2, rel=1e-9)
    assert sorted(item.diameter_m for item in drawing.rounds if item.operation == "cut") == pytest.approx(
        [0.0036, 0.0056]
    )
    assert [item.diameter_m for item in drawing.rounds if item.operation == "drill"] == [
        0.004
    ]  # a bit has its own size
    bored = part_drawing(part(cutter="router"))
    assert {item.operation for item in bored.rounds} == {"drill"}


def test_edge_bands_are_taken_off_before_it_is_cut() -> None:
    """The finished size is reached again with a band of 1 mm on the banded sides alone, by shapely."""
    whole = Contour(from_corners([Corner(0), Corner(0.3), Corner(0.3 + 0.2j), Corner(0.2j)], fillet_m=0.02))
    plain = {"outline": whole, "openings": (), "lines": (), "banding_m": 0.001}

    def cut_m(**more: object) -> Polygon:
        line = next(item for item in part_drawing(part(**plain, **more)).lines if item.operation == "cut")
        return Contour(line.segments).as_polygon(1e-7)

    some = cut_m(rectangle=True, banded=("left", "top"))
    assert some.bounds == pytest.approx((0.001, 0.0, 0.3, 0.199))
    assert some.area == pytest.approx(0.299 * 0.199 - (4.0 - math.pi) * 0.02**2, rel=1e-6)
    assert cut_m(rectangle=True, banded=("all round",)).bounds == pytest.approx((0.001, 0.001, 0.299, 0.199))
    bent = cut_m(banded=("all round",))
    assert bent.symmetric_difference(whole.as_polygon(1e-7).buffer(-0.001, quad_segs=200)).area < 1e-7


def test_nothing_is_written_while_a_stop_stands() -> None:
    stopped = part(stopped=("workshop.openings_meet",))
    with pytest.raises(RefusedError, match=r"workshop\.openings_meet"):
        part_drawing(stopped)
    placed = Nesting("s", 1, 1.0, 0.5, (Placed("cover, face", 1, 0.0, (0.0, 0.0)),), (), 0.1, "rectangles", None)
    with pytest.raises(RefusedError):
        sheet_drawing(placed, {"cover, face": stopped})


def test_a_sheet_holds_its_pieces_where_they_were_laid() -> None:
    placed = Nesting("s", 1, 1.0, 0.5, (Placed("cover, face", 1, 90.0, (0.5, 0.1)),), (), 0.1, "rectangles", None)
    drawing = sheet_drawing(placed, {"cover, face": part()})
    box = Contour(drawing.lines[-1].segments).bounds
    x0, y0, x1, y1 = OUTLINE.bounds
    assert box == pytest.approx((0.5 - y1, 0.1 + x0, 0.5 - y0, 0.1 + x1))


def test_svg_has_millimetres_hairlines_and_a_colour_an_operation() -> None:
    text = svg_text(part_drawing(part(), ("Acrylic <burns> & cracks",)))
    root = fromstring(text)
    x0, y0, x1, y1 = (1e3 * value for value in OUTLINE.bounds)
    view = [float(word) for word in root.get("viewBox", "").split()]
    assert root.get("width") == f"{view[2]:g}mm".replace("e", "e")
    assert view[2:] == pytest.approx([x1 - x0 + 4.0, y1 - y0 + 4.0], abs=1e-3)
    groups = [child for child in root if child.tag.endswith("}g")]
    assert {group.get("id"): group.get("stroke") for group in groups} == {
        key: COLOURS[key] for key in ("mark", "drill", "cut")
    }
    assert all(float(group.get("stroke-width", "1")) <= 0.03 for group in groups)
    assert len(set(COLOURS.values())) == len(COLOURS)
    back = parse_drawing(text.replace('id="mark"', 'display="none" id="mark"').encode(), file="o.svg", outline=False)
    assert max(item.area_m2 for item in map(Contour.counter_clockwise, back.closed)) == pytest.approx(
        OUTLINE.area_m2, rel=1e-5
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_templates_show_every_place_once_or_more(paper: str) -> None:
    drawing = part_drawing(part())
    pages = pdf_pages(drawing, paper=paper)
    assert len(pages) == 2
    for page in pages:
        assert "h100.0M" in page  # the check bar
        assert page.count("a1.5 1.5") >= 4
    large = replace(drawing, high=(4.0, 4.0))
    with pytest.raises(ValueError, match="more than a template is good for"):
        pdf_pages(large, paper=paper)


def test_pages_beside_the_part_are_left_out_and_named() -> None:
    """An angle of two legs, 0.9 m long and 0.1 m wide each: of 6 × 4 pages only those along the legs are printed."""
    corners = [0j, 0.9 + 0j, 0.9 + 0.1j, 0.1 + 0.1j, 0.1 + 0.9j, 0.9j]
    sides = tuple(Segment(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
    hole = Round("drill", 0.85 + 0.05j, 0.006)
    angle = CutDrawing("angle", ("note",), (hole,), (Line("cut", sides, True),), (0.0, 0.0), (0.9, 0.9))
    pages = pdf_pages(angle, paper="A4")
    named = [re.search(r"row (\d) of 4, column (\d) of 6", page) for page in pages]
    got = {(int(found[1]), int(found[2])) for found in named if found}
    assert got == {(row, 1) for row in (1, 2, 3, 4)} | {(4, column) for column in range(1, 7)} and len(pages) == 9
    assert all("Pages left out, as nothing of it lies there: 15 of 24." in page for page in pages)
    apart = replace(angle, lines=(Line("cut", sides[:1], False), Line("cut", sides[3:4], False)), rounds=())
    assert len(pdf_pages(apart, paper="A4")) > 9  # loose pieces: pages between them hold them in place


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs pdftoppm (poppler-utils)")
def test_the_pdf_is_one_to_one(tmp_path: Path) -> None:
    (tmp_path / "t.pdf").write_bytes(template_pdf(part_drawing(part()), paper="A4"))
    subprocess.run(["pdftoppm", "-r", "254", "-gray", "-f", "1", "-l", "1", "t.pdf", "p"], cwd=tmp_path, check=True)
    (image,) = tmp_path.glob("p*.pgm")
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", image.read_bytes())
    assert head
    width, height = int(head[1]), int(head[2])
    assert (width, height) == pytest.approx((2100, 2970), abs=2)  # ten pixels a millimetre
    pixels = np.frombuffer(image.read_bytes()[head.end() :], dtype=np.uint8).reshape(height, width)
    bar = pixels[2970 - 180 - 3 : 2970 - 180 + 3]  # the line of the check bar lies 18 mm above the foot
    dark = np.flatnonzero(bar.min(axis=0) < 128)
    # 100 mm and the stroke of its ends, 0.25 mm wide; within 0.1 mm
    assert dark.max() - dark.min() + 1 == pytest.approx(1000 + 2.5, abs=1.0)


def test_four_thousand_holes_go_into_one_file() -> None:
    grid = (np.arange(4000) % 80 * 0.004 + 0.02) + 1j * (np.arange(4000) // 80 * 0.004 + 0.02)
    wide = Contour(from_corners([Corner(0), Corner(0.4), Corner(0.4 + 0.3j), Corner(0.3j)], fillet_m=0.01))
    drawing = part_drawing(part(outline=wide, openings=(), holes=Field(grid, np.full(4000, 0.002))))
    document = ezdxf.read(io.StringIO(dxf_text(drawing)))
    assert len(document.modelspace().query("CIRCLE")) == 4001


def test_what_goes_part_through_says_how_deep_on_its_layer() -> None:
    """Depths in every kind of file: name of the layer, thickness of the entity, colour by a rule, words beside the bar."""
    straight = (Segment(0.05 + 0.02j, 0.2 + 0.02j),)
    lines = (
        Scribe("score", straight, 0.0025),
        Scribe("score", straight, 0.0091),
        Scribe("score", straight),
        Scribe("mark", straight),
    )
    deep = Joinery(face_bores=(FaceBore(0.1 + 0.15j, 0.008, 0.012),))
    drawing = part_drawing(part(lines=lines, joinery=deep))
    assert [layer for layer, _ in drawing.layers] == [
        "mark", "score", "score-2.5mm", "score-9.1mm", "drill", "drill-12mm", "cut",
    ]  # fmt: skip
    document = ezdxf.read(io.StringIO(dxf_text(drawing)))
    assert not document.audit().errors
    scores = {(item.dxf.layer, item.dxf.thickness) for item in document.modelspace() if "score" in item.dxf.layer}
    assert scores == {("score", 0.0), ("score-2.5mm", -2.5), ("score-9.1mm", -9.1)}
    root = fromstring(svg_text(drawing))
    inks = {group.get("id"): group.get("stroke") for group in root if group.tag.endswith("}g")}
    assert inks["score-2.5mm"] == "#008c" + f"{25:02x}" and inks["drill-12mm"] == "#d27a" + f"{120:02x}"
    assert len(set(inks.values())) == len(inks)
    said = [item.text for item in root.iter() if item.tag.endswith("}title")]
    assert said[1:] == ["score 2.5 mm deep", "score 9.1 mm deep", "drill 12 mm deep"]
    (page, *_) = pdf_pages(drawing, paper="A4")
    assert "score 2.5 mm deep" in page and "drill 12 mm deep" in page
