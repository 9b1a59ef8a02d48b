"""Cut files as SVG for lasers: millimetres, hairlines, one colour of our own for each operation, arcs as arcs."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from cabinwright.drawings.cut import CutDrawing, Line, layer_words
from cabinwright.physics.arcs import Segment

__all__ = ["COLOURS", "HAIRLINE_MM", "chain_path", "colour_of", "shapes_svg", "svg_text"]

MM = 1000.0
COLOURS = {"cut": "#c2185b", "score": "#00695c", "mark": "#4527a0", "drill": "#b26a00"}
DEEP = {"score": "#008c", "drill": "#d27a"}
"""Of what goes part through: the last two digits are its depth in tenths of a millimetre, as a hexadecimal number."""
HAIRLINE_MM = 0.025
BORDER_MM = 2.0


def svg_text(drawing: CutDrawing) -> str:
    """The drawing as an SVG document, one group for each operation and depth; y runs down as SVG has it."""
    width = MM * (drawing.high[0] - drawing.low[0]) + 2.0 * BORDER_MM
    height = MM * (drawing.high[1] - drawing.low[1]) + 2.0 * BORDER_MM
    corner = complex(drawing.low[0], drawing.high[1]) * MM + complex(-BORDER_MM, BORDER_MM)
    notes = "".join(f"<desc>{escape(note)}</desc>" for note in drawing.notes)
    groups = [
        f'<g id="{layer}" fill="none" stroke="{colour_of(layer)}" stroke-width="{HAIRLINE_MM}">'
        f"{_said(layer)}{shapes_svg(drawing, layer, corner)}</g>"
        for layer, _ in drawing.layers
    ]
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(height)}"><title>{escape(drawing.title)}</title>{notes}\n'
        + "\n".join(groups)
        + "\n</svg>\n"
    )


def colour_of(layer: str) -> str:
    """Colour of a layer's lines: one for each operation, and one for each tenth of a millimetre of depth."""
    operation, _, deep = layer.partition("-")
    if not deep:
        return COLOURS[operation]
    return f"{DEEP[operation]}{min(255, round(10.0 * float(deep.removesuffix('mm')))):02x}"


def _said(layer: str) -> str:
    """A depth in words, for programs that show a group's title."""
    return f"<title>{layer_words(layer)}</title>" if "-" in layer else ""


def shapes_svg(drawing: CutDrawing, layer: str, corner: complex) -> str:
    """All circles and lines of one layer; ``corner`` [mm] is the upper left one, y up."""
    parts = [
        f'<circle cx="{_n(MM * item.centre.real - corner.real)}" cy="{_n(corner.imag - MM * item.centre.imag)}" '
        f'r="{_n(MM * item.diameter_m / 2.0)}"/>'
        for item in drawing.rounds
        if item.layer == layer
    ]
    parts += [f'<path d="{_line(line, corner)}"/>' for line in drawing.lines if line.layer == layer]
    return "".join(parts)


def chain_path(segments: Iterable[Segment], corner: complex, *, closed: bool, scale: float = MM) -> str:
    """A chain as path data in millimetres (or ``scale`` to the metre) from ``corner``, y down."""
    words = []
    for number, segment in enumerate(segments):
        if number == 0:
            words.append("M" + _point(segment.start, corner, scale))
        end = _point(segment.end, corner, scale)
        if segment.is_line:
            words.append("L" + end)
        else:
            wide, turn = int(abs(segment.bulge) > 1.0), int(segment.bulge < 0.0)  # y down turns the sense round
            radius = _n(scale * segment.radius_m)
            words.append(f"A{radius} {radius} 0 {wide} {turn} {end}")
    return " ".join(words) + ("Z" if closed else "")


def _line(line: Line, corner: complex) -> str:
    return chain_path(line.segments, corner, closed=line.closed)


def _point(at: complex, corner: complex, scale: float) -> str:
    return f"{_n(scale * at.real - corner.real)} {_n(corner.imag - scale * at.imag)}"


def _n(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
