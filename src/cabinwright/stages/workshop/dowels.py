"""Dowels: which, how deep, and where along a joint, so that both boards' holes meet and none meets anything else.

Common practice, no source: a third to a half of the board thick; two thirds of the board deep in the face, with 3.5 mm
left at least; a millimetre of room for glue at both ends; no nearer to the end of a joint than two and a half boards; two
in every joint, and others no farther apart than the pitch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from cabinwright.build.shapes import Dowels
from cabinwright.findings import Finding, finding
from cabinwright.stages.workshop.joinery import EdgeBore, FaceBore

__all__ = ["CLEAR_M", "Bored", "Joint", "Peg", "bore", "peg_of", "square"]

STOCK = ((0.005, 0.025), (0.006, 0.030), (0.008, 0.035), (0.010, 0.040), (0.012, 0.050))  #: diameter, usual length
GLUE_M = 0.001  #: room at each end of a dowel
SKIN_M = 0.0035  #: left under a hole in a face
BESIDE_M = 0.002  #: left on both sides of a hole in an edge
CLEAR_M = 0.005  #: between a hole and whatever else is in the board
ENDS_BOARDS = 2.5
STEP_M = 0.001


@dataclass(frozen=True)
class Peg:
    """A dowel and the holes it needs."""

    diameter_m: float
    length_m: float
    face_depth_m: float
    edge_depth_m: float
    end_m: float  #: least distance of a hole from the end of its joint
    pitch_m: float


@dataclass
class Bored:
    """A board while holes are put into it, in its own coordinates."""

    outline: BaseGeometry
    taken: list[BaseGeometry] = field(default_factory=list)
    face: list[FaceBore] = field(default_factory=list)
    edge: list[EdgeBore] = field(default_factory=list)


@dataclass(frozen=True)
class Joint:
    """Where the middle of a board's edge lies on another's face: both lines run the same way and are equally long."""

    edge: Bored
    edge_line: tuple[complex, complex]
    way: complex  #: into the board from its edge
    face: Bored
    face_line: tuple[complex, complex]
    names: tuple[str, str]  #: of the board whose edge it is, and of the other


def peg_of(board_m: float, asked: Dowels, where: str) -> Peg | Finding:
    """The dowel for a board, or the ``stop`` that says why there is none."""
    most = board_m - 2.0 * BESIDE_M
    usual = max((row for row in STOCK if row[0] <= board_m / 2.0), default=STOCK[0])
    diameter = asked.diameter_m or usual[0]
    length = asked.length_m or min(STOCK, key=lambda row: abs(row[0] - diameter))[1]
    deep = min(2.0 * board_m / 3.0, board_m - SKIN_M)
    if diameter > most or deep < diameter / 2.0:
        return _stop(where, diameter, most)
    rest = length - (deep - GLUE_M) + GLUE_M
    if rest < diameter:  # so short that it would hardly reach out of the face
        deep, rest = (length + 2.0 * GLUE_M) / 2.0, (length + 2.0 * GLUE_M) / 2.0
    return Peg(diameter, length, deep, rest, max(ENDS_BOARDS * board_m, rest + diameter), asked.pitch_m)


def _stop(where: str, value: float, limit: float) -> Finding:
    return finding(
        "workshop.dowel_thin",
        where=where,
        value=round(1e3 * value, 1),
        limit=round(1e3 * max(limit, 0.0), 1),
        unit="mm",
    )


def bore(joint: Joint, peg: Peg, found: list[Finding]) -> None:
    """Puts a joint's holes into both of its boards."""
    start, end = joint.edge_line
    length = abs(end - start)
    along = (end - start) / length
    face_start, face_end = joint.face_line
    over = (face_end - face_start) / abs(face_end - face_start)

    def prints(place: float) -> tuple[BaseGeometry, BaseGeometry]:
        """What a dowel there takes of either board, with room round it."""
        mouth, spot = start + along * place, face_start + over * place
        tip = mouth + joint.way * peg.edge_depth_m
        wide = peg.diameter_m / 2.0 + CLEAR_M
        return LineString([_xy(mouth), _xy(tip)]).buffer(wide), Point(_xy(spot)).buffer(wide)

    def free(place: float) -> bool:
        edge, face = prints(place)
        tip = start + along * place + joint.way * peg.edge_depth_m
        if not joint.edge.outline.contains(Point(_xy(tip)).buffer(CLEAR_M)):
            return False
        return not any(edge.intersects(item) for item in joint.edge.taken) and not any(
            face.intersects(item) for item in joint.face.taken
        )

    places = _places(length, peg, free)
    for place in places:
        mouth, spot = start + along * place, face_start + over * place
        joint.edge.edge.append(EdgeBore(mouth, joint.way, peg.diameter_m, peg.edge_depth_m))
        joint.face.face.append(FaceBore(spot, peg.diameter_m, peg.face_depth_m))
    for place in places:  # only now: those of one joint have their own rule
        edge, face = prints(place)
        joint.edge.taken.append(edge.buffer(-CLEAR_M))
        joint.face.taken.append(face.buffer(-CLEAR_M))
    if len(places) < 2:
        mine, other = joint.names
        found.append(finding("workshop.dowel_few", where=f"part “{mine}”", value=len(places), other=other))


def _places(length_m: float, peg: Peg, free: Callable[[float], bool]) -> Sequence[float]:
    """Evenly spread, each moved aside as little as what is in the way asks for; none where it would be too far."""
    low, high = peg.end_m, length_m - peg.end_m
    apart = 3.0 * peg.diameter_m
    if high < low:
        return []
    count = math.ceil((high - low) / peg.pitch_m - 1e-9) + 1 if high - low >= apart else 1
    step = (high - low) / max(count - 1, 1)
    wanted = [low + k * step for k in range(count)] if count > 1 else [length_m / 2.0]
    found: list[float] = []
    for target in wanted:
        reach = max(step / 2.0, STEP_M)
        shifts = [sign * k * STEP_M for k in range(int(reach / STEP_M) + 1) for sign in (1.0, -1.0)]
        tried = [target + shift for shift in shifts if low - 1e-9 <= target + shift <= high + 1e-9]
        good = (at for at in tried if (not found or at - found[-1] >= apart - 1e-9) and free(at))
        place = next(good, None)
        if place is not None:
            found.append(place)
    return found


def square(at: complex, size: tuple[float, float]) -> Polygon:
    """A rectangle about a point."""
    half = complex(*size) / 2.0
    return Polygon([_xy(at + complex(x * half.real, y * half.imag)) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def _xy(at: complex) -> tuple[float, float]:
    return at.real, at.imag
