"""Cut files traced by other programs and compared, pixel by pixel, with the area that was meant.

The file: ezdxf or svgelements reads it, its own flattening makes polygons, matplotlib tells which pixels lie in them. The
intention: shapely, from the part's finished outline, its kerf and its holes. A pixel may differ only within 0.02 mm of an edge.
"""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.path import make_path
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path as Shape
from numpy.typing import NDArray
from shapely import Point, Polygon, affinity
from svgelements import SVG, Close, Group, Line, Move
from svgelements import Path as SvgPath

from cabinwright.build.codec import load
from cabinwright.drawings.cut import part_drawing
from cabinwright.drawings.cut_dxf import dxf_text
from cabinwright.drawings.cut_svg import COLOURS, svg_text
from cabinwright.handover.workshop_page import workshop_documents
from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.perforation import Field
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.workshop.files import planned_files
from cabinwright.stages.workshop.result import Part, WorkshopResult
from drawings.test_cut import part

DEMO = Path(__file__).parents[2] / "demo" / "build"
EDGE_MM = 0.02
READ_MM = 0.03  #: for the demo: ezdxf reads an arc as a cubic, off by 2.7e-4 of its radius in a quarter turn
UNIT_MM = {1: 25.4, 4: 1.0, 5: 10.0, 6: 1000.0}  #: DXF reference of $INSUNITS
LAYERS = ("cut", "drill")
Points = NDArray[np.float64]
Rings = dict[str, list[Points]]
Shapes = dict[str, list[Polygon]]


def traced_dxf(text: str) -> Rings:
    """Closed contours by layer in millimetres, by ezdxf alone."""
    document = ezdxf.read(io.StringIO(text))
    unit = UNIT_MM[document.header["$INSUNITS"]]
    rings: Rings = {layer: [] for layer in LAYERS}
    for entity in document.modelspace():
        layer = entity.dxf.layer.partition("-")[0]  # a blind hole's layer names its depth
        if layer not in LAYERS:
            continue
        points = unit * np.array([(at.x, at.y) for at in make_path(entity).flattening(0.005, 8)])
        assert np.allclose(points[0], points[-1], atol=1e-9), f"an open {entity.dxftype()} on {layer}"
        rings[layer].append(points)
    return rings


def traced_svg(text: str) -> Rings:
    """The same from an SVG: 25.4 dots an inch make svgelements count in millimetres, y turned up."""
    rings: Rings = {layer: [] for layer in LAYERS}
    inks = {COLOURS[layer]: layer for layer in LAYERS}
    for item in SVG.parse(io.StringIO(text), ppi=25.4, reify=True).elements():
        ink = str(item.values.get("stroke"))
        layer = None if isinstance(item, Group) else "drill" if ink.startswith("#d27a") else inks.get(ink)
        if layer is None:
            continue
        path = SvgPath(item)
        rows = []
        for piece in path:
            if isinstance(piece, Move):
                continue
            near = abs(complex(piece.end) - complex(piece.start)) < 6.0
            shares = np.linspace(0.0, 1.0, 2 if isinstance(piece, Line | Close) else 9 if near else 129)
            rows.append(np.array([(at.x, at.y) for at in map(piece.point, shares)]))
        points = np.concatenate(rows)
        assert np.allclose(points[0], points[-1], atol=1e-3), f"an open path on {layer}"
        rings[layer].append(points * (1.0, -1.0))
    return rings


def intended(item: Part) -> Shapes:
    """What is to be cut and drilled, in millimetres, by shapely."""

    def outline(contour: Contour, grown_m: float) -> Polygon:
        return affinity.scale(
            Polygon(contour.as_polygon(1e-7)).buffer(grown_m, quad_segs=64), 1e3, 1e3, origin=(0.0, 0.0)
        )

    def rounds(field: Field, less_m: float) -> list[Polygon]:
        return [
            Point(1e3 * at.real, 1e3 * at.imag).buffer(500.0 * (size - less_m), quad_segs=64)
            for at, size in zip(field.centres, field.diameters_m, strict=True)
        ]

    half, bored = item.kerf_m / 2.0, item.cutter in ("router", "saw")
    body = outline(item.outline, half)
    if item.banded:
        assert item.rectangle or item.banded == ("all round",)
        width, height = (1e3 * value for value in item.size_m)
        sides = item.banded
        less = [
            1e3 * item.banding_m * sum(side in sides or "all round" in sides for side in pair)
            for pair in (("left", "right"), ("bottom", "top"))
        ]
        assert item.kerf_m == 0.0
        body = shapely.box(*body.bounds)
        x0, y0 = body.bounds[:2]
        x0 += 1e3 * item.banding_m * ("left" in sides or "all round" in sides)
        y0 += 1e3 * item.banding_m * ("bottom" in sides or "all round" in sides)
        body = shapely.box(x0, y0, x0 + width - less[0], y0 + height - less[1])
    shapes: Shapes = {"cut": [body, *(outline(opening, -half) for opening in item.openings)], "drill": []}
    shapes["drill" if bored else "cut"] += rounds(item.holes, 0.0 if bored else item.kerf_m)
    shapes["drill"] += rounds(item.drills, 0.0)
    shapes["drill"] += [
        Point(1e3 * bore.at.real, 1e3 * bore.at.imag).buffer(500.0 * bore.diameter_m, quad_segs=64)
        for bore in item.joinery.face_bores
    ]
    return shapes


def pixels(boxes: Points) -> Points:
    """Centres: a grid over all, and a finer one over each contour, however small it is."""

    def grid(box: Points, across: int) -> Points:
        at = (np.arange(across) + 0.5) / across
        x, y = (box[k] + (box[k + 2] - box[k]) * (1.2 * at - 0.1) for k in (0, 1))
        return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)

    whole = np.concatenate([boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)])
    return np.concatenate([grid(whole, 90), *(grid(box, 7) for box in boxes)])


def off_mm(rings: list[Points], shapes: list[Polygon]) -> float:
    """How far from any edge the worst pixel lies about which the file and the intention differ."""
    drawn = np.array([[*ring.min(axis=0), *ring.max(axis=0)] for ring in rings]).reshape(-1, 4)
    meant = np.array([shape.bounds for shape in shapes]).reshape(-1, 4)
    if not len(drawn) and not len(meant):
        return 0.0
    at = pixels(np.concatenate([drawn, meant]))
    order = np.argsort(at[:, 0])
    at = at[order]
    inside = np.zeros((2, len(at)), dtype=bool)
    for row, boxes in enumerate((drawn, meant)):
        for number, box in enumerate(boxes):
            low, high = np.searchsorted(at[:, 0], box[[0, 2]])
            some = low + np.flatnonzero(np.abs(at[low:high, 1] - (box[1] + box[3]) / 2) <= (box[3] - box[1]) / 2)
            near = at[some]
            if row == 0:
                held = Shape(rings[number]).contains_points(near)
            else:
                held = shapely.contains_xy(shapes[number], near[:, 0], near[:, 1])
            inside[row, some] ^= held
    differ = at[inside[0] != inside[1]]
    if not len(differ):
        return 0.0
    edges = shapely.STRtree([shape.boundary for shape in shapes] or [Point(1e9, 1e9)])
    return float(edges.query_nearest(shapely.points(differ), return_distance=True)[1].max())


def aligned(rings: Rings, shapes: Shapes) -> Rings:
    """An SVG has its own origin: laid so that the lower left of what is cut is where it was meant; its scale stays."""
    here = np.min([ring.min(axis=0) for ring in rings["cut"]], axis=0)
    there = np.min([shape.bounds[:2] for shape in shapes["cut"]], axis=0)
    return {layer: [ring + there - here for ring in some] for layer, some in rings.items()}


def worst_mm(text: str, shapes: Shapes) -> float:
    svg = "<svg" in text
    rings = aligned(traced_svg(text), shapes) if svg else traced_dxf(text)
    return max(off_mm(rings[layer], shapes[layer]) for layer in LAYERS)


@cache
def demo() -> tuple[WorkshopResult, dict[str, Any]]:
    build = load(DEMO)
    result = workshop.run(build, enclosure.run(build))
    assert result is not None
    return result, dict(workshop_documents(build, result))


def on_sheet(result: WorkshopResult, number: int) -> Shapes:
    shapes: Shapes = {layer: [] for layer in LAYERS}
    for placed in result.nesting[number].placed:
        for layer, some in intended(result.parts[placed.part]).items():
            turned = [affinity.rotate(shape, placed.turn_deg, origin=(0.0, 0.0)) for shape in some]
            x, y = (1e3 * value for value in placed.shift_m)
            shapes[layer] += [affinity.translate(shape, x, y) for shape in turned]
    return shapes


@pytest.mark.parametrize("kind", ["dxf", "svg"])
def test_every_file_of_the_demo_cuts_what_was_meant(kind: str) -> None:
    result, files = demo()
    some = [item for item in planned_files(result) if item.kind == kind]
    assert len(some) > 5
    off = {}
    for item in some:
        shapes = intended(result.parts[item.part]) if item.part is not None else on_sheet(result, item.sheet or 0)
        off[item.name] = worst_mm(files[item.name], shapes)
    assert {name: value for name, value in off.items() if value > READ_MM} == {}


@st.composite
def panels(draw: st.DrawFn) -> Part:
    """A bent panel with an opening, perforation and drilled holes, cut by any cutter with any kerf."""
    width, height = draw(st.floats(0.08, 0.9)), draw(st.floats(0.06, 0.5))
    bow = draw(st.floats(-0.02, 0.02))
    corners = [
        Corner(0), Corner(width), Corner(complex(width, height), via=complex(width + bow, height / 2)), Corner(1j * height)
    ]  # fmt: skip
    outline = Contour(from_corners(corners, fillet_m=draw(st.floats(0.002, 0.009))))
    x, y = np.meshgrid(np.linspace(0.12, 0.3, 5) * width, np.linspace(0.15, 0.85, draw(st.integers(2, 6))) * height)
    sizes = np.linspace(0.0015, draw(st.floats(0.0016, 0.004)), x.size)
    return part(
        outline=outline,
        openings=(circle(complex(0.65 * width, 0.5 * height), draw(st.floats(0.01, 0.4)) * min(width, height)),),
        holes=Field((x + 1j * y).ravel(), sizes),
        drills=Field(np.array([complex(0.4 * width, 0.2 * height)]), np.array([0.004])),
        cutter=draw(st.sampled_from(["laser", "router", "saw", "knife"])),
        kerf_m=draw(st.sampled_from([0.0, 0.0002, 0.0008])),
    )


@settings(max_examples=6)
@given(panels())
def test_any_panel_is_cut_as_it_was_meant(item: Part) -> None:
    drawing, shapes = part_drawing(item), intended(item)
    assert worst_mm(dxf_text(drawing), shapes) < EDGE_MM
    assert worst_mm(svg_text(drawing), shapes) < EDGE_MM


@pytest.mark.parametrize("text", [dxf_text, svg_text], ids=["dxf", "svg"])
def test_the_comparison_sees_a_missing_hole_a_wrong_scale_and_a_wrong_unit(text: Any) -> None:
    item = part(lines=())
    shapes = intended(item)
    whole = text(part_drawing(item))
    assert worst_mm(whole, shapes) < EDGE_MM
    fewer = part(lines=(), holes=Field(item.holes.centres[:1], item.holes.diameters_m[:1]))
    assert worst_mm(text(part_drawing(fewer)), shapes) > 50 * EDGE_MM
    larger = {
        layer: [affinity.scale(shape, 1.01, 1.01, origin=(0.0, 0.0)) for shape in some]
        for layer, some in shapes.items()
    }
    assert worst_mm(whole, larger) > 50 * EDGE_MM
    inches = whole.replace("$INSUNITS\n 70\n4", "$INSUNITS\n 70\n1").replace('mm" ', 'in" ')
    assert inches != whole
    assert worst_mm(inches, shapes) > 50 * EDGE_MM
