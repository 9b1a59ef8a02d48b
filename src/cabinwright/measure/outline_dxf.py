"""Chains of lines and arcs from a DXF, in the drawing's own unit, and that unit where it is stated."""

from __future__ import annotations

import io
import math
from itertools import pairwise
from typing import Any

import numpy as np

from cabinwright.errors import RecordingError
from cabinwright.measure.outline_units import UNITS_M, Stated
from cabinwright.physics.arcs import Segment

__all__ = ["dxf_chains"]

INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
US = ("in", "ft")
MEASUREMENT = {0: "US units", 1: "metric ones"}
FEET_AND_INCHES = (3, 4)  #: $LUNITS: engineering, architectural
LIMIT_ENTITIES, LIMIT_SEGMENTS, LIMIT_POINTS = 20_000, 20_000, 5_000
LEVEL = 1e-6  #: heights that differ by no more are one, in the drawing's unit
IGNORED = ("TEXT", "MTEXT", "DIMENSION", "POINT", "HATCH", "LEADER", "MULTILEADER", "VIEWPORT")
"""What says something beside the outline and is no part of it."""
FLAT = 1e-4  #: chords of ellipses and splines, as a part of the drawing's size


def dxf_chains(content: bytes, file: str) -> tuple[list[tuple[Segment, ...]], Stated | None]:
    """Raises ``RecordingError`` where the file is no DXF, or holds what no outline holds."""
    from ezdxf.filemanagement import read

    if b"Binary DXF" in content[:32]:
        raise RecordingError(f"{file}: this is a binary DXF and only text is read. Save it as text (ASCII) DXF.")
    if b"SECTION" in content and not content.rstrip().endswith(b"EOF"):
        raise RecordingError(
            f"{file}: its end is missing: a DXF ends with EOF. It was cut short; copy or save it again."
        )
    try:
        document = read(io.StringIO(content.decode("utf-8", errors="replace").replace("\r\n", "\n")))
        stated = _stated(document.header, content)
        entities = list(document.modelspace())
    except Exception as error:  # a stranger's file can make the reader stumble anywhere
        raise RecordingError(f"{file}: cannot be read as DXF ({type(error).__name__}). Save it again as DXF.") from None
    if len(entities) > LIMIT_ENTITIES:
        raise RecordingError(f"{file}: more than {LIMIT_ENTITIES} entities. Save only the outline.")
    chains: list[tuple[Segment, ...]] = []
    total = 0
    for entity in entities:
        kind, place = entity.dxftype(), f"handle {entity.dxf.handle}"
        if kind in IGNORED:
            continue
        if kind not in READERS:
            raise RecordingError(
                f"{file}: a {kind} is no part of an outline ({place}). Explode blocks, take out the rest, save it again."
            )
        try:
            _flat(entity)
            chain = READERS[kind](entity)
        except Exception as error:
            raise RecordingError(f"{file}: a {kind} ({place}) cannot be read ({error}). Draw it again.") from None
        total += len(chain)
        if total > LIMIT_SEGMENTS:
            raise RecordingError(f"{file}: more than {LIMIT_SEGMENTS} lines and arcs. Simplify it.")
        chains.append(chain)
    return [chain for chain in chains if chain], stated


def _stated(header: Any, content: bytes) -> Stated | None:
    """The unit in the header, and what in it speaks against that; what is not said, the reader would put a default in for."""
    unit, measurement, words = (
        int(header.get(key, 0)) if key.encode() in content else None for key in ("$INSUNITS", "$MEASUREMENT", "$LUNITS")
    )
    name = INSUNITS.get(unit or 0)
    if name is None:
        return None
    doubt = ""
    if measurement in MEASUREMENT and (name in US) == (measurement == 1):
        doubt = f"its $INSUNITS says {name}, its $MEASUREMENT {MEASUREMENT[measurement]}"
    elif words in FEET_AND_INCHES and name not in US:
        doubt = f"its $INSUNITS says {name}, its $LUNITS feet and inches"
    return Stated(UNITS_M[name], name, doubt)


def _flat(entity: Any) -> None:
    """Raises ``ValueError`` for what does not lie level, or has more points than anybody drew."""
    dxf, kind = entity.dxf, entity.dxftype()
    points: list[Any] = []
    if kind == "LINE":
        points = [dxf.start, dxf.end]
    elif kind == "SPLINE":
        points = [*entity.control_points, *entity.fit_points]
    elif kind == "POLYLINE":
        points = [vertex.dxf.location for vertex in entity.vertices]
    heights = [float(point[2]) for point in points]
    if heights and not max(heights) - min(heights) <= LEVEL:
        raise ValueError("its z changes and only flat drawings are taken; project it onto a plane")
    if kind != "LINE" and max(map(abs, tuple(getattr(dxf, "extrusion", (0, 0, 1)))[:2])) > LEVEL:
        raise ValueError("it is drawn in a tilted plane and only flat drawings are taken; project it onto a plane")
    if kind == "SPLINE" and len(points) > LIMIT_POINTS:
        raise ValueError(f"it has more than {LIMIT_POINTS} points; simplify it")


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
    if entity.dxftype() == "ELLIPSE":
        size = 2.0 * float(entity.dxf.major_axis.magnitude)
    else:
        held = [_at(point) for point in (*entity.control_points, *entity.fit_points)]
        size = max((abs(point - held[0]) for point in held), default=0.0)
    if not math.isfinite(size):
        raise ValueError("a coordinate is no number")
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
