"""A box as a body: from its hollow to runs of boards, outside and inside exactly, arcs and all.

Flat walls: outlines moved by mitres, so that corners stay corners. Stacked rings: every layer as thick as the board;
its opening keeps a ring's width from the layers under and over it too, so that no joint gapes; its corners are as round as the
cutter.
In an STL's hollow each layer is as large as the narrowest of the hollow's sections over its height (five of them, gap and all)
and as all layers above it, so that the box can be lifted out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from cabinwright.build.shapes import BoxShape, Opening
from cabinwright.physics.arcs import NEAR_M, Segment
from cabinwright.physics.outline import Contour, Corner, Drawn, OutlineFault, circle, from_corners
from cabinwright.physics.solid import Mesh, Slab, section

__all__ = ["Body", "Files", "Run", "ShapeFault", "body_of", "chain", "mitred", "outline_of"]

Files = Mapping[str, Drawn | Mesh | str]
"""What the files that shapes name hold, or why they were not taken."""
SECTIONS = 5  #: of a hollow over the height of one layer
FINE_M = 2e-4  #: corners of a section nearer to its line than this are left out
MOST_CORNERS = 300
ALIKE = 0.004
LEAST_ROUND_M = 0.003  #: inside corners of rings are at least so round


class ShapeFault(Exception):
    """A shape that gives no box: the code of the finding that says why, and its details."""

    def __init__(self, code: str, **details: Any) -> None:
        super().__init__(code)
        self.code, self.details = code, details


@dataclass(frozen=True)
class Run:
    """Boards of one outline that lie on one another, or walls standing between floor and top."""

    role: str  #: bottom, ring, walls or top
    count: int
    low_m: float
    high_m: float
    outline: Contour
    opening: Contour | None = None

    def slab(self) -> Slab:
        """As material."""
        return Slab(self.low_m, self.high_m, self.outline, () if self.opening is None else (self.opening,))

    @property
    def air_m3(self) -> float:
        """Air inside it."""
        return 0.0 if self.opening is None else abs(self.opening.area_m2) * (self.high_m - self.low_m)


@dataclass(frozen=True)
class Body:
    """The box before anything is put in: runs from the floor up, at their heights over the floor."""

    construction: str  #: panels, stacked or bent
    board_m: float
    wall_m: float
    runs: tuple[Run, ...]
    wall: int | None = None  #: index of the outline's segment that the loudspeakers sit in; None: top or bottom
    clockwise: bool = False  #: as its outline was drawn: the build counts its sides the other way round
    base_m: float = 0.0  #: height of its underside over the floor of an outline, or in the coordinates of an STL

    def side(self, number: int) -> int:
        """Index of the wall that the build counts as ``number``."""
        return len(self.hollow_runs[0].outline.segments) - number if self.clockwise else number - 1

    def number(self, index: int) -> int:
        """What the build counts the wall of this index as; whatever a person reads tells walls so."""
        return self.side(index + 1) + 1

    @property
    def height_m(self) -> float:
        """Height over all."""
        return self.runs[-1].high_m

    @property
    def hollow_runs(self) -> tuple[Run, ...]:
        """Those with air in them."""
        return tuple(run for run in self.runs if run.opening is not None)

    @property
    def inside_low_m(self) -> float:
        """Where the air begins."""
        return self.hollow_runs[0].low_m

    @property
    def inside_high_m(self) -> float:
        """Where the air ends."""
        return self.hollow_runs[-1].high_m

    @property
    def outer_volume_m3(self) -> float:
        """With the boards, exactly."""
        return sum(abs(run.outline.area_m2) * (run.high_m - run.low_m) for run in self.runs)

    @property
    def inside_volume_m3(self) -> float:
        """Without anything in it, exactly."""
        return sum(run.air_m3 for run in self.runs)

    @property
    def plan(self) -> Contour:
        """The largest outline."""
        return max((run.outline for run in self.runs), key=lambda item: abs(item.area_m2))


def outline_of(table: BoxShape | Opening, files: Files) -> Contour:
    """The outline that a shape or an opening draws, counter-clockwise. Raises ``OutlineFault`` or ``ShapeFault``."""
    if table.file is not None:
        content = files.get(table.file, "it was not read")
        if not isinstance(content, Drawn):
            raise ShapeFault("enclosure.shape_file", reason=content if isinstance(content, str) else "it is no outline")
        return content.closed[0]
    if table.diameter_m is not None:
        return circle(0.0, table.diameter_m)
    if table.size_m is not None:
        width, height = table.size_m
        corners = [Corner(0.0), Corner(width), Corner(complex(width, height)), Corner(1j * height)]
    else:
        corners = [
            Corner(
                complex(*point.at_m),
                via=None if point.via_m is None else complex(*point.via_m),
                sagitta_m=point.sagitta_m,
                fillet_m=point.fillet_m,
            )
            for point in table.outline or ()
        ]
    contour = Contour(from_corners(corners, fillet_m=table.fillet_m))
    contour.check()
    return contour


def body_of(shape: BoxShape, files: Files, *, board_m: float, cutter_radius_m: float) -> Body:
    """The box in its hollow. Raises ``OutlineFault`` or ``ShapeFault`` where none can be."""
    if shape.is_hollow:
        return _in_hollow(shape, files, board_m=board_m, cutter_radius_m=cutter_radius_m)
    drawn = outline_of(shape, files)
    curved = any(not segment.is_line for segment in drawn.segments)
    construction = shape.construction or ("stacked" if curved or len(shape.levels) > 1 else "panels")
    if construction == "panels":
        if curved:
            raise ShapeFault("enclosure.shape_bent")
        return _flat(shape, drawn, board_m)
    if isinstance(shape.baffle, int):
        raise ShapeFault("enclosure.shape_wall", value=shape.baffle, limit="top or bottom")
    if construction == "bent":
        return _bent(shape, drawn, board_m)
    hollow = drawn.counter_clockwise()
    levels = [(item.height_m, item.inset_m) for item in shape.levels] or [(shape.height_m or 0.0, 0.0)]
    tops = np.floor(np.cumsum([height for height, _ in levels]) / board_m + 1e-6).astype(int)
    insets = [inset for (_, inset), count in zip(levels, np.diff(tops, prepend=0), strict=True) for _ in range(count)]
    outlines = {inset: _one(hollow, -(shape.offset_m + inset)) for inset in dict.fromkeys(insets)}

    def opening(near: Sequence[int]) -> Contour:
        narrow = outlines[max(insets[k] for k in near)]
        radius = max(cutter_radius_m, LEAST_ROUND_M)
        return _one(_one(narrow, -(_wall(shape, board_m) + radius)), radius)

    return _stacked(shape, board_m, [outlines[inset] for inset in insets], opening)


def _wall(shape: BoxShape, board_m: float) -> float:
    return shape.wall_m or board_m


def _one(contour: Contour, distance_m: float) -> Contour:
    """Moved outwards; one piece or a fault."""
    moved = contour.offset(distance_m)
    if len(moved) != 1:
        what = "nothing is left" if not moved else f"it falls into {len(moved)} pieces"
        rule = f"moved by {1e3 * distance_m:+.1f} mm, {what} of the outline; drawn from"
        cure = "Choose a smaller offset, thinner board or narrower rings, or widen the narrow place."
        raise OutlineFault("nothing left", contour.segments[0].start, rule, cure)
    return moved[0].counter_clockwise()


def _ends(shape: BoxShape) -> tuple[int, int]:
    """Boards under and over the air."""
    return (2 if shape.double_baffle and shape.baffle == "bottom" else 1), (
        2 if shape.double_baffle and shape.baffle == "top" else 1
    )


def _stacked(shape: BoxShape, board_m: float, outlines: Sequence[Contour], opening: Any) -> Body:
    under, over = _ends(shape)
    count = len(outlines)
    if count <= under + over:
        raise ShapeFault(
            "enclosure.shape_flat",
            value=round(1e3 * count * board_m, 1),
            limit=round(1e3 * (under + over + 1) * board_m, 1),
        )
    runs: list[Run] = []
    cache: dict[tuple[int, ...], Contour] = {}
    for k, outline in enumerate(outlines):
        role = "bottom" if k < under else "top" if k >= count - over else "ring"
        inside = None
        if role == "ring":
            key = tuple(id(outlines[n]) for n in (k - 1, k, k + 1))
            cache.setdefault(key, opening((k - 1, k, k + 1)))
            inside = cache[key]
        last = runs[-1] if runs else None
        same = last is not None and last.role == role and last.outline is outline
        if last is not None and same and (inside is last.opening or _alike(inside, last.opening)):
            runs[-1] = replace(last, count=last.count + 1, high_m=(k + 1) * board_m)
        else:
            runs.append(Run(role, 1, k * board_m, (k + 1) * board_m, outline, inside))
    return Body("stacked", board_m, _wall(shape, board_m), tuple(runs))


def _alike(a: Contour | None, b: Contour | None) -> bool:
    return a is not None and b is not None and a.segments == b.segments


def _bent(shape: BoxShape, drawn: Contour, board_m: float) -> Body:
    """One board's walls that follow arcs outwards, standing between floor and top. Raises ``ShapeFault`` where one cannot."""
    inset = shape.offset_m + (shape.levels[0].inset_m if shape.levels else 0.0)
    outer = _one(drawn.counter_clockwise(), -inset)
    sharp = [at for at, _ in outer.kinks()]
    for side in outer.segments:
        ends = (side.start, side.end)
        if side.is_line:
            continue
        at = f"{1e3 * side.point(0.5).real:.0f}, {1e3 * side.point(0.5).imag:.0f} mm"
        if side.bulge < 0.0:
            raise ShapeFault("enclosure.shape_bent_in", at=at)
        if any(abs(end - corner) < NEAR_M for end in ends for corner in sharp):
            raise ShapeFault("enclosure.shape_bent_corner", at=at)
    return _standing(shape, board_m, outer, _one(outer, -board_m), "bent")


def _flat(shape: BoxShape, drawn: Contour, board_m: float) -> Body:
    """Walls standing between floor and top."""
    inset = shape.offset_m + (shape.levels[0].inset_m if shape.levels else 0.0)
    count, clockwise = len(drawn.segments), drawn.area_m2 < 0.0
    if isinstance(shape.baffle, int) and shape.baffle > count:
        raise ShapeFault("enclosure.shape_wall", value=shape.baffle, limit=f"1 to {count}")
    outer = mitred(drawn.counter_clockwise() if clockwise else drawn, -inset)
    made = replace(_standing(shape, board_m, outer, mitred(outer, -board_m), "panels"), clockwise=clockwise)
    return replace(made, wall=made.side(shape.baffle)) if isinstance(shape.baffle, int) else made


def _standing(shape: BoxShape, board_m: float, outer: Contour, inner: Contour, how: str) -> Body:
    """Walls between floor and top, these as large as the box."""
    height = shape.height_m or shape.levels[0].height_m
    under, over = _ends(shape)
    low, high = under * board_m, height - over * board_m
    if high - low < NEAR_M:
        raise ShapeFault(
            "enclosure.shape_flat", value=round(1e3 * height, 1), limit=round(1e3 * (under + over) * board_m, 1)
        )
    runs = (
        Run("bottom", under, 0.0, low, outer),
        Run("walls", 1, low, high, outer, inner),
        Run("top", over, high, height, outer),
    )
    return Body(how, board_m, board_m, runs)


def mitred(contour: Contour, distance_m: float) -> Contour:
    """A counter-clockwise outline of lines moved outwards, corners kept sharp, every side kept. Raises ``OutlineFault``."""
    if abs(distance_m) < NEAR_M:
        return contour
    sides = list(contour.segments)
    ways = [side.chord / abs(side.chord) for side in sides]
    corners = []
    for before, after, at in zip([ways[-1], *ways[:-1]], ways, [side.start for side in sides], strict=True):
        cross = (before.conjugate() * after).imag
        out = -1j * before * distance_m
        if abs(cross) < 1e-9:
            corners.append(at + out)
        else:  # where the two moved lines meet
            along = ((-1j * after * distance_m - out).conjugate() * after).imag / (before.conjugate() * after).imag
            corners.append(at + out + before * along)
    made = chain(corners)
    turned = any((side.chord.conjugate() * way).real <= NEAR_M for side, way in zip(made.segments, ways, strict=True))
    if not turned:
        made.check()
    if turned or made.area_m2 <= 0.0:
        rule = f"moved by {1e3 * distance_m:+.1f} mm, a side of the outline is gone; drawn from"
        cure = "Choose a smaller offset or a thinner board, or take short sides out of the outline."
        raise OutlineFault("nothing left", contour.segments[0].start, rule, cure)
    return made


def _in_hollow(shape: BoxShape, files: Files, *, board_m: float, cutter_radius_m: float) -> Body:
    """Rings in a scanned hollow."""
    content = files.get(shape.file or "", "it was not read")
    if not isinstance(content, Mesh):
        raise ShapeFault("enclosure.shape_file", reason=content if isinstance(content, str) else "it is no solid")
    if content.open_edges:
        raise ShapeFault("enclosure.shape_not_tight", value=content.open_edges)
    low, high = (float(bound[2]) for bound in content.bounds)
    floor = low + shape.offset_m
    room = min(high - floor, shape.height_m or np.inf)
    count = int(np.floor(room / board_m + 1e-6))
    rooms: list[BaseGeometry] = []
    for k in range(count):
        heights = np.linspace(floor + k * board_m - shape.offset_m, floor + (k + 1) * board_m, SECTIONS)
        heights = np.clip(heights, low + 1e-6, high - 1e-6)
        found: BaseGeometry | None = None
        for height in heights:
            cut = section(content, float(height))
            found = cut if found is None else found.intersection(cut)
        assert found is not None
        rooms.append(_largest(found.buffer(-(shape.offset_m + FINE_M))))
    for k in range(count - 2, -1, -1):
        rooms[k] = _largest(rooms[k].intersection(rooms[k + 1]))
    radius = max(cutter_radius_m, LEAST_ROUND_M)
    for k in range(1, count):  # layers that hardly differ are cut alike
        if rooms[k].area - rooms[k - 1].area < ALIKE * rooms[k].area:
            rooms[k] = rooms[k - 1]
    airs = [_largest(item.buffer(-(_wall(shape, board_m) + radius)).buffer(radius, quad_segs=8)) for item in rooms]
    under, over = _ends(shape)
    # a floor that lies higher gives wider rings: the one that leaves most air
    sums = [
        sum(airs[max(k - 1, first)].area for k in range(first + under, count - over)) if airs[first].area > 0.0 else 0.0
        for first in range(count)
    ]
    first = int(np.argmax(sums)) if sums else 0
    if not sums or sums[first] <= 0.0:
        raise ShapeFault(
            "enclosure.shape_flat", value=round(1e3 * room, 1), limit=round(1e3 * (under + over + 1) * board_m, 1)
        )
    drawn: dict[int, Contour] = {}
    outlines = [drawn.setdefault(id(item), _contour(item)) for item in rooms[first:]]

    def opening(near: Sequence[int]) -> Contour:
        return _contour(airs[first + min(near)])

    return replace(_stacked(shape, board_m, outlines, opening), base_m=floor + first * board_m)


def _largest(found: BaseGeometry) -> Polygon:
    """The largest piece, without its holes and with its fine corners left out on the safe side."""
    pieces = [item for item in getattr(found, "geoms", [found]) if isinstance(item, Polygon) and not item.is_empty]
    if not pieces:
        return Polygon()
    whole = max(pieces, key=lambda item: item.area)
    return Polygon(whole.exterior)


def _contour(polygon: Polygon) -> Contour:
    """As an outline of lines, never outside of the polygon by more than 0.2 mm, which the gap was widened by."""
    fine = FINE_M
    simple = polygon.simplify(fine)
    while len(simple.exterior.coords) > MOST_CORNERS:
        fine *= 1.5
        simple = _largest(polygon.buffer(-fine).simplify(fine))
    return chain([complex(x, y) for x, y in simple.exterior.coords[:-1]]).counter_clockwise()


def chain(corners: Sequence[complex]) -> Contour:
    """Corners joined by lines."""
    return Contour(tuple(Segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)))
