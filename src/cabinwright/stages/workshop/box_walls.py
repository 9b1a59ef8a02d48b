"""The flat walls of a box with their joints, drawn as they are seen from outside.

Each wall goes through at its start and meets the next one with its end. Corners that are not square are mitred, by half the
angle of the turn at either end.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass

from cabinwright.build.loudspeaker import Radiator, SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.build.workshop import CutOut, Panel
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Segment
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.box_board import Computed, fitted, hard_points
from cabinwright.stages.workshop.joinery import Bevel, Joinery

__all__ = [
    "RABBET",
    "FlatWall",
    "Parts",
    "Turns",
    "bevels_of",
    "ends_of",
    "flat_walls",
    "is_right",
    "rabbet_strip",
    "second_board",
    "steep",
    "wall_height",
]

FINGER_BOARDS = 3.0  #: a finger is about so many boards wide
RIGHT_RAD = math.radians(0.5)  #: a corner within this of 90° is a right one
STEEP_DEG = 45.0  #: farther most saws do not tilt
RABBET = "rabbet, half the board deep"

Ends = tuple[float, float]  #: how much shorter (longer, if negative) a wall is at its start and end than its outer side
Turns = tuple[float, float]  #: by which the way turns at its start and end, positive to the left


@dataclass(frozen=True)
class FlatWall:
    """A wall and where it stands."""

    board: Computed
    side: Segment  #: its outer side in plan
    turns: Turns
    low_m: float  #: where it begins and ends along that side
    high_m: float
    height_m: float


Parts = tuple[SpeakerModel, Radiator | None]
"""What sits in the walls: the drive unit, and the passive radiator where there is one."""


def flat_walls(name: str, shape: BoxShape, result: ShapeResult, mounted: Parts) -> list[FlatWall]:
    """Every flat wall, in order of the outline that the body keeps; named by the build's own count."""
    run = next(item for item in result.body.runs if item.role == "walls")
    sides = run.outline.segments
    turns = [cmath.phase(b.chord / a.chord) for a, b in zip((sides[-1], *sides[:-1]), sides, strict=True)]
    return [
        _flat(name, shape, result, mounted, index, (turns[index], turns[(index + 1) % len(turns)]))
        for index in range(len(sides))
    ]


def _flat(name: str, shape: BoxShape, result: ShapeResult, mounted: Parts, index: int, turns: Turns) -> FlatWall:
    board = result.body.board_m
    run = next(item for item in result.body.runs if item.role == "walls")
    side, baffle = run.outline.segments[index], result.body.wall == index
    height, deeper = wall_height(shape, result)
    left, right = ends_of(shape, board, turns)
    low, high = left, side.length_m - right
    fingers = shape.joint == "finger"
    right_edge = _edge(high, high - board, height, board, fingers and is_right(turns[1]), even=True)
    left_edge = _edge(low, low + board, height, board, fingers and is_right(turns[0]), even=False)
    shift = complex(0.0, deeper - run.low_m)
    cuts, drills = fitted(shape, result, mounted, index, shift)
    panel = Panel(
        name=f"{name}, wall {result.body.number(index)}{' (baffle)' if baffle else ''}",
        sheet=shape.sheet,
        outline=hard_points([*right_edge, *left_edge[::-1]]),
        fillet_m=0.0,
        cut_outs=(*cuts, *rabbet_strip(shape, board, height, turns[0])),
        drills=drills,
    )
    joinery = Joinery(face="outside", bevels=tuple(bevels_of(turns)))
    return FlatWall(Computed(panel, joinery=joinery), side, turns, low, high, height)


def wall_height(shape: BoxShape, result: ShapeResult) -> tuple[float, float]:
    """Height of a wall, and how far it goes into floor and top."""
    run = next(item for item in result.body.runs if item.role == "walls")
    deeper = result.body.board_m / 2.0 if shape.joint == "rabbet" else 0.0
    return run.high_m - run.low_m + 2.0 * deeper, deeper


def rabbet_strip(shape: BoxShape, board: float, height: float, turn: float) -> list[CutOut]:
    """Where the wall before goes into this one."""
    if shape.joint != "rabbet" or not is_right(turn):
        return []
    corners = [0j, complex(board, 0.0), complex(board, height), complex(0.0, height)]
    return [CutOut(name=RABBET, outline=hard_points(corners), fillet_m=0.0, operation="score", depth_m=board / 2.0)]


def is_right(turn: float) -> bool:
    """Whether a corner is convex and square."""
    return abs(turn - math.pi / 2.0) < RIGHT_RAD


def ends_of(shape: BoxShape, board: float, turns: Turns) -> Ends:
    """How much shorter a wall is than its outer side."""
    meets = {"butt": board, "dowel": board, "rabbet": board / 2.0, "finger": 0.0}[shape.joint]
    start, end = turns
    left = right = 0.0
    if is_right(end):
        right = meets
    elif end < 0.0 and not is_right(-end):
        right = -board * math.tan(-end / 2.0)
    if is_right(-start):  # round an inside corner the next wall takes the corner
        left = -board
    elif start < 0.0:
        left = -board * math.tan(-start / 2.0)
    return left, right


def bevels_of(turns: Turns) -> Iterator[Bevel]:
    """What the saw is set to at ends that are not square."""
    for side, turn in zip(("left", "right"), turns, strict=True):
        if not is_right(abs(turn)) and abs(turn) > RIGHT_RAD:
            yield Bevel(side, abs(math.degrees(turn)) / 2.0, turn > 0.0)


def steep(board: Computed, found: list[Finding]) -> None:
    """A word about bevels that a saw does not reach."""
    for item in board.joinery.bevels:
        if item.tilt_deg > STEEP_DEG + 0.25:
            where, tilt = f"part “{board.panel.name}”", round(item.tilt_deg, 1)
            found.append(finding("workshop.bevel_steep", where=where, side=item.side, value=tilt, limit=STEEP_DEG))


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


def second_board(name: str, shape: BoxShape, result: ShapeResult, mounted: Parts, index: int) -> Panel:
    """The second board of a wall, inside."""
    run = next(item for item in result.body.runs if item.role == "walls")
    assert run.opening is not None
    inner, outer = run.opening.segments[index], run.outline.segments[index]
    start = ((inner.start - outer.start) * (outer.chord / abs(outer.chord)).conjugate()).real
    shift = complex(-start, -run.low_m)
    return Panel(
        name=f"{name}, second board of the baffle",
        sheet=shape.sheet,
        size_m=(inner.length_m, run.high_m - run.low_m),
        cut_outs=fitted(shape, result, mounted, index, shift)[0],
    )
