"""The panels of computed boxes, as panels like any other: floor, rings or walls with their joints, baffle with its holes.

Walls of a right angle meet by a butt, dowelled if asked for, a rabbet half as deep as the board, or fingers about three boards
wide; floor and top lie over them, dowelled or in a rabbet too. Other corners are mitred. A rabbet's edge and a bend's cuts are
scored, their depth is set at the machine. Boards that are worked part through are drawn with that face up; otherwise walls are
drawn as they are seen from outside, floor and top from above.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from shapely import LineString, Point, Polygon

from cabinwright.build.document import Build
from cabinwright.build.shapes import BoxShape
from cabinwright.build.workshop import CutOut, Panel, Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import circle
from cabinwright.stages.enclosure.fit_units import wall_of
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.enclosure.shape import Run
from cabinwright.stages.enclosure.shape_inside import room_of
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.box_bends import bent_walls
from cabinwright.stages.workshop.box_board import Computed, fitted, points, turned_over
from cabinwright.stages.workshop.box_laps import lapped
from cabinwright.stages.workshop.box_walls import (
    RABBET,
    FlatWall,
    Parts,
    flat_walls,
    is_right,
    second_board,
    steep,
)
from cabinwright.stages.workshop.dowels import CLEAR_M, Bored, Joint, bore, peg_of, square
from cabinwright.stages.workshop.joinery import Joinery, Scribe

__all__ = ["box_panels"]

MEET_M2 = 1e-8  #: braces whose prints in plan share less only touch
ALIKE_M = 2e-4  #: sheets whose thickness differs less are as good


@dataclass(frozen=True)
class _Box:
    """What every board of one box is made from."""

    name: str
    shape: BoxShape
    sheet: Sheet
    sheets: Sequence[Sheet]
    room_m: float  #: longest board that a sheet gives
    result: ShapeResult
    mounted: Parts
    found: list[Finding]


def box_panels(build: Build, boxed: EnclosureResult | None, found: list[Finding]) -> list[Computed]:
    """Every panel of every box whose shape names a sheet."""
    rows: list[Computed] = []
    taken = {panel.name for panel in build.panels}
    for box in build.boxes:
        result = None if boxed is None else boxed.boxes.get(box.name)
        if box.shape is None or box.shape.sheet is None or result is None or result.shape is None:
            continue
        model = next(item for item in build.speaker_models if item.name == result.model)
        sheet = next(item for item in build.sheets if item.name == box.shape.sheet)
        room = max(sheet.length_m, sheet.width_m) - 2.0 * build.workshop.border_m
        whole = _Box(box.name, box.shape, sheet, build.sheets, room, result.shape, (model, box.radiator), found)
        stops = (*_cables(whole), *result.shape.stopped)
        for item in _panels(whole):
            name, number = item.panel.name, 2
            while name in taken:
                name, number = f"{item.panel.name} ({number})", number + 1
            taken.add(name)
            panel = item.panel.model_copy(update={"name": name})
            rows.append(replace(item, panel=panel, stopped=(*item.stopped, *stops)))
    return rows


def _panels(box: _Box) -> Iterator[Computed]:
    body = box.result.body
    walls = flat_walls(box.name, box.shape, box.result, box.mounted) if body.construction == "panels" else []
    ends = {run.role: [*_end(box, run)] for run in body.runs if run.role in ("bottom", "top")}
    if box.shape.joint == "dowel" and walls:
        walls, ends = _dowelled(box, walls, ends)
    rings = sum(run.role == "ring" for run in body.runs)
    number = 0
    for run in body.runs:
        if run.role == "ring":
            number += 1
            yield _ring(box, run, f"ring {number}" if rings > 1 else "ring")
        elif run.role != "walls":
            yield from map(_face_up, ends[run.role])
        elif body.construction == "bent":
            bent = bent_walls(box.name, box.shape, box.sheet, box.result, box.room_m, box.found)
            yield from (_grained(box, _face_up(board)) for board in bent)
        else:
            for index in map(body.side, range(1, len(walls) + 1)):
                board = _grained(box, _face_up(walls[index].board))
                steep(board, box.found)
                yield board
                if body.wall == index and box.shape.double_baffle:
                    yield Computed(second_board(box.name, box.shape, box.result, box.mounted, index))
    yield from _braces(box)
    yield from _posts(box)


def _face_up(board: Computed) -> Computed:
    """The board with the face up that is worked part through; where none is, as it is drawn."""
    joinery, panel = board.joinery, board.panel
    scored = any(item.operation == "score" for item in panel.cut_outs) or bool(board.lines)
    inner = scored or (bool(joinery.face_bores) and not joinery.bored_outside)
    if inner and joinery.face == "outside":
        return turned_over(board)
    told = inner or joinery.face_bores or joinery.edge_bores or joinery.bevels
    return board if told else replace(board, joinery=replace(joinery, face=""))


def _grained(box: _Box, wall: Computed) -> Computed:
    """On a sheet with a grain it runs round the box, from wall to wall; common practice."""
    along = {"grain": "along x"} if box.sheet.grained else {}
    return replace(wall, panel=wall.panel.model_copy(update=along))


def _ring(box: _Box, run: Run, label: str) -> Computed:
    panel = Panel(
        name=f"{box.name}, {label}", sheet=box.shape.sheet, outline=points(run.outline), fillet_m=0.0, count=run.count
    )
    return Computed(panel, (run.outline, () if run.opening is None else (run.opening,)))


def _end(box: _Box, run: Run) -> Iterator[Computed]:
    """Floor or top, seen from above; of two boards the one at the walls is worked by itself where joints go into it."""
    shape, result = box.shape, box.result
    baffle = result.body.wall is None and shape.baffle == run.role
    label = "baffle" if baffle else {"bottom": "floor"}.get(run.role, run.role)
    cuts, drills = fitted(shape, result, box.mounted, run.role, 0j)
    rabbet = tuple(_rabbet(box))
    parted = run.count > 1 and (bool(rabbet) or shape.joint == "dowel") and result.body.construction != "stacked"
    panel = Panel(
        name=f"{box.name}, {label}",
        sheet=shape.sheet,
        outline=points(run.outline),
        fillet_m=0.0,
        count=1 if parted else run.count,
        cut_outs=(*cuts, *rabbet),
        drills=drills,
    )
    exact = run.outline, ()
    marks = tuple(_footprints(box)) if run.role == "bottom" else ()
    yield Computed(panel, exact, lines=marks, joinery=Joinery("inside" if run.role == "bottom" else "outside"))
    if parted:
        outer = panel.model_copy(
            update={"name": f"{panel.name}, outer board", "cut_outs": cuts, "count": run.count - 1}
        )
        yield Computed(outer, exact)


def _footprints(box: _Box) -> Iterator[Scribe]:
    """Where braces and posts stand on the floor, marked so that nobody has to measure."""
    for item in box.shape.braces:
        start, end = complex(*item.from_m), complex(*item.to_m)
        half = 0.5j * (end - start) / abs(end - start) * (item.board_m or box.result.body.board_m)
        corners = start - half, end - half, end + half, start + half
        yield Scribe("mark", tuple(Segment(a, b) for a, b in zip(corners, (*corners[1:], corners[0]), strict=True)))
    for post in box.shape.posts:
        yield Scribe("mark", circle(complex(*post.at_m), post.diameter_m).segments)


def _rabbet(box: _Box) -> Iterator[CutOut]:
    """Where walls stand in floor and top."""
    inside = box.result.body.hollow_runs[0].opening
    if box.shape.joint == "rabbet" and box.result.body.construction != "stacked" and inside is not None:
        deep = box.result.body.board_m / 2.0
        yield CutOut(name=RABBET, outline=points(inside), fillet_m=0.0, operation="score", depth_m=deep)


def _dowelled(
    box: _Box, walls: list[FlatWall], ends: dict[str, list[Computed]]
) -> tuple[list[FlatWall], dict[str, list[Computed]]]:
    """The same boards with holes where they meet, or with the ``stop`` that says why there are none."""
    peg = peg_of(box.result.body.board_m, box.shape.dowels, f"box “{box.name}”")
    if isinstance(peg, Finding):
        box.found.append(peg)
        stop = (peg.code,)
        held = [replace(item, board=replace(item.board, stopped=stop)) for item in walls]
        return held, {role: [replace(item, stopped=stop) for item in rows] for role, rows in ends.items()}
    bored = [_bored(item.board) for item in walls]
    flat = {role: _bored(rows[0]) for role, rows in ends.items()}
    half = box.result.body.board_m / 2.0
    for index, wall in enumerate(walls):
        name, after = wall.board.panel.name, (index + 1) % len(walls)
        turn = wall.turns[1]
        if is_right(abs(turn)):
            strip = math.copysign(half, turn)
            edge = complex(wall.high_m, 0.0), complex(wall.high_m, wall.height_m)
            face = complex(strip, 0.0), complex(strip, wall.height_m)
            names = name, walls[after].board.panel.name
            bore(Joint(bored[index], edge, complex(-1.0), bored[after], face, names), peg, box.found)
        way = wall.side.chord / abs(wall.side.chord)
        face = wall.side.start + way * (wall.low_m + 1j * half), wall.side.start + way * (wall.high_m + 1j * half)
        for role, y, into in (("bottom", 0.0, 1j), ("top", wall.height_m, -1j)):
            edge = complex(wall.low_m, y), complex(wall.high_m, y)
            names = name, ends[role][0].panel.name
            bore(Joint(bored[index], edge, into, flat[role], face, names), peg, box.found)
    outside = [wall.turns[0] < 0.0 for wall in walls]  # round an inside corner the next wall is met from outside
    made = [
        replace(wall, board=_with(wall.board, holes, out))
        for wall, holes, out in zip(walls, bored, outside, strict=True)
    ]
    return made, {role: [_with(rows[0], flat[role], False), *rows[1:]] for role, rows in ends.items()}


def _bored(board: Computed) -> Bored:
    """A board in which only the baffle's holes are in the way."""
    bored = Bored(Polygon([item.at_m for item in board.panel.outline or ()]))
    for item in board.panel.cut_outs:
        at = complex(*item.at_m)
        if item.diameter_m is not None:
            bored.taken.append(Point(at.real, at.imag).buffer(item.diameter_m / 2.0))
        elif item.size_m is not None:
            bored.taken.append(square(at, item.size_m))
    for drill in board.panel.drills:
        bored.taken += [Point(at).buffer(drill.diameter_m / 2.0) for at in drill.at_m]
    return bored


def _with(board: Computed, bored: Bored, outside: bool) -> Computed:
    joinery = replace(board.joinery, face_bores=tuple(bored.face), edge_bores=tuple(bored.edge), bored_outside=outside)
    return replace(board, joinery=joinery)


def _braces(box: _Box) -> Iterator[Computed]:
    """Boards from floor to baffle with a window that leaves the air one."""
    body = box.result.body
    high = body.inside_high_m - body.inside_low_m
    made = lapped(box.shape.braces, high_m=high, board_m=body.board_m)
    for number, (item, board) in enumerate(zip(box.shape.braces, made, strict=True), 1):
        name = f"{box.name}, brace {number}"
        length, thick = abs(complex(*item.to_m) - complex(*item.from_m)), item.board_m or body.board_m
        sheet = _sheet_of(box, thick)
        if sheet is None:
            limit = round(1e3 * box.sheet.thickness_m, 2)
            where = f"part “{name}”"
            box.found.append(
                finding("workshop.brace_sheet", where=where, value=round(1e3 * thick, 2), limit=limit, unit="mm")
            )
        panel = Panel(
            name=name,
            sheet=(sheet or box.sheet).name,
            size_m=None if board.outline else (length, high),
            outline=board.outline,
            fillet_m=0.0 if board.outline else None,
            cut_outs=board.windows,
        )
        yield Computed(panel, stopped=() if sheet else ("workshop.brace_sheet",), joinery=Joinery(laps=board.laps))
    _apart(box, {(number, lap.brace) for number, board in enumerate(made, 1) for lap in board.laps})


def _cables(box: _Box) -> Iterator[str]:
    """A stop where a cable's hole does not open into the air, or meets what sits in its wall, or a brace."""
    body, thick = box.result.body, box.result.body.board_m
    room = room_of(box.shape, body)
    rims = [(at, (box.mounted[0].outer_diameter_m or box.result.cut_out_m or 0.0) / 2.0) for at in box.result.speakers]
    rims += [(row.at, row.frame_m / 2.0) for row in box.result.radiators_in(wall_of(box.shape, body))]
    rims += [(at, max(box.result.port_m or (0.0,)) / 2.0) for at in box.result.ports]
    taken = [Point(at.real, at.imag).buffer(radius) for at, radius in rims]
    if body.wall is None:
        taken += [LineString([a.from_m, a.to_m]).buffer((a.board_m or thick) / 2.0) for a in box.shape.braces]
        taken += [Point(item.at_m).buffer(item.diameter_m / 2.0) for item in box.shape.posts]
    for number, hole in enumerate(box.shape.cable_holes, 1):
        spot = Point(hole.at_m)
        free = [room.exterior.distance(spot) if room.contains(spot) else -room.exterior.distance(spot)]
        free += [item.distance(spot) for item in taken]
        gap = min(free) - hole.diameter_m / 2.0
        if gap < CLEAR_M:
            where = f"box “{box.name}”, cable hole {number}"
            value, limit = round(1e3 * gap, 1), round(1e3 * CLEAR_M, 1)
            box.found.append(finding("workshop.cable_hole", where=where, value=value, limit=limit, unit="mm"))
            yield "workshop.cable_hole"
        taken.append(spot.buffer(hole.diameter_m / 2.0))


def _apart(box: _Box, joined: set[tuple[int, int]]) -> None:
    """A word where braces and posts stand in one another and are not lapped: as they are drawn they do not go together."""
    thick = box.result.body.board_m
    solids = [
        (("brace", number), LineString([item.from_m, item.to_m]), (item.board_m or thick) / 2.0, "flat")
        for number, item in enumerate(box.shape.braces, 1)
    ]
    solids += [
        (("post", number), Point(item.at_m), item.diameter_m / 2.0, "round")
        for number, item in enumerate(box.shape.posts, 1)
    ]
    prints = [(name, line.buffer(half, cap_style=cap)) for name, line, half, cap in solids]
    for ((kind, number), a), ((other, second), b) in combinations(prints, 2):
        shared = a.intersection(b)
        if shared.area > MEET_M2 and not (other == "brace" and (number, second) in joined):
            at = f"{1e3 * shared.centroid.x:.0f}, {1e3 * shared.centroid.y:.0f} mm in plan"
            where, met = f"part “{box.name}, {kind} {number}”", f"{box.name}, {other} {second}"
            box.found.append(finding("workshop.brace_meets", where=where, other=met, at=at))


def _sheet_of(box: _Box, thick_m: float) -> Sheet | None:
    """The box's own sheet, or the one of the same material, or any, that is so thick."""
    body = box.result.body
    if abs(thick_m - body.board_m) < ALIKE_M:
        return box.sheet
    fits = [item for item in box.sheets if abs(item.thickness_m - thick_m) < ALIKE_M]
    return next((item for item in fits if item.material == box.sheet.material), fits[0] if fits else None)


def _posts(box: _Box) -> Iterator[Computed]:
    """Discs that are glued on one another; the last is planed until the post is as high as the air."""
    high = box.result.body.inside_high_m - box.result.body.inside_low_m
    thick = box.sheet.thickness_m
    for number, item in enumerate(box.shape.posts, 1):
        count = max(1, math.ceil(high / thick - 1e-3))
        panel = Panel(name=f"{box.name}, post {number}", sheet=box.sheet.name, diameter_m=item.diameter_m, count=count)
        planed = abs(count * thick - high) > 1e-4
        yield Computed(panel, joinery=Joinery(stack_m=high, planed=planed))
