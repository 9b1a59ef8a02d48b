"""Walls of a box that follow arcs: laid flat, with the cuts part through that let them bend.

A wall is as long as the middle of the skin that is left under its cuts, and drawn as it is seen from outside. Seams lie at
corners, or in straight runs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from cabinwright.build.shapes import Bend, BoxShape
from cabinwright.build.workshop import Panel, Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Segment
from cabinwright.physics.kerf_bend import KerfBend, kerf_bend
from cabinwright.physics.outline import Contour
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.box_board import Computed, hard_points
from cabinwright.stages.workshop.box_walls import Turns, bevels_of, ends_of, rabbet_strip, wall_height
from cabinwright.stages.workshop.joinery import Bent, Joinery, Scribe

__all__ = ["bent_walls"]

ROUTER_M = 0.003  #: diameter of a router's bit unless said


@dataclass(frozen=True)
class _Blade:
    kerf_m: float
    left_m: float
    web_m: float
    thickness_m: float

    def cuts(self, arc: Segment) -> KerfBend:
        return kerf_bend(
            radius_m=arc.radius_m,
            angle_rad=abs(arc.sweep_rad),
            thickness_m=self.thickness_m,
            left_m=self.left_m,
            kerf_m=self.kerf_m,
            web_m=self.web_m,
        )


@dataclass
class _Piece:
    """What is bent of one board: segments of the outer outline between two seams."""

    segments: list[Segment]
    turns: Turns
    bends: list[Bent] = field(default_factory=list)
    length_m: float = 0.0


def bent_walls(
    name: str, shape: BoxShape, sheet: Sheet, result: ShapeResult, room_m: float, found: list[Finding]
) -> Iterator[Computed]:
    """Walls from corner to corner laid flat, none longer than ``room_m`` where a straight run lets it be parted."""
    run = next(item for item in result.body.runs if item.role == "walls")
    board = result.body.board_m
    made = _blade(shape.bend, sheet, board, f"box “{name}”")
    stops: tuple[str, ...] = ()
    if isinstance(made, Finding):  # shown as a usual blade would make it, and not written
        found.append(made)
        blade, stops = _Blade(ROUTER_M, board / 8.0, 0.0, board), (made.code,)
    else:
        blade = made
    pieces = [part for piece in _pieces(run.outline) for part in _parted(piece, blade, room_m)]
    height, _ = wall_height(shape, result)
    for number, piece in enumerate(pieces, 1):
        _lay(piece, blade)
        left, right = ends_of(shape, board, piece.turns)
        low, high = left, piece.length_m - right
        corners = [complex(low, 0.0), complex(high, 0.0), complex(high, height), complex(low, height)]
        places = [(bend.from_m + at, bend.cuts.depth_m) for bend in piece.bends for at in bend.cuts.places_m]
        panel = Panel(
            name=f"{name}, wall {number}{' (bent)' if piece.bends else ''}",
            sheet=sheet.name,
            outline=hard_points(corners),
            fillet_m=0.0,
            cut_outs=tuple(rabbet_strip(shape, board, height, piece.turns[0])),
        )
        lines = tuple(Scribe("score", (Segment(complex(x, 0.0), complex(x, height)),), deep) for x, deep in places)
        joinery = Joinery("outside", bevels=tuple(bevels_of(piece.turns)), bends=tuple(piece.bends))
        tight = () if stops else tuple(_tight(panel.name, piece, found))
        yield Computed(panel, stopped=(*stops, *tight), lines=lines, joinery=joinery)


def _blade(bend: Bend, sheet: Sheet, board_m: float, where: str) -> _Blade | Finding:
    own = {"router": sheet.cutter_diameter_m or ROUTER_M, "saw": sheet.kerf_m or None}.get(sheet.cutter)
    kerf = bend.kerf_m or own
    if kerf is None:
        return finding("workshop.bend_kerf", where=where, value=sheet.cutter, sheet=sheet.name, cutter=sheet.cutter)
    left = bend.left_m or max(0.0015, board_m / 8.0)
    if left > board_m / 2.0:
        return finding("workshop.bend_thin", where=where, value=1e3 * left, limit=round(1e3 * board_m, 2), unit="mm")
    return _Blade(kerf, left, bend.web_m or max(0.002, left), board_m)


def _pieces(outline: Contour) -> list[_Piece]:
    """Parted at corners; where there is none, in the middle of the longest straight run, or where an arc ends."""
    corners = dict(outline.kinks())
    ring = list(outline.segments)
    if not corners:
        straight = max((item for item in ring if item.is_line), key=lambda item: item.length_m, default=None)
        if straight is not None:
            at = ring.index(straight)
            ring = [straight.part(0.5, 1.0), *ring[at + 1 :], *ring[:at], straight.part(0.0, 0.5)]
        return [_Piece(ring, (0.0, 0.0))]
    first = next(index for index, item in enumerate(ring) if item.start in corners)
    made: list[_Piece] = []
    for item in (*ring[first:], *ring[:first]):
        if item.start in corners:
            made.append(_Piece([], (corners[item.start], 0.0)))
        made[-1].segments.append(item)
    ends = [piece.turns[0] for piece in (*made[1:], made[0])]
    return [_Piece(piece.segments, (piece.turns[0], end)) for piece, end in zip(made, ends, strict=True)]


def _parted(piece: _Piece, blade: _Blade, room_m: float) -> list[_Piece]:
    """In the middle of its longest straight run, again and again, while it is longer than the sheet; else where arcs meet."""
    total = sum(_flat_m(item, blade) for item in piece.segments)
    if total <= room_m:
        return [piece]
    runs = [index for index, item in enumerate(piece.segments) if item.is_line and item.length_m > 0.1]
    if runs:
        at = max(runs, key=lambda index: piece.segments[index].length_m)
        long = piece.segments[at]
        first, rest = [*piece.segments[:at], long.part(0.0, 0.5)], [long.part(0.5, 1.0), *piece.segments[at + 1 :]]
    elif len(piece.segments) > 1:
        half = len(piece.segments) // 2
        first, rest = piece.segments[:half], piece.segments[half:]
    else:
        return [piece]
    halves = _Piece(first, (piece.turns[0], 0.0)), _Piece(rest, (0.0, piece.turns[1]))
    return [part for half in halves for part in _parted(half, blade, room_m)]


def _flat_m(item: Segment, blade: _Blade) -> float:
    return item.length_m if item.is_line else blade.cuts(item).length_m


def _lay(piece: _Piece, blade: _Blade) -> None:
    """Arcs become cuts at their places along the board."""
    for item in piece.segments:
        if not item.is_line:
            piece.bends.append(Bent(piece.length_m, blade.cuts(item)))
        piece.length_m += _flat_m(item, blade)


def _tight(name: str, piece: _Piece, found: list[Finding]) -> Iterator[str]:
    """Stops for arcs that these cuts cannot follow, and a word about the skin."""
    where = f"part “{name}”"
    arcs: Sequence[Segment] = [item for item in piece.segments if not item.is_line]
    for arc, bend in zip(arcs, piece.bends, strict=True):
        cuts, middle = bend.cuts, arc.point(0.5)
        if cuts.radius_m < cuts.least_radius_m - 1e-9:
            at = f"{1e3 * middle.real:.0f}, {1e3 * middle.imag:.0f} mm in plan"
            least = math.ceil(1e4 * cuts.least_radius_m) / 10.0
            radius = round(1e3 * cuts.radius_m, 1)
            found.append(finding("workshop.bend_tight", where=where, value=radius, limit=least, unit="mm", at=at))
            yield "workshop.bend_tight"
    if piece.bends:
        strain = max(bend.cuts.strain for bend in piece.bends)
        found.append(finding("workshop.bend_trial", where=where, value=round(100.0 * strain, 1), unit="%"))
