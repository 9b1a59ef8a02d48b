"""What a box leaves free for its ports, as prisms about axes of their own, and how each port lies in it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import pi

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, affinity, box

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.findings import Finding, finding
from cabinwright.stages.enclosure.port_runs import PortRun, Prism, Tube, lay
from cabinwright.stages.enclosure.result import PortResult
from cabinwright.stages.enclosure.shape import Body
from cabinwright.stages.enclosure.shape_inside import Mount, room_of

__all__ = ["laid", "ports_laid"]

SMALL_M = 1e-6
ROUND_M = 2e-4  #: arcs of outlines become chords within this
SLABS = 12  #: of a drive unit that lies, each as wide as it is anywhere in the slab


def ports_laid(
    where: str,
    shape: BoxShape,
    body: Body,
    model: SpeakerModel,
    mount: Mount,
    port: PortResult,
    found: list[Finding],
) -> tuple[PortRun | None, ...]:
    """How each port lies behind its place in the baffle; None where it does not, with the reason in ``found``."""
    assert mount.port_m is not None
    if not _places(where, shape, body, mount, port, found):
        return ()
    runs, longest = laid(
        port.length_m,
        shape,
        body,
        model,
        speakers=mount.speakers,
        ports=mount.ports,
        port_m=(mount.port_m[0] + 2.0 * port.flare_radius_m, mount.port_m[1] + 2.0 * port.flare_radius_m),
        round_=mount.port_round,
    )
    value = round(100.0 * port.length_m, 1)
    if longest is not None:
        limit = round(100.0 * longest, 1)
        found.append(finding("enclosure.shape_port", where=where, value=value, limit=limit, unit="cm"))
    bent = [run for run in runs if run is not None and len(run.legs_m) - 1 > port.bends]
    if bent:
        most = max(bent, key=lambda run: len(run.legs_m))
        legs = " + ".join(f"{100.0 * leg:.1f}" for leg in most.legs_m)
        found.append(
            finding("enclosure.shape_port_bends", where=where, value=value, unit="cm", run=most.name, legs=legs)
        )
    return runs


def _places(where: str, shape: BoxShape, body: Body, mount: Mount, port: PortResult, found: list[Finding]) -> bool:
    """Whether every port has a place in the baffle, off its edge and the loudspeakers."""
    assert mount.port_m is not None
    inside = room_of(shape, body)
    radius = max(mount.port_m) / 2.0 + port.flare_radius_m
    good = len(mount.ports) >= port.count
    for number, at in enumerate(mount.ports, 1):
        point = Point(at.real, at.imag)
        gap = (inside.exterior.distance(point) if inside.contains(point) else -inside.exterior.distance(point)) - radius
        others: Sequence[complex] = mount.speakers
        gap = min([gap, *(abs(at - other) - radius - (mount.cut_out_m or 0.0) / 2.0 for other in others)])
        if gap < 0.0:
            good = False
            found.append(_no_place(where, number, gap))
    if len(mount.ports) < port.count:
        found.append(_no_place(where, len(mount.ports) + 1, -radius))
    return good


def _no_place(where: str, number: int, gap_m: float) -> Finding:
    value = round(1e3 * gap_m, 1)
    return finding("enclosure.shape_port_place", where=f"{where}, port {number}", value=value, limit=0.0, unit="mm")


def laid(
    length_m: float,
    shape: BoxShape,
    body: Body,
    model: SpeakerModel,
    *,
    speakers: Sequence[complex],
    ports: Sequence[complex],
    port_m: tuple[float, float],
    round_: bool,
) -> tuple[tuple[PortRun | None, ...], float | None]:
    """Every port's run, and the longest that was seen for one that has none [m]."""
    boards = body.board_m * (2 if shape.double_baffle else 1)
    if body.wall is None:
        turn, axis, sign = _axis_of(body) if round_ else 1.0 + 0.0j, 2, -1.0 if shape.baffle == "top" else 1.0
        size = (*port_m, 0.0)
        places = [at * turn.conjugate() for at in ports]
        starts = [(at.real, at.imag, body.height_m if sign < 0.0 else 0.0) for at in places]
    else:  # along the wall, inwards, up
        side = body.hollow_runs[0].outline.segments[body.wall]
        turn, axis, sign = side.chord / abs(side.chord), 1, 1.0
        size = (port_m[0], 0.0, port_m[1])
        foot = side.start * turn.conjugate()
        starts = [(foot.real + at.real, foot.imag, at.imag) for at in ports]
    hollow = [
        Prism(_turned(run.opening.as_polygon(ROUND_M), turn), run.low_m, run.high_m)
        for run in body.hollow_runs
        if run.opening is not None
    ]
    stands = _stands(shape, body, turn)
    units = _units(shape, body, model, speakers, turn, boards)
    units += _inner_board(shape, body, hollow)
    tube = Tube(size, round_, min(port_m) - 2.0 * shape.port_wall_m)
    runs: list[PortRun | None] = []
    missing: list[float] = []
    for number, start in enumerate(starts):
        placed = [item for run in runs if run is not None for item in _prisms(run.line_m, size)]
        to_come = [
            item
            for other in starts[number + 1 :]
            for item in _prisms([other, _ahead(other, axis, sign, boards + 2.0 * tube.mouth_m)], size)
        ]
        run, most = lay(
            length_m,
            start=start,
            axis=axis,
            sign=sign,
            boards_m=boards,
            tube=tube,
            hollow=hollow,
            blocks=[*stands, *placed],
            beside=[*units, *to_come],
        )
        runs.append(run)
        missing += [] if run is not None else [most]
    back = [None if run is None else PortRun(run.legs_m, _back(run.line_m, turn)) for run in runs]
    return tuple(back), min(missing, default=None)


def _axis_of(body: Body) -> complex:
    """Along the narrowest rectangle about the hollow."""
    widest = max(
        (run.opening for run in body.hollow_runs if run.opening is not None), key=lambda item: abs(item.area_m2)
    )
    corners = [complex(x, y) for x, y in shapely.oriented_envelope(widest.as_polygon(ROUND_M)).exterior.coords]
    side = max(corners[1] - corners[0], corners[2] - corners[1], key=abs)
    way = side / abs(side)
    return 1.0 + 0.0j if min(abs(way.real), abs(way.imag)) < SMALL_M else way


def _turned(plan: Polygon, turn: complex) -> Polygon:
    """With the axis ``turn`` along x."""
    return plan if turn == 1.0 else affinity.affine_transform(plan, [turn.real, turn.imag, -turn.imag, turn.real, 0, 0])


def _back(line: Sequence[tuple[float, float, float]], turn: complex) -> tuple[tuple[float, float, float], ...]:
    spots = [(complex(x, y) * turn, z) for x, y, z in line]
    return tuple((float(at.real), float(at.imag), float(z)) for at, z in spots)


def _ahead(at: Sequence[float], axis: int, sign: float, far: float) -> tuple[float, float, float]:
    moved = list(at)
    moved[axis] += sign * far
    return moved[0], moved[1], moved[2]


def _prisms(line: Sequence[Sequence[float]], size_m: Sequence[float]) -> list[Prism]:
    """What a run takes, as boxes, its elbows too."""
    size, before, found = list(size_m), None, []
    for a, b in pairwise(np.array(line)):
        axis = int(np.argmax(np.abs(b - a)))
        half = np.array(size) / 2.0
        half[axis] = 0.0
        if before is not None:
            half[[before, axis]] = size[axis] / 2.0
            size[before] = size[axis]
        before = axis
        low, high = np.minimum(a, b) - half, np.maximum(a, b) + half
        found.append(Prism(box(low[0], low[1], high[0], high[1]), float(low[2]), float(high[2])))
    return found


def _stands(shape: BoxShape, body: Body, turn: complex) -> list[Prism]:
    """Braces and posts, from floor to top."""
    plans = [
        LineString([item.from_m, item.to_m]).buffer((item.board_m or body.board_m) / 2.0, cap_style="flat")
        for item in shape.braces
    ]
    plans += [Point(item.at_m).buffer(item.diameter_m / 2.0) for item in shape.posts]
    return [Prism(_turned(plan, turn), body.inside_low_m, body.inside_high_m) for plan in plans if not plan.is_empty]


def _units(
    shape: BoxShape, body: Body, model: SpeakerModel, speakers: Sequence[complex], turn: complex, boards_m: float
) -> list[Prism]:
    """Drive units where their sizes are told: cylinders behind the baffle, those in a wall as slabs."""
    if model.cut_out_m is None or model.depth_m is None:
        return []
    radius = model.cut_out_m / 2.0
    if body.wall is None:
        low, high = body.inside_low_m, body.inside_high_m
        low, high = (high - model.depth_m, high) if shape.baffle == "top" else (low, low + model.depth_m)
        places = [at * turn.conjugate() for at in speakers]
        return [Prism(Point(at.real, at.imag).buffer(radius), low, high) for at in places]
    foot = body.hollow_runs[0].outline.segments[body.wall].start * turn.conjugate()
    behind = foot.imag + boards_m
    edges = -radius * np.cos(np.linspace(0.0, pi, SLABS + 1))
    prisms = []
    for at in speakers:
        for low, high in pairwise(edges):
            nearest = 0.0 if low < 0.0 < high else min(abs(low), abs(high))
            wide = float(np.sqrt(radius**2 - nearest**2))
            plan = box(foot.real + at.real - wide, behind, foot.real + at.real + wide, behind + model.depth_m)
            prisms.append(Prism(plan, at.imag + float(low), at.imag + float(high)))
    return prisms


def _inner_board(shape: BoxShape, body: Body, hollow: Sequence[Prism]) -> list[Prism]:
    """The second board of a wall lies in the hollow; ports go through it as they go through the first."""
    if body.wall is None or not shape.double_baffle:
        return []
    run = body.hollow_runs[0]
    assert run.opening is not None
    side = run.opening.segments[body.wall]
    way = side.chord / abs(side.chord)
    a, b = side.start * way.conjugate(), side.end * way.conjugate()
    return [Prism(box(a.real, a.imag, b.real, a.imag + body.board_m), hollow[0].low_m, hollow[-1].high_m)]
