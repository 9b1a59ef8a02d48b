"""Cut templates as PDF at 1:1, tiled on A4 or Letter: registration marks in the overlaps, a 100 mm check bar on each page."""

from __future__ import annotations

import math
from html import escape

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cabinwright.drawings.cut import CutDrawing, layer_words
from cabinwright.drawings.cut_svg import colour_of, shapes_svg
from cabinwright.drawings.diagram_text import FONT
from cabinwright.drawings.pdf import page_size_mm, pdf_from_svg

__all__ = ["MOST_PAGES", "pdf_pages", "template_pdf"]

MM = 1000.0
MARGIN_MM, FOOT_MM, OVERLAP_MM = 12.0, 16.0, 10.0
CHECK_MM = 100.0
LINE_MM = 0.15
KEY_MM = 2.6  #: letters beside the bar
MOST_PAGES = 80  #: more is no template any more
CHORD_M = 1e-4  #: how far a chord may be off its arc where only a page's use is asked for


def template_pdf(drawing: CutDrawing, *, paper: str) -> bytes:
    """All tiles of the drawing, row by row from the upper left. Raises ``ValueError`` beyond ``MOST_PAGES``."""
    pages = pdf_pages(drawing, paper=paper)
    return pdf_from_svg(pages, paper=paper, landscape=False, title=f"{drawing.title}, 1:1")


def pdf_pages(drawing: CutDrawing, *, paper: str) -> list[str]:
    """Each page as SVG whose unit is a millimetre."""
    width, height = page_size_mm(paper)
    tile = (width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM - FOOT_MM)
    step = (tile[0] - OVERLAP_MM, tile[1] - OVERLAP_MM)
    size = tuple(MM * (b - a) + 2.0 for a, b in zip(drawing.low, drawing.high, strict=True))
    columns, rows = (max(1, math.ceil((whole - OVERLAP_MM) / way)) for whole, way in zip(size, step, strict=True))
    if columns * rows > MOST_PAGES:
        raise ValueError(f"{columns * rows} pages of {paper} are more than a template is good for")
    area, pages = _area(drawing), []
    for row in range(rows):
        for column in range(columns):
            left = MM * drawing.low[0] - 1.0 + column * step[0]
            top = MM * drawing.high[1] + 1.0 - row * step[1]
            if area.intersects(shapely.box(left, top - tile[1], left + tile[0], top)):
                pages.append((complex(left, top), f"row {row + 1} of {rows}, column {column + 1} of {columns}"))
    blank = columns * rows - len(pages)
    left_out = f" Pages left out, as nothing of it lies there: {blank} of {columns * rows}." if blank else ""
    return [_page(drawing, corner, tile, (width, height), name, left_out) for corner, name in pages]


def _area(drawing: CutDrawing) -> BaseGeometry:
    """What the part covers [mm]: pages beside it are blank. Those within it stay, blank or not: they hold the others in place."""
    shapes = []
    for line in drawing.lines:
        points = np.concatenate([part.flattened(CHORD_M) for part in line.segments] + [[line.segments[-1].end]])
        chain = MM * np.column_stack((points.real, points.imag))
        shapes.append(shapely.make_valid(shapely.Polygon(chain)) if line.closed else shapely.LineString(chain))
    centres = [(MM * item.centre.real, MM * item.centre.imag) for item in drawing.rounds]
    whole = shapely.union_all([*shapes, shapely.MultiPoint(centres)])
    return whole if shapely.get_num_geometries(whole) == 1 else whole.convex_hull


def _page(
    drawing: CutDrawing,
    corner: complex,
    tile: tuple[float, float],
    paper: tuple[float, float],
    name: str,
    left_out: str,
) -> str:
    """One tile: ``corner`` [mm] is its upper left one in the drawing's own axes."""
    seen = _seen(drawing, corner, tile)
    body = "".join(
        f'<g fill="none" stroke="{colour_of(layer)}" stroke-width="{LINE_MM}">{shapes_svg(seen, layer, corner)}</g>'
        for layer, _ in seen.layers
    )
    text = f'font-family="{FONT}" font-size="3" fill="#1f2a33"'
    foot = paper[1] - MARGIN_MM
    bar = (
        f'<path d="M{MARGIN_MM} {foot - 8}v4M{MARGIN_MM} {foot - 6}h{CHECK_MM}M{MARGIN_MM + CHECK_MM} {foot - 8}v4" '
        f'fill="none" stroke="#1f2a33" stroke-width="0.25"/>'
    )
    says = f"{drawing.title}: {name}. Print at 100 %, not fitted: the bar measures 100 mm. Join at the crosses."
    more = (drawing.notes[0] if drawing.notes else "") + left_out
    made = f'<text x="{MARGIN_MM}" y="{foot + 4}" {text}>{escape(more.strip())}</text>' if more else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{paper[0]}mm" height="{paper[1]}mm" '
        f'viewBox="0 0 {paper[0]} {paper[1]}" aria-label="{escape(says)}">'
        f'<clipPath id="tile"><rect width="{tile[0]}" height="{tile[1]}"/></clipPath>'
        f'<g transform="translate({MARGIN_MM} {MARGIN_MM})"><g clip-path="url(#tile)">{body}</g>{_crosses(tile)}</g>'
        f"{bar}{_key(drawing, MARGIN_MM + CHECK_MM + 4.0, foot, paper[0] - MARGIN_MM)}"
        f'<text x="{MARGIN_MM}" y="{foot}" {text}>{escape(says)}</text>{made}</svg>'
    )


def _key(drawing: CutDrawing, left: float, foot: float, right: float) -> str:
    """What the colours stand for, beside the bar, in one or two rows."""
    rows, x, y = [], left, foot - 9.0
    for layer, _ in drawing.layers:
        words = layer_words(layer)
        wide = 6.0 + KEY_MM * 0.62 * len(words) + 3.0
        if x + wide > right and x > left:
            x, y = left, y + 1.4 * KEY_MM
        rows.append(
            f'<path d="M{x:.1f} {y - 0.9:.1f}h5" stroke="{colour_of(layer)}" stroke-width="0.6"/>'
            f'<text x="{x + 6.0:.1f}" y="{y:.1f}" font-family="{FONT}" font-size="{KEY_MM}" fill="#1f2a33">{words}</text>'
        )
        x += wide
    return "".join(rows)


def _seen(drawing: CutDrawing, corner: complex, tile: tuple[float, float]) -> CutDrawing:
    """What reaches into the tile: a field of thousands of holes is not repeated on every page."""
    low = complex(corner.real, corner.imag - tile[1]) / MM
    high = complex(corner.real + tile[0], corner.imag) / MM
    rounds = tuple(
        item
        for item in drawing.rounds
        if low.real - item.diameter_m < item.centre.real < high.real + item.diameter_m
        and low.imag - item.diameter_m < item.centre.imag < high.imag + item.diameter_m
    )
    lines = []
    for line in drawing.lines:
        boxes = np.array([segment.bounds() for segment in line.segments])
        x0, y0 = boxes[:, :2].min(axis=0)
        x1, y1 = boxes[:, 2:].max(axis=0)
        if x1 >= low.real and x0 <= high.real and y1 >= low.imag and y0 <= high.imag:
            lines.append(line)
    return CutDrawing(drawing.title, drawing.notes, rounds, tuple(lines), drawing.low, drawing.high)


def _crosses(tile: tuple[float, float]) -> str:
    """A cross in the middle of the overlap at each corner: on the next page it lies at the same point of the drawing."""
    near = OVERLAP_MM / 2.0
    marks = []
    for x in (near, tile[0] - near):
        for y in (near, tile[1] - near):
            marks.append(f"M{x - 3} {y}h6M{x} {y - 3}v6")
            marks.append(f"M{x + 1.5} {y}a1.5 1.5 0 1 1 -3 0a1.5 1.5 0 1 1 3 0")
    frame = f"M0 0h{tile[0]}v{tile[1]}h{-tile[0]}z"
    return (
        f'<path d="{"".join(marks)}" fill="none" stroke="#1f2a33" stroke-width="0.2"/>'
        f'<path d="{frame}" fill="none" stroke="#9aa5ad" stroke-width="0.1" stroke-dasharray="1 1"/>'
    )
