"""Outlines of the flat parts of rings and pods, in the frame of `physics.wedge`: x to where the body is thinnest."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, circle
from cabinwright.physics.strokes import strokes, strokes_width_m
from cabinwright.physics.wedge import Wedge

__all__ = ["Chain", "Layer", "angle_mark", "layers_of", "notched", "number_mark", "polygon", "rib", "rib_turns"]

Chain = tuple[Segment, ...]

FLAT_M = 1e-4  #: a surface that rises less than this across the ring is square to the axis
SLIVER_M = 0.003  #: a last layer narrower than this is left to glue
TIP_M = 0.002  #: a bridge beside the bore narrower than this is cut open, for it would break
TEXT_M = 0.006  #: height of marked figures where there is room
CLEAR_M = 0.002  #: ribs keep so far from the hole


@dataclass(frozen=True)
class Layer:
    """One board of a stack; it is symmetrical about the x axis, so that it may be cut face down."""

    outline: Contour
    openings: tuple[Contour, ...]
    planed_to: tuple[Chain, ...]  #: on its lower face: as far as the cut edge is planed down to the surface
    reach_m: float  #: greatest x of its upper face
    whole: bool


def layers_of(body: Wedge, thickness_m: float) -> Iterator[Layer]:
    """Boards from the loudspeaker's plane down; those that meet the surface end where their upper face meets it."""
    radius, hole, slope = body.outer_m / 2.0, body.bore_m / 2.0, body.slope
    flat = radius * slope < FLAT_M
    high, first = body.height_m, True
    while True:
        reach = math.inf if flat else high / slope
        if not first and (high < FLAT_M if flat else reach < SLIVER_M - radius):
            return
        low = high - thickness_m
        planed = () if flat else tuple(_line_at(low / slope, reach, radius, hole))
        if reach > radius - 5e-4:
            yield Layer(circle(0j, body.outer_m), (circle(0j, body.bore_m),), planed, radius, True)
        else:
            yield _cut_off(reach, radius, hole, planed)
        high, first = low, False


def _cut_off(reach: float, radius: float, hole: float, planed: tuple[Chain, ...]) -> Layer:
    if reach >= hole + TIP_M:
        return Layer(_cap(reach, radius), (circle(0j, 2.0 * hole),), planed, reach, False)
    reach = min(reach, hole - TIP_M / 4.0)
    if reach <= -hole + TIP_M / 4.0:
        return Layer(_cap(reach, radius), (), planed, reach, False)
    out, inner = math.acos(reach / radius), math.acos(reach / hole)
    way = (
        *_arc(radius, out, 2.0 * math.pi - out),
        Segment(cmath.rect(radius, -out), cmath.rect(hole, -inner)),
        *_arc(hole, 2.0 * math.pi - inner, inner),
        Segment(cmath.rect(hole, inner), cmath.rect(radius, out)),
    )
    return Layer(Contour(way), (), planed, reach, False)


def _cap(reach: float, radius: float) -> Contour:
    """A disc as far as x = reach."""
    out = math.acos(reach / radius)
    return Contour(
        (*_arc(radius, out, 2.0 * math.pi - out), Segment(cmath.rect(radius, -out), cmath.rect(radius, out)))
    )


def _arc(radius: float, start: float, end: float) -> Chain:
    """Round the origin from one angle to another, in two halves."""
    middle, bulge = (start + end) / 2.0, math.tan((end - start) / 8.0)
    at = [cmath.rect(radius, turn) for turn in (start, middle, end)]
    return Segment(at[0], at[1], bulge), Segment(at[1], at[2], bulge)


def _line_at(x: float, reach: float, radius: float, hole: float) -> Iterator[Chain]:
    """A line across the ring at x, without the hole."""
    if not -radius < x < min(reach, radius):
        return
    top = math.sqrt(radius**2 - x**2)
    if abs(x) < hole:
        inner = math.sqrt(hole**2 - x**2)
        yield (Segment(complex(x, inner), complex(x, top)),)
        yield (Segment(complex(x, -top), complex(x, -inner)),)
    else:
        yield (Segment(complex(x, -top), complex(x, top)),)


def angle_mark(angle_deg: float, *, low_m: float, high_m: float, reach_m: float = math.inf) -> tuple[Chain, ...]:
    """The angle and a tick at the thickest side of a ring between two radii; nothing where there is no room."""
    wide = high_m - low_m
    text = f"{angle_deg:.1f}°"
    size = min(TEXT_M, 0.4 * wide)
    middle = -(low_m + high_m) / 2.0
    if middle + size > reach_m or strokes_width_m(text, size) > 1.2 * high_m:
        return ()
    tick = (Segment(complex(-high_m + 0.05 * wide), complex(-high_m + 0.22 * wide)),)
    return tick, *strokes(text, centre=complex(middle), height_m=size, turn=-1j)


def number_mark(number: int, *, centre: complex, height_m: float) -> tuple[Chain, ...]:
    """A number, upright."""
    return strokes(str(number), centre=centre, height_m=height_m)


def rib_turns(count: int, taken: tuple[complex, ...]) -> tuple[float, ...]:
    """Angles of evenly spread ribs, as far as can be from screws and from the mark at the thickest side."""
    avoid = [cmath.phase(at) for at in taken] + [math.pi]
    pitch = 2.0 * math.pi / count

    def room(offset: float) -> float:
        return min(abs((turn - offset + pitch / 2.0) % pitch - pitch / 2.0) for turn in avoid)

    best = max((pitch * k / 64.0 for k in range(64)), key=lambda offset: round(room(offset), 9))
    return tuple(best + pitch * k for k in range(count))


def notched(outer_m: float, turns: tuple[float, ...], *, inner_m: float, width_m: float) -> Contour:
    """A disc with a slot from its rim down to radius ``inner_m`` at every angle."""
    radius, half = outer_m / 2.0, width_m / 2.0
    lean, way = math.asin(half / radius), []
    order = sorted(turn % (2.0 * math.pi) for turn in turns)
    along = math.sqrt(radius**2 - half**2)
    for turn, after in zip(order, [*order[1:], order[0] + 2.0 * math.pi], strict=True):
        corners = [cmath.rect(1.0, turn) * at for at in (
            complex(along, -half), complex(inner_m, -half), complex(inner_m, half), complex(along, half)
        )]  # fmt: skip
        way += [Segment(a, b) for a, b in pairwise(corners)]
        way += _arc(radius, turn + lean, after - lean)
    starts = [segment.start for segment in way]
    ends = [*starts[1:], starts[0]]
    return Contour(tuple(Segment(a, b, s.bulge) for a, b, s in zip(starts, ends, way, strict=True)))


def rib(body: Wedge, turn: float, *, ring_m: float, foot_m: float) -> Contour:
    """A rib at an angle: radius to the right, height up. It stands on the foot's board and fills its slot in the ring."""
    start, top = body.edge(turn)
    rise = math.cos(turn) * body.slope
    board = foot_m / math.cos(body.angle_rad)
    share = board / (body.height_m - start.imag - (top.real - start.real) * rise)
    low = start + share * (top - start)
    inner = body.bore_m / 2.0 + CLEAR_M
    middle = (body.bore_m + body.outer_m) / 4.0
    under = body.height_m - ring_m
    return polygon(
        complex(inner, inner * rise + board),
        low,
        top,
        complex(middle, body.height_m),
        complex(middle, under),
        complex(inner, under),
    )


def polygon(*points: complex) -> Contour:
    """Straight from point to point."""
    return Contour(tuple(Segment(a, b) for a, b in zip(points, (*points[1:], points[0]), strict=True)))
