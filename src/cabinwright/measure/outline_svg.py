"""Chains of lines and arcs from an SVG, y turned up, in its own unit, and that unit where it is stated."""

from __future__ import annotations

import cmath
import io
import math
import re
from typing import Any

import numpy as np

from cabinwright.errors import RecordingError
from cabinwright.measure.outline_units import UNITS_M, Stated
from cabinwright.physics.arcs import Segment, arc_through

__all__ = ["svg_chains"]

SHAPES = ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon")
GROUPS = ("svg", "g", "title", "desc", "metadata", "defs", "style")
LIMIT_ELEMENTS, LIMIT_DEPTH, LIMIT_SEGMENTS = 20_000, 40, 20_000
APART = 0.01  #: scales across and up that differ less were rounded
DEEPEST = 7  #: a curve is halved so often at most
FLAT = 2e-4  #: arcs stand for a curve within this part of its length
_SIZE = re.compile(r"\s*([0-9.eE+-]+)\s*(mm|cm|in|m)\s*$")


def svg_chains(content: bytes, file: str) -> tuple[list[tuple[Segment, ...]], Stated | None]:
    """Raises ``RecordingError`` where the file is no SVG, or holds what a drawing of lines does not need."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        root = fromstring(content, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise RecordingError(f"{file}: it declares entities or refers to other files. Save it as plain SVG.") from None
    except (ParseError, ValueError, LookupError, RecursionError) as error:
        raise RecordingError(f"{file}: cannot be read as SVG ({error}). Save it again as plain SVG.") from None
    if _name(root) != "svg":
        raise RecordingError(f"{file}: this is XML but no SVG. Save the drawing as SVG.")
    count = _walk(root, file, 0)
    if count > LIMIT_ELEMENTS:
        raise RecordingError(f"{file}: more than {LIMIT_ELEMENTS} elements. Simplify it.")
    stated = _stated(root)
    return _chains(root, file), stated


def _walk(node: Any, file: str, depth: int) -> int:
    """Take away what draws nothing; refuse what fetches, runs or repeats. Returns how many elements stay."""
    if depth > LIMIT_DEPTH:
        raise RecordingError(f"{file}: groups are nested too deep. Ungroup it.")
    count = 1
    for child in list(node):
        name = _name(child)
        if name in ("title", "desc", "metadata", "style", "defs") or ":" in name:
            node.remove(child)
            continue
        if name not in SHAPES and name not in GROUPS:
            what = {"text": "turn text into paths", "image": "trace it into paths", "use": "break the copies apart"}
            raise RecordingError(
                f"{file}: a <{name[:40]}> is not taken, only paths and shapes are: {what.get(name, 'take it out')}."
            )
        for key in list(child.attrib):
            if _local(key) in ("href", "style", "class") or _local(key).lower().startswith("on"):
                del child.attrib[key]
        count += _walk(child, file, depth + 1)
    return count


def _chains(root: Any, file: str) -> list[tuple[Segment, ...]]:
    from xml.etree.ElementTree import tostring

    from svgelements import SVG, Path, Shape

    root.attrib.pop("width", None)  # user units are wanted; what one is worth is told by _unit
    root.attrib.pop("height", None)
    root.attrib.pop("viewBox", None)
    try:
        parsed = SVG.parse(io.StringIO(tostring(root, encoding="unicode")), reify=True)
        paths = [Path(item) for item in parsed.elements() if isinstance(item, Shape)]
    except Exception as error:  # a stranger's file can make the reader stumble anywhere
        raise RecordingError(f"{file}: a shape cannot be read ({error}). Save it again as plain SVG.") from None
    chains: list[tuple[Segment, ...]] = []
    total = 0
    for number, path in enumerate(paths, 1):
        for sub in path.as_subpaths():
            try:
                chain = tuple(_segments(Path(sub)))
            except (ValueError, OverflowError, ZeroDivisionError, TypeError) as error:
                raise RecordingError(f"{file}: shape {number} cannot be read ({error}). Draw it again.") from None
            total += len(chain)
            if total > LIMIT_SEGMENTS:
                raise RecordingError(f"{file}: more than {LIMIT_SEGMENTS} lines and arcs. Simplify it.")
            if chain:
                chains.append(chain)
    return chains


def _segments(path: Any) -> list[Segment]:
    from svgelements import Arc, Close, CubicBezier, Line, QuadraticBezier

    rows: list[Segment] = []
    for piece in path:
        if piece.start is None or piece.end is None:
            continue
        if not all(map(cmath.isfinite, (_up(piece.start), _up(piece.end), _up(piece.point(0.5))))):
            raise ValueError("a coordinate is no number")
        if isinstance(piece, Line | Close):
            rows.append(Segment(_up(piece.start), _up(piece.end)))
        elif isinstance(piece, Arc | CubicBezier | QuadraticBezier):
            rows += _arcs(piece, 0.0, 1.0, 0)
    return [row for row in rows if abs(row.chord) > 1e-9]


def _arcs(piece: Any, low: float, high: float, depth: int) -> list[Segment]:
    """A curve as arcs through three of its points each, halved until they lie on it."""
    points = [_up(piece.point(low + (high - low) * share)) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    if abs(points[4] - points[0]) > 1e-12:
        try:
            arc = arc_through(points[0], points[2], points[4])
        except ValueError:
            arc = Segment(points[0], points[4])
        off = float(np.max(arc.distance_m(np.array([points[1], points[3]]))))
        if abs(arc.sweep_rad) < 3.0 and (off < FLAT * abs(points[4] - points[0]) or depth >= DEEPEST):
            return [arc]
    if depth >= DEEPEST:
        return [Segment(points[0], points[4])]
    middle = (low + high) / 2.0
    return _arcs(piece, low, middle, depth + 1) + _arcs(piece, middle, high, depth + 1)


def _stated(root: Any) -> Stated | None:
    """One user unit: the stated width over that of the view box, and the same of its height; None where neither is real."""
    view = root.get("viewBox", "").replace(",", " ").split()
    if len(view) != 4:
        return None
    wide, high = (_unit(root.get(key, ""), across) for key, across in (("width", view[2]), ("height", view[3])))
    if wide is None:
        return None
    if high is None or abs(high[0] / wide[0] - 1.0) < APART:
        return Stated(*wide)
    return Stated(
        *wide, "its width and its height do not fit its viewBox by one scale", ("the height's scale", high[0])
    )


def _unit(size: str, across: str) -> tuple[float, str] | None:
    """Metres of one user unit, and the unit that the size is written in."""
    stated = _SIZE.match(size)
    if stated is None:
        return None
    try:
        wide = float(across)
        unit = float(stated[1]) * UNITS_M[stated[2]] / wide if wide > 0.0 else 0.0
    except ValueError:
        return None
    return (unit, stated[2]) if 0.0 < unit < math.inf else None


def _up(point: Any) -> complex:
    return complex(float(point.x), -float(point.y))


def _name(node: Any) -> str:
    return _local(node.tag) if isinstance(node.tag, str) else "comment:"


def _local(name: str) -> str:
    return name.rsplit("}", 1)[-1]
