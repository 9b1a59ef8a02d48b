"""The panels of computed boxes, as panels like any other: floor, rings or walls with their joints, baffle with its holes.

Walls of a right angle meet by a butt, a rabbet half as deep as the board, or fingers about three boards wide; floor and top lie
over them, in a rabbet too where rabbets are asked for. Other corners are mitred: the name of a wall says the bevel of its ends,
half the angle by which the way turns. A rabbet's edge is scored, its depth set at the machine. Walls are drawn as they are seen
from outside, floor and top from above.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.build.workshop import CutOut, Drill, OutlinePoint, Panel
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.enclosure.shape import Run
from cabinwright.stages.enclosure.shape_result import ShapeResult

__all__ = ["Computed", "box_panels"]

PILOT_M = 0.003  #: drilled for the loudspeaker's screws; common practice for 5 mm wood screws
FINGER_BOARDS = 3.0  #: a finger is about so many boards wide
RIGHT_RAD = math.radians(0.5)  #: a corner within this of 90° is a right one
WINDOW_M = 0.02  #: rounding of a brace's window

Ends = tuple[float, float]  #: how much shorter (longer, if negative) a wall is at its start and end than its outer side


@dataclass(frozen=True)
class Computed:
    """A panel of a box, and what is known of it exactly."""

    panel: Panel
    exact: tuple[Contour, tuple[Contour, ...]] | None = None  #: outline and opening; None: as the panel's points say
    stopped: tuple[str, ...] = ()  #: stops that stand against its box
    lines: tuple[tuple[str, tuple[Segment, ...]], ...] = ()  #: (mark or score, chain) besides


def box_panels(build: Build, boxed: EnclosureResult | None) -> list[Computed]:
    """Every panel of every box whose shape names a sheet."""
    rows: list[Computed] = []
    taken = {panel.name for panel in build.panels}
    for box in build.boxes:
        result = None if boxed is None else boxed.boxes.get(box.name)
        if box.shape is None or box.shape.sheet is None or result is None or result.shape is None:
            continue
        model = next(item for item in build.speaker_models if item.name == result.model)
        for item in _panels(box.name, box.shape, result.shape, model):
            name, number = item.panel.name, 2
            while name in taken:
                name, number = f"{item.panel.name} ({number})", number + 1
            taken.add(name)
            panel = item.panel.model_copy(update={"name": name})
            rows.append(Computed(panel, item.exact, result.shape.stopped))
    return rows


def _panels(name: str, shape: BoxShape, result: ShapeResult, model: SpeakerModel) -> Iterator[Computed]:
    body, sheet = result.body, shape.sheet
    assert sheet is not None
    rings = sum(run.role == "ring" for run in body.runs)
    number = 0
    for run in body.runs:
        if run.role == "walls":
            yield from map(Computed, _walls(name, sheet, shape, result, model))
            continue
        label = {"bottom": "floor", "top": "top"}.get(run.role, "ring")
        if run.role == "ring":
            number += 1
            label = f"ring {number}" if rings > 1 else "ring"
        baffle = body.wall is None and shape.baffle == run.role
        rabbet = [*_rabbet(shape, result)] if run.role != "ring" else []
        panel = Panel(
            name=f"{name}, {'baffle' if baffle else label}",
            sheet=sheet,
            outline=_points(run.outline),
            fillet_m=0.0,
            count=run.count,
            cut_outs=(*(_mounts(result, 0j) if baffle else ()), *rabbet),
            drills=_screws(result, model, 0j) if baffle else (),
        )
        yield Computed(panel, (run.outline, () if run.opening is None else (run.opening,)))
    yield from map(Computed, _braces(name, sheet, shape, result))


def _points(contour: Contour) -> tuple[OutlinePoint, ...]:
    """An outline as its points, arcs by a point on them; never fewer than three."""
    segments = contour.segments
    while len(segments) < 3:
        segments = tuple(part for item in segments for part in (item.part(0.0, 0.5), item.part(0.5, 1.0)))
    return tuple(
        OutlinePoint(at_m=_pair(item.end), via_m=None if item.is_line else _pair(item.point(0.5)), fillet_m=0.0)
        for item in segments
    )


def _pair(at: complex) -> tuple[float, float]:
    return at.real, at.imag


def _mounts(result: ShapeResult, shift: complex) -> Iterator[CutOut]:
    """Holes for loudspeakers and ports."""
    for number, at in enumerate(result.speakers, 1):
        if result.cut_out_m is not None:
            yield CutOut(name=f"loudspeaker {number}", diameter_m=result.cut_out_m, at_m=_pair(at + shift))
    for number, at in enumerate(result.ports, 1):
        if result.port_m is not None and result.port_round:
            yield CutOut(name=f"port {number}", diameter_m=result.port_m[0], at_m=_pair(at + shift))
        elif result.port_m is not None:
            yield CutOut(name=f"port {number}", size_m=result.port_m, at_m=_pair(at + shift))


def _screws(result: ShapeResult, model: SpeakerModel, shift: complex) -> tuple[Drill, ...]:
    """Pilot holes on the mounting circle, none straight above the middle."""
    if model.mounting_circle_m is None or model.screws is None or result.cut_out_m is None:
        return ()
    angles = 2.0 * math.pi * (np.arange(model.screws) + 0.5) / model.screws
    ring = [cmath.rect(model.mounting_circle_m / 2.0, float(angle)) for angle in angles]
    return (Drill(at_m=tuple(_pair(at + shift + step) for at in result.speakers for step in ring), diameter_m=PILOT_M),)


def _rabbet(shape: BoxShape, result: ShapeResult) -> Iterator[CutOut]:
    """Where walls stand in floor and top."""
    inside = result.body.hollow_runs[0].opening
    if shape.joint == "rabbet" and result.body.construction == "panels" and inside is not None:
        yield CutOut(name="rabbet, half the board deep", outline=_points(inside), fillet_m=0.0, operation="score")


def _turns(run: Run) -> list[float]:
    """Angle [rad] by which the way turns at the start of each wall, positive to the left."""
    sides = run.outline.segments
    before = (sides[-1], *sides[:-1])
    return [cmath.phase(b.chord / a.chord) for a, b in zip(before, sides, strict=True)]


def _walls(name: str, sheet: str, shape: BoxShape, result: ShapeResult, model: SpeakerModel) -> Iterator[Panel]:
    body = result.body
    run = next(item for item in body.runs if item.role == "walls")
    turns = _turns(run)
    count = len(turns)
    for index, side in enumerate(run.outline.segments):
        corner = turns[index], turns[(index + 1) % count]
        baffle = body.wall == index
        yield _wall(name, sheet, shape, result, model, (index, side, corner, baffle))
        if baffle and shape.double_baffle:
            yield _second(name, sheet, result, index)


def _wall(
    name: str,
    sheet: str,
    shape: BoxShape,
    result: ShapeResult,
    model: SpeakerModel,
    which: tuple[int, Segment, tuple[float, float], bool],
) -> Panel:
    index, side, corner, baffle = which
    board = result.body.board_m
    run = next(item for item in result.body.runs if item.role == "walls")
    deeper = board / 2.0 if shape.joint == "rabbet" else 0.0
    height = run.high_m - run.low_m + 2.0 * deeper
    left, right = _ends(shape, board, corner)
    low, high = left, side.length_m - right
    fingers = shape.joint == "finger"
    right_edge = _edge(high, high - board, height, board, fingers and _right(corner[1]), even=True)
    left_edge = _edge(low, low + board, height, board, fingers and _right(corner[0]), even=False)
    shift = complex(0.0, deeper - run.low_m)
    cuts = [*_mounts(result, shift)] if baffle else []
    if shape.joint == "rabbet" and _right(corner[0]):
        strip = (0.0, complex(board, 0.0), complex(board, height), complex(0.0, height))
        points = tuple(OutlinePoint(at_m=_pair(complex(at)), fillet_m=0.0) for at in strip)
        cuts.append(CutOut(name="rabbet, half the board deep", outline=points, fillet_m=0.0, operation="score"))
    label = f"wall {index + 1}{' (baffle)' if baffle else ''}{_bevels(corner)}"
    return Panel(
        name=f"{name}, {label}",
        sheet=sheet,
        outline=tuple(OutlinePoint(at_m=_pair(at), fillet_m=0.0) for at in (*right_edge, *left_edge[::-1])),
        fillet_m=0.0,
        cut_outs=tuple(cuts),
        drills=_screws(result, model, shift) if baffle else (),
    )


def _right(turn: float) -> bool:
    """Whether a corner is convex and square."""
    return abs(turn - math.pi / 2.0) < RIGHT_RAD


def _ends(shape: BoxShape, board: float, corner: tuple[float, float]) -> Ends:
    """Each wall goes through at its start and meets the next one with its end."""
    meets = {"butt": board, "rabbet": board / 2.0, "finger": 0.0}[shape.joint]
    start, end = corner
    left = right = 0.0
    if _right(end):
        right = meets
    elif end < 0.0 and not _right(-end):
        right = -board * math.tan(-end / 2.0)
    if _right(-start):  # round an inside corner the next wall takes the corner
        left = -board
    elif start < 0.0:
        left = -board * math.tan(-start / 2.0)
    return left, right


def _bevels(corner: tuple[float, float]) -> str:
    """What the saw is set to at ends that are not square."""
    said = [
        f"{side} end bevelled {abs(math.degrees(turn)) / 2.0:.1f}°{' the other way' if turn < 0.0 else ''}"
        for side, turn in zip(("left", "right"), corner, strict=True)
        if not _right(abs(turn)) and abs(turn) > RIGHT_RAD
    ]
    return f" ({', '.join(said)})" if said else ""


def _edge(full: float, notch: float, height: float, board: float, fingers: bool, *, even: bool) -> list[complex]:
    """One end of a wall from below to above; of two that meet, one keeps the even fingers and one the odd."""
    if not fingers:
        return [complex(full, 0.0), complex(full, height)]
    count = max(3, 2 * round((height / (FINGER_BOARDS * board) - 1.0) / 2.0) + 1)
    step = height / count
    rows = []
    for k in range(count):
        x = full if (k % 2 == 0) == even else notch
        rows += [complex(x, k * step), complex(x, (k + 1) * step)]
    return rows


def _second(name: str, sheet: str, result: ShapeResult, index: int) -> Panel:
    """The second board of a wall, inside."""
    run = next(item for item in result.body.runs if item.role == "walls")
    assert run.opening is not None
    inner, outer = run.opening.segments[index], run.outline.segments[index]
    start = ((inner.start - outer.start) * (outer.chord / abs(outer.chord)).conjugate()).real
    shift = complex(-start, -run.low_m)
    size = (inner.length_m, run.high_m - run.low_m)
    return Panel(
        name=f"{name}, second board of the baffle", sheet=sheet, size_m=size, cut_outs=tuple(_mounts(result, shift))
    )


def _braces(name: str, sheet: str, shape: BoxShape, result: ShapeResult) -> Iterator[Panel]:
    """Boards from floor to baffle with a window that leaves the air one."""
    high = result.body.inside_high_m - result.body.inside_low_m
    for number, item in enumerate(shape.braces, 1):
        length = abs(complex(*item.to_m) - complex(*item.from_m))
        window = math.sqrt(item.open_share)
        size = (length * window, high * window)
        # a rounded corner takes (1 - π/4) r² each: the window is as open as was said
        radius = min(WINDOW_M, 0.25 * min(size))
        grown = math.sqrt(1.0 + (4.0 - math.pi) * radius**2 / (size[0] * size[1])) if item.open_share else 1.0
        cuts: Sequence[CutOut] = ()
        if item.open_share:
            cuts = (
                CutOut(
                    name="window",
                    size_m=(size[0] * grown, size[1] * grown),
                    at_m=(length / 2.0, high / 2.0),
                    fillet_m=radius,
                ),
            )
        yield Panel(name=f"{name}, brace {number}", sheet=sheet, size_m=(length, high), cut_outs=tuple(cuts))
