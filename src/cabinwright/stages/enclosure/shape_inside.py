"""What goes into a box: loudspeakers and ports put on the baffle, and what is near what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.findings import Finding, finding
from cabinwright.stages.enclosure.fit_units import free_depth_m, standing_gap_m, unit_of
from cabinwright.stages.enclosure.radiators import Placed
from cabinwright.stages.enclosure.result import PortResult
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Mount", "behind_m", "clearances", "mounted", "port_size"]

BEHIND_M = 0.025  #: air behind a magnet, for its vent and its heat; common practice
BEFORE_M = 0.005  #: between the cone at its farthest and a cover; common practice
GRID_M = 2e-3


@dataclass(frozen=True)
class Mount:
    """Where loudspeakers and ports sit in the baffle, and passive radiators in the walls."""

    speakers: tuple[complex, ...]
    cut_out_m: float | None
    ports: tuple[complex, ...] = ()
    port_m: tuple[float, float] | None = None
    port_round: bool = True
    radiators: tuple[Placed | None, ...] = ()  #: None: there is no place for it
    radiators_m3: float = 0.0  #: what all of them displace


def port_size(port: PortResult, wall_m: float) -> tuple[float, float]:
    """Width and height of its hole in the baffle: the tube with its wall."""
    if port.diameter_m is not None:
        return port.diameter_m + 2.0 * wall_m, port.diameter_m + 2.0 * wall_m
    return (port.width_m or 0.0) + 2.0 * wall_m, (port.height_m or 0.0) + 2.0 * wall_m


def room_of(shape: BoxShape, body: Body) -> Polygon:
    """Where the baffle has air behind it: in plan, or along the wall and up from the floor."""
    if body.wall is None:
        inside = body.hollow_runs[-1 if shape.baffle == "top" else 0].opening
        assert inside is not None
        return inside.as_polygon(GRID_M / 10.0)
    run = body.hollow_runs[0]
    assert run.opening is not None
    outer, inner = run.outline.segments[body.wall], run.opening.segments[body.wall]
    way = outer.chord / abs(outer.chord)
    low, high = (((at - outer.start) * way.conjugate()).real for at in (inner.start, inner.end))
    return box(low, run.low_m, high, run.high_m)


def mounted(shape: BoxShape, body: Body, model: SpeakerModel, units: int, port: PortResult | None) -> Mount:
    """Stated places, or the middle of the widest room; several share the baffle's longer way."""
    room = room_of(shape, body)
    speakers = tuple(complex(*at) for at in shape.speakers_at_m) or tuple(_spots(room, units))
    ports: tuple[complex, ...] = ()
    size = None
    if port is not None:
        size = port_size(port, shape.port_wall_m)
        ports = tuple(complex(*at) for at in shape.port_at_m)
        left = room
        for at in speakers:
            left = left.difference(
                Point(at.real, at.imag).buffer((model.outer_diameter_m or model.cut_out_m or 0.0) / 2.0 + 0.01)
            )
        while len(ports) < port.count and not left.is_empty:
            at = _middle(left)
            ports = (*ports, at)
            left = left.difference(Point(at.real, at.imag).buffer(max(size) / 2.0 + port.flare_radius_m + 0.01))
    return Mount(speakers, model.cut_out_m, ports, size, port is None or port.diameter_m is not None)


def _spots(room: Polygon, units: int) -> Iterator[complex]:
    x0, y0, x1, y1 = room.bounds
    for k in range(units):
        low, high = k / units, (k + 1) / units
        strip = (
            box(x0 + low * (x1 - x0), y0, x0 + high * (x1 - x0), y1)
            if x1 - x0 >= y1 - y0
            else box(x0, y0 + low * (y1 - y0), x1, y0 + high * (y1 - y0))
        )
        yield _middle(room.intersection(strip))


def _middle(room: Polygon) -> complex:
    """The point farthest from every edge, to half a millimetre."""
    pieces = [item for item in getattr(room, "geoms", [room]) if isinstance(item, Polygon) and not item.is_empty]
    spot = polylabel(max(pieces, key=lambda item: item.area), GRID_M / 4.0)
    return complex(round(spot.x, 4), round(spot.y, 4))


def clearances(
    where: str,
    shape: BoxShape,
    body: Body,
    model: SpeakerModel,
    mount: Mount,
    found: list[Finding],
) -> dict[str, float | None]:
    """Air between a loudspeaker and what is beside, behind and before it; None where a figure is missing."""
    gaps: dict[str, float | None] = {"beside_m": None, "behind_m": None, "before_m": None, "rim_m": None}
    if model.cut_out_m is None:
        found.append(finding("enclosure.shape_unknown", where=where, value="cut_out_m"))
        return gaps
    radius = model.cut_out_m / 2.0
    gaps["beside_m"] = _judged(_beside(shape, body, model, mount, radius), where, found, "enclosure.shape_narrow")
    rim = _rim(shape, body, model, mount)
    gaps["rim_m"] = None if rim is None else _judged(rim, where, found, "enclosure.shape_rim")
    if model.depth_m is None:
        found.append(finding("enclosure.shape_unknown", where=where, value="depth_m"))
    else:
        free = behind_m(shape, body, mount.speakers)
        if body.wall is not None:  # a wall that slants comes nearer to one side of it
            free = min((free_depth_m(shape, body, body.wall, at, radius) for at in mount.speakers), default=free)
        behind = free - model.depth_m
        gaps["behind_m"] = _judged(behind, where, found, "enclosure.shape_deep", "enclosure.shape_vent", BEHIND_M)
    travel = model.xmech_m or model.xmax_m
    if shape.cover_gap_m is not None and travel is not None:
        before = shape.cover_gap_m - travel
        gaps["before_m"] = _judged(
            before, where, found, "enclosure.shape_cover", "enclosure.shape_cover_near", BEFORE_M
        )
    _braces(where, shape, body, model, mount, radius, found)
    return gaps


def _judged(gap: float, where: str, found: list[Finding], meets: str, near: str = "", limit: float = 0.0) -> float:
    """The gap itself; findings where it is none or little."""
    if gap < 0.0:
        found.append(_short(meets, where, gap, 0.0))
    elif gap < limit:
        found.append(_short(near, where, gap, limit))
    return gap


def _short(code: str, where: str, value: float, limit: float) -> Finding:
    return finding(code, where=where, value=round(1e3 * value, 1), limit=round(1e3 * limit, 1), unit="mm")


def _beside(shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount, radius: float) -> float:
    """Least distance of a basket as wide as its cut-out from walls and from the next one, as deep as it reaches."""
    gap = min(
        (abs(a - b) - 2.0 * radius for n, a in enumerate(mount.speakers) for b in mount.speakers[:n]), default=np.inf
    )
    rooms = [room_of(shape, body)]
    if body.wall is None:
        depth = model.depth_m or 0.0
        top = shape.baffle == "top"
        for run in body.hollow_runs:
            near = run.high_m > body.inside_high_m - depth if top else run.low_m < body.inside_low_m + depth
            if near and run.opening is not None:
                rooms.append(run.opening.as_polygon(GRID_M / 10.0))
    for at in mount.speakers:
        point = Point(at.real, at.imag)
        if body.wall is not None:
            gap = min(gap, standing_gap_m(shape, body, at, radius, model.depth_m or 0.0))
        for room in rooms:
            far = room.exterior.distance(point)
            gap = min(gap, (far if room.contains(point) else -far) - radius)
    return float(gap)


def _rim(shape: BoxShape, body: Body, model: SpeakerModel, mount: Mount) -> float | None:
    """Least distance of its frame's rim from the baffle's edge."""
    if model.outer_diameter_m is None:
        return None
    if body.wall is None:
        board = next(run for run in body.runs if run.role == shape.baffle).outline.as_polygon(GRID_M / 10.0)
    else:
        board = box(0.0, 0.0, body.hollow_runs[0].outline.segments[body.wall].length_m, body.height_m)
    gap = np.inf
    for at in mount.speakers:
        point = Point(at.real, at.imag)
        far = board.exterior.distance(point)
        gap = min(gap, (far if board.contains(point) else -far) - model.outer_diameter_m / 2.0)
    return float(gap)


def behind_m(shape: BoxShape, body: Body, places: Sequence[complex]) -> float:
    """Free depth behind the baffle, at the shallowest of some places in it."""
    if body.wall is None:
        return body.inside_high_m - body.inside_low_m
    run = body.hollow_runs[0]
    assert run.opening is not None
    side = run.opening.segments[body.wall]
    outer = run.outline.segments[body.wall]
    way = side.chord / abs(side.chord)
    inside = run.opening.polygon
    depths = []
    for at in places:
        foot = outer.start + way * at.real + 1j * way * body.board_m
        ray = LineString([(foot.real, foot.imag), ((foot + 10j * way).real, (foot + 10j * way).imag)])
        depths.append(ray.intersection(inside).length)
    return min(depths, default=0.0) - (body.board_m if shape.double_baffle else 0.0)


def _braces(
    where: str,
    shape: BoxShape,
    body: Body,
    model: SpeakerModel,
    mount: Mount,
    radius: float,
    found: list[Finding],
) -> None:
    """A brace stands from floor to top: not where a loudspeaker is, and inside."""
    depth, wall = model.depth_m or 0.0, body.wall
    if wall is None:
        baskets: list[BaseGeometry] = [Point(at.real, at.imag).buffer(radius, quad_segs=64) for at in mount.speakers]
    else:
        baskets = [unit_of(shape, body, wall, at, radius, depth).plan for at in mount.speakers]
    lines = [
        (LineString([item.from_m, item.to_m]), (item.board_m or body.board_m) / 2.0, "brace", n)
        for n, item in enumerate(shape.braces, 1)
    ]
    lines += [(Point(item.at_m), item.diameter_m / 2.0, "post", n) for n, item in enumerate(shape.posts, 1)]
    narrow = min((run.opening for run in body.hollow_runs if run.opening), key=lambda item: abs(item.area_m2))
    room = narrow.as_polygon(GRID_M / 10.0).buffer(GRID_M)
    for line, half, kind, number in lines:
        gaps = [float(line.distance(basket)) - half for basket in baskets]
        if min(gaps, default=np.inf) < 0.0:
            found.append(_short("enclosure.shape_brace", f"{where}, {kind} {number}", min(gaps), 0.0))
        if not room.contains(line):
            found.append(finding("enclosure.shape_brace_out", where=f"{where}, {kind} {number}"))
