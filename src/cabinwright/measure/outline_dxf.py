"""Chains of lines and arcs from a DXF, in the drawing's own unit, and that unit in metres where it is stated."""

from __future__ import annotations

import io
import math
from itertools import pairwise
from typing import Any

import numpy as np

from cabinwright.errors import RecordingError
from cabinwright.physics.arcs import Segment

__all__ = ["dxf_chains"]

INSUNITS_M = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0}
LIMIT_ENTITIES = 20_000
IGNORED = ("TEXT", "MTEXT", "DIMENSION", "POINT", "HATCH", "LEADER", "MULTILEADER", "VIEWPORT")
"""What says something beside the outline and is no part of it."""
FLAT = 1e-4  #: chords of ellipses and splines, as a part of the drawing's size


def dxf_chains(content: bytes, file: str) -> tuple[list[tuple[Segment, ...]], float | None]:
    """Raises ``RecordingError`` where the file is no DXF, or holds what no outline holds."""
    from ezdxf.filemanagement import read
    from ezdxf.lldxf.const import DXFError

    try:
        document = read(io.StringIO(content.decode("utf-8", errors="replace").replace("\r\n", "\n")))
    except (DXFError, ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError, OSError) as error:
        raise RecordingError(f"{file}: cannot be read as DXF ({type(error).__name__}). Save it again as DXF.") from None
    unit = INSUNITS_M.get(int(document.header.get("$INSUNITS", 0)))
    chains: list[tuple[Segment, ...]] = []
    for number, entity in enumerate(document.modelspace()):
        if number >= LIMIT_ENTITIES:
            raise RecordingError(f"{file}: more than {LIMIT_ENTITIES} entities. Save only the outline.")
        kind = entity.dxftype()
        if kind in IGNORED:
            continue
        if kind not in READERS:
            raise RecordingError(
                f"{file}: a {kind} is no part of an outline. Explode blocks, take out images and solids, and save it again."
            )
        try:
            chain = READERS[kind](entity)
        except (DXFError, ValueError, ZeroDivisionError, AttributeError, TypeError) as error:
            raise RecordingError(f"{file}: a {kind} cannot be read ({error}). Draw it again.") from None
        chains += [tuple(segment for segment in chain if abs(segment.chord) > 1e-12)]
    for chain in chains:
        for segment in chain:
            if not all(map(math.isfinite, (*_xy(segment.start), *_xy(segment.end), segment.bulge))):
                raise RecordingError(f"{file}: a coordinate is no number. Draw it again.")
    return [chain for chain in chains if chain], unit


def _line(entity: Any) -> tuple[Segment, ...]:
    return (Segment(_at(entity.dxf.start), _at(entity.dxf.end)),)


def _arc(entity: Any) -> tuple[Segment, ...]:
    sweep = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0 or 360.0
    centre, radius = _at(entity.dxf.center), float(entity.dxf.radius)
    shares = np.linspace(0.0, 1.0, 2 if sweep <= 180.0 else 3)
    angles = np.radians(entity.dxf.start_angle + sweep * shares)
    points = [complex(centre + radius * np.exp(1j * angle)) for angle in angles]
    bulge = math.tan(math.radians(sweep) / (4.0 * (len(points) - 1)))
    mirrored = getattr(entity.dxf, "extrusion", (0, 0, 1))[2] < 0
    chain = tuple(Segment(a, b, bulge) for a, b in pairwise(points))
    return tuple(_mirror(segment) for segment in chain) if mirrored else chain


def _circle(entity: Any) -> tuple[Segment, ...]:
    centre, radius = _at(entity.dxf.center), float(entity.dxf.radius)
    if getattr(entity.dxf, "extrusion", (0, 0, 1))[2] < 0:
        centre = complex(-centre.real, centre.imag)
    return (Segment(centre + radius, centre - radius, 1.0), Segment(centre - radius, centre + radius, 1.0))


def _polyline(entity: Any) -> tuple[Segment, ...]:
    if entity.dxftype() == "LWPOLYLINE":
        rows = [(complex(x, y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
        closed = bool(entity.closed)
    else:
        if not entity.is_2d_polyline:
            raise ValueError("only flat polylines")
        rows = [(_at(vertex.dxf.location), float(vertex.dxf.bulge)) for vertex in entity.vertices]
        closed = bool(entity.is_closed)
    ends = rows[1:] + rows[:1] if closed else rows[1:]
    chain = tuple(Segment(a, b, bulge) for (a, bulge), (b, _) in zip(rows, ends, strict=False))
    mirrored = getattr(entity.dxf, "extrusion", (0, 0, 1))[2] < 0
    return tuple(_mirror(segment) for segment in chain) if mirrored else chain


def _curve(entity: Any) -> tuple[Segment, ...]:
    points = [complex(point.x, point.y) for point in entity.flattening(1.0, 8)]
    size = max(abs(point - points[0]) for point in points) if points else 0.0
    points = [complex(point.x, point.y) for point in entity.flattening(max(FLAT * size, 1e-9), 8)]
    return tuple(Segment(a, b) for a, b in pairwise(points))


READERS = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "LWPOLYLINE": _polyline,
    "POLYLINE": _polyline,
    "ELLIPSE": _curve,
    "SPLINE": _curve,
}


def _mirror(segment: Segment) -> Segment:
    """Seen from below: x turned round, as an extrusion of −z has it."""
    start, end = (complex(-at.real, at.imag) for at in (segment.start, segment.end))
    return Segment(start, end, -segment.bulge)


def _at(point: Any) -> complex:
    return complex(float(point[0]), float(point[1]))


def _xy(at: complex) -> tuple[float, float]:
    return at.real, at.imag
