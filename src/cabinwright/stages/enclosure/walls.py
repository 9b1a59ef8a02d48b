"""How stiff the walls of a box are, and which ribs would make them stiff enough.

Flat walls between corners are rectangles by formula; floor and top are plates of their own outline by finite elements,
held on the box's braces and posts, the loudspeaker's mass on the rim of its cut-out, the stiffness of its frame left out. The
simply supported figure is the one that is judged; a curved wall is stiffer than a flat one as large and is not judged.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from shapely import LineString, Point, Polygon

from cabinwright.build.shapes import BoxShape
from cabinwright.physics.arcs import Segment
from cabinwright.physics.plate import CLAMPED, SUPPORTED, Board, plate_hz, rectangle_hz
from cabinwright.stages.enclosure.fit_units import wall_of
from cabinwright.stages.enclosure.shape import Body, Run
from cabinwright.tables import rows

__all__ = ["Wall", "board_of", "walls_of"]

MOST_RIBS = 4
CHORD_M = 4e-4
TOUCHES_M = 0.004  #: a brace that ends so near to a wall holds it
Rib = tuple[complex, complex]
Holes = Sequence[tuple[complex, float, float]]
"""Cut-outs in a wall: centre, diameter [m], and the mass on its rim [kg]."""


@dataclass(frozen=True)
class Wall:
    """One wall, and what would make it stiff enough."""

    name: str
    length_m: float
    width_m: float
    thickness_m: float
    resonance_hz: float | None  #: edges simply supported; None where it is curved
    clamped_hz: float | None
    ribs: tuple[Rib, ...] = ()  #: proposed: on the wall's own plane, from its lower left corner, or in plan
    with_ribs_hz: float | None = None
    held: int = 0  #: braces and posts that hold it already


def board_of(material: str, thickness_m: float) -> Board:
    """A board of this material, of the tables' typical figures."""
    stiff = next(row for row in rows("panel_stiffness") if row["material"] == material)
    heavy = next(row for row in rows("sheet_goods") if row["material"] == material)
    return Board(thickness_m, float(stiff["young_pa"]), float(heavy["density_kg_m3"]), float(stiff["poisson"]))


def walls_of(shape: BoxShape, body: Body, material: str, holes: Mapping[int | str, Holes]) -> tuple[Wall, ...]:
    """Every wall; ``holes`` by wall: ``top``, ``bottom``, or the index of a side."""
    limit = shape.stiff_above_hz
    found = []
    for role in ("bottom", "top"):
        run = next(item for item in body.runs if item.role == role)
        found.append(_end(shape, body, run, board_of(material, run.count * body.board_m), holes.get(role, ()), limit))
    for low, high in _storeys(body):
        inside = next(run.opening for run in body.hollow_runs if run.low_m >= low - 1e-9)
        assert inside is not None
        for number in range(1, len(inside.segments) + 1):
            index = body.side(number)
            side = inside.segments[index]
            name = f"wall {number}" if len(_storeys(body)) == 1 else f"wall {number}, {1e3 * low:.0f} mm up"
            board = board_of(material, body.wall_m * (2 if shape.double_baffle and body.wall == index else 1))
            if side.length_m > 0.05:
                found.append(_side(shape, side, name, board, high - low, limit))
    return tuple(found)


def _storeys(body: Body) -> list[tuple[float, float]]:
    """Heights over which the inside stays the same; thin ledges belong to the storey under them."""
    rows: list[list[float]] = []
    for run in body.hollow_runs:
        if rows and run.high_m - run.low_m <= 1.5 * body.board_m:
            rows[-1][1] = run.high_m
        else:
            rows.append([run.low_m, run.high_m])
    return [(low, high) for low, high in rows]


def _end(shape: BoxShape, body: Body, run: Run, board: Board, holes: Holes, limit: float) -> Wall:
    beside = body.hollow_runs[0 if run.role == "bottom" else -1].opening
    assert beside is not None
    plate = beside.as_polygon(CHORD_M)
    for at, diameter, _ in holes:
        hole = Point(at.real, at.imag).buffer(diameter / 2.0, quad_segs=12)
        if plate.contains(hole.buffer(CHORD_M)):  # one that meets a wall has its own finding
            plate = plate.difference(hole)
    held = [(complex(*item.from_m), complex(*item.to_m)) for item in shape.braces]
    held += [(complex(*item.at_m), complex(*item.at_m)) for item in shape.posts]
    mass = sum(kilograms for _, _, kilograms in holes)

    def hertz(ribs: Sequence[Rib], edges: str = SUPPORTED) -> float:
        return plate_hz(board, plate, ribs=[*held, *ribs], rim_mass_kg=mass, edges=edges)

    x0, y0, x1, y1 = plate.bounds
    name = f"{run.role} (baffle)" if holes and wall_of(shape, body) == run.role else run.role
    try:
        wall = Wall(name, x1 - x0, y1 - y0, board.thickness_m, hertz(()), hertz((), CLAMPED), held=len(held))
        return _braced(wall, limit, [_across(plate, count) for count in range(1, MOST_RIBS + 1)], hertz)
    except ValueError:  # an outline too fine to be meshed is not judged
        return Wall(name, x1 - x0, y1 - y0, board.thickness_m, None, None, held=len(held))


def _across(plate: Polygon, count: int) -> tuple[Rib, ...]:
    """So many ribs across the longer way, evenly; each goes from edge to edge, round a cut-out in pieces."""
    x0, y0, x1, y1 = plate.bounds
    ribs: list[Rib] = []
    for k in range(1, count + 1):
        share = k / (count + 1)
        if x1 - x0 >= y1 - y0:
            x = x0 + share * (x1 - x0)
            line = LineString([(x, y0 - 1.0), (x, y1 + 1.0)])
        else:
            y = y0 + share * (y1 - y0)
            line = LineString([(x0 - 1.0, y), (x1 + 1.0, y)])
        cut = line.intersection(plate)
        for piece in getattr(cut, "geoms", [cut]):
            if isinstance(piece, LineString) and piece.length > 0.03:
                (ax, ay), (bx, by) = piece.coords[0], piece.coords[-1]
                ribs.append((complex(ax, ay), complex(bx, by)))
    return tuple(ribs)


def _side(shape: BoxShape, side: Segment, name: str, board: Board, height_m: float, limit: float) -> Wall:
    """A flat wall is as long as its longest part between two braces."""
    length = side.length_m
    if not side.is_line:
        return Wall(name, length, height_m, board.thickness_m, None, None)
    ends = [complex(*at) for item in shape.braces for at in (item.from_m, item.to_m)]
    near = [end for end in ends if float(side.distance_m(np.array([end]))[0]) <= TOUCHES_M]
    shares = sorted([0.0, 1.0, *(min(1.0, max(0.0, side.share_of(end))) for end in near)])
    longest = max(b - a for a, b in pairwise(shares)) * length

    def hertz(ribs: Sequence[Rib], edges: str = SUPPORTED) -> float:
        across, up = longest, height_m
        if len(ribs):
            across, up = (across / (len(ribs) + 1), up) if across >= up else (across, up / (len(ribs) + 1))
        return rectangle_hz(board, length_m=across, width_m=up, edges=edges)

    wall = Wall(name, length, height_m, board.thickness_m, hertz(()), hertz((), CLAMPED), held=len(near))
    tried = []
    for count in range(1, MOST_RIBS + 1):
        parts = [k / (count + 1) for k in range(1, count + 1)]
        if longest >= height_m:
            tried.append(tuple((complex(s * longest, 0.0), complex(s * longest, height_m)) for s in parts))
        else:
            tried.append(tuple((complex(0.0, s * height_m), complex(longest, s * height_m)) for s in parts))
    return _braced(wall, limit, tried, hertz)


def _braced(
    wall: Wall, limit: float, tried: Sequence[tuple[Rib, ...]], hertz: Callable[[Sequence[Rib]], float]
) -> Wall:
    """The wall with the fewest ribs that lift it over the limit; the most that were tried where none do."""
    if wall.resonance_hz is None or wall.resonance_hz >= limit:
        return wall
    best = wall
    for ribs in tried:
        value = hertz(ribs)
        best = replace(wall, ribs=ribs, with_ribs_hz=value)
        if value >= limit:
            break
    return best
