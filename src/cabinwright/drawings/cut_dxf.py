"""Cut files as DXF (R2000): layers cut, score, mark and drill, arcs as arcs, circles as circles, millimetres stated.

A chain is one polyline whose bulges are its arcs, closed where it is closed, so that no program has to join loose ends. What
goes part through is on a layer of its depth (``score-2.5mm``) and has that, downwards, as its thickness.
"""

from __future__ import annotations

import io
from textwrap import wrap
from typing import Any

from cabinwright.drawings.cut import OPERATIONS, CutDrawing

__all__ = ["DXF_COLOURS", "dxf_text"]

MM = 1000.0
DXF_COLOURS = {"cut": 30, "score": 94, "mark": 174, "drill": 212}
"""Our own indices; a machine goes by the layer's name."""
MILLIMETRES = 4  #: $INSUNITS
COMMENT = 240  #: letters in one line of a comment


def dxf_text(drawing: CutDrawing) -> str:
    """The drawing as DXF text; the same drawing always gives the same text."""
    from ezdxf._options import options
    from ezdxf.filemanagement import new

    before, options.write_fixed_meta_data_for_testing = options.write_fixed_meta_data_for_testing, True
    try:
        document = new("R2000", setup=False, units=MILLIMETRES)
        _fill(document, drawing)
        out = io.StringIO()
        document.write(out)  # without a date and without a random name
    finally:
        options.write_fixed_meta_data_for_testing = before
    said = [row for note in (drawing.title, *drawing.notes) for row in wrap(note, COMMENT)]
    return "\n".join((*(line for row in said for line in ("999", row)), out.getvalue()))


def _fill(document: Any, drawing: CutDrawing) -> None:
    document.header["$MEASUREMENT"] = 1
    document.header["$EXTMIN"] = (MM * drawing.low[0], MM * drawing.low[1], 0.0)
    document.header["$EXTMAX"] = (MM * drawing.high[0], MM * drawing.high[1], 0.0)
    layers = dict.fromkeys([*((operation, operation) for operation in OPERATIONS), *drawing.layers])
    for layer, operation in layers:
        document.layers.add(layer, color=DXF_COLOURS[operation])
    space = document.modelspace()
    for layer, _ in drawing.layers:
        for item in drawing.rounds:
            if item.layer == layer:
                at = MM * item.centre.real, MM * item.centre.imag
                space.add_circle(at, MM * item.diameter_m / 2.0, _looks(layer, item.depth_m))
        for line in drawing.lines:
            if line.layer == layer:
                rows = [(MM * s.start.real, MM * s.start.imag, s.bulge) for s in line.segments]
                if not line.closed:
                    rows.append((MM * line.segments[-1].end.real, MM * line.segments[-1].end.imag, 0.0))
                space.add_lwpolyline(rows, format="xyb", close=line.closed, dxfattribs=_looks(layer, line.depth_m))


def _looks(layer: str, depth_m: float) -> dict[str, Any]:
    return {"layer": layer, "thickness": -MM * depth_m} if depth_m else {"layer": layer}
