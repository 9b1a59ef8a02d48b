"""A box as a customer sees it: standing in its bay with the near wall taken away, shaded, in parallel projection.

Runs are prisms stacked on one another, so that painting far facets before near ones, and each run before the one above it,
leaves nothing showing that is hidden. Rounds in a plane become ellipses by the transform of their group.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html import escape

import numpy as np

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.outline import Contour, OutlineFault
from cabinwright.stages.enclosure.shape_result import ShapeResult

__all__ = ["solid_view", "turn_towards_deg"]

MM = 1e3
CHORD_M = 4e-5
TURN_DEG, FACED_DEG = 24.0, -118.0  #: of a plan with its baffle on top; of the baffle's own outward normal
RISE = math.radians(38.0)  #: the eye over the floor
LIGHT = -130.0  #: where light comes from, in the turned plan
BOARD, SEAM = (199, 170, 128), "#7d6443"
WALL, FLOOR, RIM = (62, 68, 75), "#1c2024", "#8fa0ab"
BORDER_MM, SIDE_MM, FOOT_MM = 26.0, 152.0, 14.0

Words = Callable[[float], str]


@dataclass(frozen=True)
class _Eye:
    """Turned plan and height to paper: x right, y down, millimetres."""

    turn: complex

    def at(self, point: complex, height_m: float) -> tuple[float, float]:
        q = point * self.turn
        return MM * q.real, -MM * (q.imag * math.sin(RISE) + height_m * math.cos(RISE))

    def plane(self, height_m: float) -> str:
        """The transform of a group drawn in plan by ``chain_path`` from the corner 0."""
        c, s, up = self.turn.real, self.turn.imag, math.sin(RISE)
        return f"matrix({c:.5f} {-s * up:.5f} {s:.5f} {c * up:.5f} 0 {-MM * height_m * math.cos(RISE):.2f})"

    def wall(self, start: complex, way: complex) -> str:
        """The same for a standing wall: along it, and up."""
        x, y = self.at(start, 0.0)
        q = way * self.turn
        return f"matrix({q.real:.5f} {-q.imag * math.sin(RISE):.5f} 0 {math.cos(RISE):.5f} {x:.2f} {y:.2f})"


def solid_view(
    name: str, shape: BoxShape, result: ShapeResult, model: SpeakerModel, number: int, *, length: Words
) -> str:
    """The picture as one ``<svg>``; ``number`` keeps its ids apart on a page, ``length`` words a length in metres."""
    body, tag = result.body, f"s{number}"
    turn = math.radians(turn_towards_deg(result))
    eye = _Eye(complex(math.cos(turn), math.sin(turn)))
    bay = _bay(body.plan, shape.offset_m)
    rim = body.height_m + (shape.cover_gap_m or 0.0)
    rows = [*_hollow(bay, rim, eye)]
    for run in body.runs:
        rows += _prism(run.outline, run.low_m, run.high_m, run.count, eye, tag)
    rows += _mouths(result, model, eye, tag)
    rows.append(
        f'<path d="{_near(bay, rim, eye)}" fill="none" stroke="{RIM}" stroke-width="1.2" stroke-dasharray="7 5"/>'
    )
    corners = [eye.at(p, z) for p in bay.points(CHORD_M) for z in (0.0, rim)]
    low_x, high_x = min(x for x, _ in corners), max(x for x, _ in corners)
    low_y, high_y = min(y for _, y in corners), max(y for _, y in corners)
    x0, y0 = low_x - BORDER_MM, low_y - BORDER_MM
    width, height = high_x - x0 + SIDE_MM, high_y - y0 + FOOT_MM
    if shape.cover_gap_m:
        rows += _gap(bay, body.height_m, rim, eye, length)
    says = f"{name} in its bay, seen from above and in front"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x0:.1f} {y0:.1f} {width:.1f} {height:.1f}" role="img" '
        f'aria-label="{escape(says)}">{_defs(tag)}<rect x="{x0:.1f}" y="{y0:.1f}" width="{width:.1f}" '
        f'height="{height:.1f}" fill="url(#{tag}-room)"/>{"".join(rows)}</svg>'
    )


def turn_towards_deg(result: ShapeResult) -> float:
    """How far the plan is turned, so that a loudspeaker in a wall looks towards the eye."""
    wall = result.body.wall
    degrees = TURN_DEG
    if wall is not None:
        outline = result.body.hollow_runs[0].outline
        side = outline.segments[wall]
        out = (side.end - side.start) * (-1j if outline.area_m2 > 0.0 else 1j)
        degrees = FACED_DEG - math.degrees(math.atan2(out.imag, out.real))
    return degrees


def _bay(plan: Contour, gap_m: float) -> Contour:
    try:
        moved = plan.offset(gap_m) if gap_m > 0.0 else (plan,)
    except OutlineFault:
        return plan
    return max(moved, key=lambda item: abs(item.area_m2), default=plan)


def _facets(contour: Contour, eye: _Eye, *, near: bool) -> list[tuple[complex, complex, float]]:
    """Chords that look towards the eye (or away from it), the farthest first, and the way they look in the turned plan."""
    points = contour.counter_clockwise().points(CHORD_M)
    found = []
    for a, b in zip(points, np.roll(points, -1), strict=True):
        out = complex(b - a) * -1j * eye.turn
        if abs(out) > 1e-9 and (out.imag < 0.0) == near:
            found.append((complex(a), complex(b), math.degrees(math.atan2(out.imag, out.real))))
    return sorted(found, key=lambda item: -((item[0] + item[1]) * eye.turn).imag)


def _quad(a: complex, b: complex, low: float, high: float, fill: str, eye: _Eye) -> str:
    corners = (eye.at(a, low), eye.at(b, low), eye.at(b, high), eye.at(a, high))
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in corners)
    return f'<path d="M{path}Z" fill="{fill}" stroke="{fill}" stroke-width=".5"/>'


def _shade(colour: tuple[int, int, int], way_deg: float, *, dark: float) -> str:
    share = dark + (1.0 - dark) * max(0.0, math.cos(math.radians(way_deg - LIGHT))) ** 0.8
    return "#" + "".join(f"{round(part * share):02x}" for part in colour)


def _hollow(bay: Contour, rim: float, eye: _Eye) -> Iterator[str]:
    """Floor and far walls of the bay, and its rim behind the box."""
    floor = chain_path(bay.segments, 0j, closed=True)
    yield f'<g transform="{eye.plane(0.0)}"><path d="{floor}" fill="{FLOOR}"/></g>'
    for a, b, way in _facets(bay, eye, near=False):
        yield _quad(a, b, 0.0, rim, _shade(WALL, way + 180.0, dark=0.55), eye)
    yield f'<g transform="{eye.plane(rim)}"><path d="{floor}" fill="none" stroke="{RIM}" stroke-opacity=".35"/></g>'


def _prism(outline: Contour, low: float, high: float, count: int, eye: _Eye, tag: str) -> Iterator[str]:
    """Sides with the seams between boards, then the upper face."""
    facets = _facets(outline, eye, near=True)
    for a, b, way in facets:
        yield _quad(a, b, low, high, _shade(BOARD, way, dark=0.5), eye)
    for k in range(count):
        z = low + (high - low) * k / count
        path = "".join("M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*eye.at(a, z), *eye.at(b, z)) for a, b, _ in facets)
        yield f'<path d="{path}" fill="none" stroke="{SEAM}" stroke-width=".9" stroke-opacity=".75"/>'
    face = chain_path(outline.segments, 0j, closed=True)
    yield (
        f'<g transform="{eye.plane(high)}"><path d="{face}" fill="url(#{tag}-top)" stroke="{SEAM}" '
        f'stroke-width="1"/></g>'
    )


def _mouths(result: ShapeResult, model: SpeakerModel, eye: _Eye, tag: str) -> Iterator[str]:
    """Loudspeakers, ports and passive radiators on the face that holds the loudspeakers."""
    body = result.body
    plane = eye.plane(body.height_m)
    if body.wall is not None:
        outline = body.hollow_runs[0].outline
        side = outline.segments[body.wall]
        way = (side.end - side.start) / abs(side.end - side.start)
        plane = eye.wall(side.start, way)
    rows: list[str] = []
    across = model.outer_diameter_m or result.cut_out_m
    for at in result.speakers:
        if across is not None:
            rows.append(
                f'<circle cx="{MM * at.real + 3.0:.1f}" cy="{-MM * at.imag + 5.0:.1f}" r="{MM * across / 2.0 + 3.0:.1f}" '
                f'fill="#3b2c17" fill-opacity=".28"/>'
            )
            rows += _cone(MM * at.real, -MM * at.imag, MM * across / 2.0, model.screws, tag)
    for row in result.radiators_in(result.baffle if body.wall is None else body.wall):
        rows += _cone(MM * row.at.real, -MM * row.at.imag, MM * row.frame_m / 2.0, None, tag)
    for at in result.ports:
        if result.port_m is not None:
            w, h = (MM * side for side in result.port_m)
            round_ = w / 2.0 if result.port_round else 3.0
            rows.append(
                f'<rect x="{MM * at.real - w / 2:.1f}" y="{-MM * at.imag - h / 2:.1f}" width="{w:.1f}" height="{h:.1f}" '
                f'rx="{round_:.1f}" fill="#0b0c0e" stroke="#5b4a33" stroke-width="3"/>'
            )
    yield f'<g transform="{plane}">{"".join(rows)}</g>'


def _cone(x: float, y: float, radius: float, screws: int | None, tag: str) -> Iterator[str]:
    """Frame, surround, cone and cap, as invented as the colour: only the frame's size and the screws are the model's."""
    for share, fill in ((1.0, "#2b2f34"), (0.9, "#15171a"), (0.86, f"url(#{tag}-roll)"), (0.7, f"url(#{tag}-cone)"),
                        (0.24, f"url(#{tag}-cap)")):  # fmt: skip
        yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{share * radius:.1f}" fill="{fill}"/>'
    for k in range(screws or 0):
        turn = 2.0 * math.pi * (k + 0.5) / (screws or 1)
        yield (
            f'<circle cx="{x + 0.95 * radius * math.cos(turn):.1f}" cy="{y + 0.95 * radius * math.sin(turn):.1f}" '
            f'r="{max(1.6, 0.016 * radius):.1f}" fill="#a9b1b8"/>'
        )


def _near(bay: Contour, rim: float, eye: _Eye) -> str:
    """The edge of the bay in front of the box, where its wall was taken away."""
    return "".join(
        "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*eye.at(a, rim), *eye.at(b, rim))
        for a, b, _ in sorted(_facets(bay, eye, near=True), key=lambda item: (item[0] * eye.turn).real)
    )


def _gap(bay: Contour, low: float, high: float, eye: _Eye, length: Words) -> Iterator[str]:
    """The room under the cover, at the right end of the bay."""
    right = max(bay.points(CHORD_M), key=lambda p: (p * eye.turn).real)
    (x, y0), (_, y1) = eye.at(complex(right), low), eye.at(complex(right), high)
    x += 12.0
    yield f'<path d="M{x:.1f} {y0:.1f}V{y1:.1f}M{x - 5:.1f} {y0:.1f}h10M{x - 5:.1f} {y1:.1f}h10" stroke="#e8edf0"/>'
    for shift, text in ((-4.0, length(high - low)), (17.0, "to the cover")):
        yield f'<text x="{x + 10:.1f}" y="{(y0 + y1) / 2 + shift:.1f}" font-size="18" fill="#e8edf0">{escape(text)}</text>'


def _defs(tag: str) -> str:
    rounds = {
        "room": ("#4a5159", "#1b1e22", ".5", ".4", ".8"),
        "roll": ("#0f1113", "#3d4248", ".5", ".5", ".5"),
        "cone": ("#17191c", "#4a5057", ".46", ".58", ".56"),
        "cap": ("#6a727a", "#202327", ".4", ".34", ".7"),
    }
    top = (
        f'<linearGradient id="{tag}-top" x1="0" y1="0" x2=".8" y2="1"><stop offset="0" stop-color="#ecd9b6"/>'
        f'<stop offset="1" stop-color="#cbb08a"/></linearGradient>'
    )
    return f"<defs>{top}" + "".join(
        f'<radialGradient id="{tag}-{key}" cx="{x}" cy="{y}" r="{r}"><stop offset="0" stop-color="{inner}"/>'
        f'<stop offset="1" stop-color="{outer}"/></radialGradient>'
        for key, (inner, outer, x, y, r) in rounds.items()
    ) + "</defs>"  # fmt: skip
