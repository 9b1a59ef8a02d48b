"""A way for a box from outside, through the opening over its hollow, to its place: tilted as it goes, straightened after.

The motion is plane: along one direction in plan, up and down, and a tilt about the axis across it; turning in plan while it is
tilted is not tried, nor sliding along that axis. Sought in cuts of box and hollow side by side (``physics.motion``), each
cut a union of rectangles. What is found there is then gone through with the solids themselves (manifold3d): from each place
only as far as no point of the box moves farther than the least distance to any wall that was measured there, so that nothing is
met in between either. Arcs are chords within 0.1 mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, cos, hypot, pi, radians, sin
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPoint, Polygon, affinity
from shapely.geometry.base import BaseGeometry

from cabinwright.build.shapes import BoxShape
from cabinwright.physics.motion import Pose, Space, shorter, way_out
from cabinwright.physics.outline import Contour
from cabinwright.physics.solid import Mesh, as_solid, section
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Hollow", "Way", "hollow_of", "layers_of", "way_in"]

Real = NDArray[np.float64]
Layer = tuple[BaseGeometry, float, float]  #: outline, and from and up to which height
CHORD_M = 1e-4
FLUSH_M = 1e-3  #: a box drawn nearer to its hollow than this is let so far into it: something gives, or it is sanded
CLEAR_M = 2e-4  #: least distance from every wall, on all of the way
PLANNED_M = 3e-4  #: what the search keeps, over its own cuts
NEAR_M = 0.015  #: distances are measured up to here
CUTS = 9
SIMPLE = 3  #: a box of more layers is taken for its hull, where that stands clear of the walls
LAYERS = 6  #: of a scanned hollow above the box; beside it, one for each of its own
STEP_DEG, SLICES = 1.5, 130
PAIRS = 700  #: of rectangles: more, and fewer cuts are looked at
MOST_SUMS = 30_000  #: of pairs over all slices and directions: more, and the search ends sooner
MEASURED = 200_000  #: places times triangles that are gone through with the solids
DIRECTIONS_DEG = (0.0, 90.0, 45.0, 135.0)


@dataclass(frozen=True)
class Hollow:
    """What a box is let into, heights from its own underside when it stands in its place."""

    layers: tuple[Layer, ...]
    opening: Polygon  #: in plan
    gap_m: float  #: wanted at the opening
    rim_m: float
    headroom_m: float | None
    scan: Mesh | None = None

    @property
    def top_m(self) -> float:
        """Where the rim begins."""
        return self.layers[-1][2]


@dataclass(frozen=True)
class Way:
    """What was tried, and the way if one was found: from outside to its place."""

    poses: tuple[
        Pose, ...
    ]  #: of the middle of the box: along, up from where it stands, and its tilt; empty: none was found
    direction_deg: float  #: in plan, along which it moves
    clearance_m: float | None  #: least distance from every wall while it is in the opening, up to 15 mm; None: no way
    checked: int  #: places gone through with the solids
    tried_deg: tuple[float, ...]  #: directions
    whole: bool = True  #: False: the search was ended before it had been everywhere
    middle_m: tuple[float, float, float] = (0.0, 0.0, 0.0)  #: of the box where it stands: along, across, up
    body: BaseGeometry | None = None  #: side view of the box about its middle, for pictures
    walls: BaseGeometry | None = None  #: side view of what is solid, in the cut through the box's middle

    @property
    def found(self) -> bool:
        """Whether there is one."""
        return bool(self.poses)

    @property
    def tilt_deg(self) -> float:
        """The most it is tilted on the way."""
        return max((abs(pose[2]) for pose in self.poses), default=0.0) * 180.0 / pi


def hollow_of(
    shape: BoxShape, body: Body, hollow: Contour | None, scan: Mesh | None, opening: Contour
) -> Hollow | None:
    """The hollow under a placed opening; None where the build does not say where the opening lies. Raises ``ValueError``."""
    gate = shape.opening
    if gate is None or gate.at_m is None:
        return None
    give = max(0.0, FLUSH_M - shape.offset_m)
    base, high = body.base_m, body.height_m
    layers: list[Layer] = []
    if scan is not None:
        scan = scan.moved((0.0, 0.0, -base))
        low, top = float(scan.bounds[0][2]), float(scan.bounds[1][2])
        beside = [run.high_m for run in body.runs if low < run.high_m < top]
        heights = np.unique([low, 0.0, *beside, *np.linspace(max(beside, default=low), top, LAYERS + 1)])
        for a, b in pairwise(heights):
            cut = section(scan, float(min(max(a, low + 1e-6), top - 1e-6)))  # walls run straight from one to the next
            layers.append((cut.simplify(CHORD_M).buffer(give), float(a), float(b)))
    else:
        assert hollow is not None
        drawn = hollow.as_polygon(CHORD_M)
        floor = 0.0
        for level in shape.levels:
            layers.append((drawn.buffer(give - level.inset_m), floor, floor + level.height_m))
            floor += level.height_m
        if not shape.levels:
            layers.append((drawn.buffer(give), 0.0, shape.height_m or high))
    first = layers[0]
    layers[0] = (first[0], first[1] - FLUSH_M, first[2])  # it stands on the floor
    last = layers[-1]
    layers[-1] = (last[0], last[1], max(last[2], high + FLUSH_M))
    placed = affinity.translate(opening.as_polygon(CHORD_M), *gate.at_m)
    return Hollow(tuple(layers), placed, gate.gap_m, max(gate.rim_m, FLUSH_M), gate.headroom_m, scan)


def layers_of(body: Body) -> tuple[Layer, ...]:
    """The box's outlines with their heights, alike ones that lie on one another as one."""
    rows: list[tuple[Contour, float, float]] = []
    for run in body.runs:
        if rows and rows[-1][0].segments == run.outline.segments:
            rows[-1] = (rows[-1][0], rows[-1][1], run.high_m)
        else:
            rows.append((run.outline, run.low_m, run.high_m))
    return tuple((outline.as_polygon(CHORD_M), low, high) for outline, low, high in rows)


def way_in(body: Sequence[Layer], hollow: Hollow, *, directions_deg: Sequence[float] | None = None) -> Way:
    """The way that was found first, the directions in order; ``body`` are the box's outlines with their heights."""
    plan = shapely.union_all([layer[0] for layer in body])
    tried: list[float] = []
    checked, left, whole = 0, MOST_SUMS, True
    for direction in directions_deg or _directions(plan, hollow):
        if left <= 0:
            whole = False
            break
        tried.append(direction)
        sides = _Sides(body, hollow, direction)
        space, goal, above = sides.space(left)
        poses = way_out(space, goal, above_m=above)
        left -= len(space.slices) * space.body[..., 0].size * 2 // 8
        if poses is None:
            whole = whole and not space.spent
            continue
        solids = _Solids(body, hollow, sides)
        for way in (shorter(space, poses), poses):
            clearance, count = solids.gone_through(way)
            checked += count
            if clearance is None:
                whole = False
            else:
                inward = tuple(reversed([(x - goal[0], z - goal[1], turn) for x, z, turn in way]))
                views = sides.views()
                return Way(inward, direction, clearance, checked, tuple(tried), True, sides.middle, *views)
    return Way((), tried[0], None, checked, tuple(tried), whole)


def _directions(plan: BaseGeometry, hollow: Hollow) -> list[float]:
    """From the box to the opening first, where they do not lie over one another, then all round."""
    box, gate = plan.centroid, hollow.opening.centroid
    rows = list(DIRECTIONS_DEG)
    if hypot(gate.x - box.x, gate.y - box.y) > 0.01:
        rows.insert(0, round(atan2(gate.y - box.y, gate.x - box.x) * 180.0 / pi, 1) % 180.0)
    return list(dict.fromkeys(rows))


class _Sides:
    """Box and hollow in cuts along one direction: u along, v across, z up."""

    def __init__(self, body: Sequence[Layer], hollow: Hollow, direction_deg: float) -> None:
        self.turn = direction_deg
        self.hollow = hollow
        self.body = [(self._turned(plan), low, high) for plan, low, high in body]
        self.layers = [(self._turned(plan), low, high) for plan, low, high in hollow.layers]
        self.opening = self._turned(hollow.opening)
        self.narrowed = self.opening.buffer(min(0.0, PLANNED_M - hollow.gap_m))
        u0, v0, u1, v1 = shapely.union_all([layer[0] for layer in self.body]).bounds
        self.low, self.high = self.body[0][1], self.body[-1][2]
        self.across = (v0, v1)
        self.middle = ((u0 + u1) / 2.0, (v0 + v1) / 2.0, (self.low + self.high) / 2.0)
        self.half = ((u1 - u0) / 2.0, (self.high - self.low) / 2.0)
        self.radius = hypot(*self.half)
        bounds = shapely.union_all([self.opening, *(layer[0] for layer in self.layers)]).bounds
        self.ends = (min(u0, bounds[0]) - 2.5 * self.radius, max(u1, bounds[2]) + 2.5 * self.radius)
        self.rim_top = hollow.top_m + hollow.rim_m

    def reach_up_m(self, turn_rad: float) -> float:
        """From the middle to the highest point, once tilted."""
        return float(self.half[0] * abs(sin(turn_rad)) + self.half[1] * cos(turn_rad))

    def _turned(self, plan: BaseGeometry) -> BaseGeometry:
        return affinity.rotate(plan, -self.turn, origin=(0.0, 0.0))

    def space(self, most_sums: int) -> tuple[Space, tuple[float, float], float]:
        """Poses to search, where the middle is when it stands, and the height above which it is out."""
        v0, v1 = self.across
        cuts = CUTS
        while True:
            at = v0 + (v1 - v0) * 0.5 * (1.0 - np.cos(pi * (np.arange(cuts) + 0.5) / cuts))
            pairs = [pair for v in at for pair in self._pairs(float(v))]
            width = max(len(body) for body, _ in pairs)  # corners: the last one again where there are fewer
            body = np.array([np.pad(item, ((0, width - len(item)), (0, 0)), mode="edge") for item, _ in pairs])
            both = np.concatenate([body, np.array([wall for _, wall in pairs])], axis=1).reshape(len(pairs), -1)
            rows = np.unique(np.round(both, 7), axis=0).reshape(-1, width + 4, 2)
            if len(rows) <= PAIRS or cuts <= 3:
                break
            cuts -= 2
        slices = max(1, min(SLICES, most_sums // (len(rows) * (width + 4) // 8)))
        u, _, z = self.middle
        roof = self.rim_top + 2.0 * self.radius + self.high - self.low + 0.02
        window = shapely.box(self.ends[0] + self.radius, self.low - FLUSH_M, self.ends[1] - self.radius, roof)
        space = Space(rows[:, :width] - (u, z), rows[:, width:], window, step_deg=STEP_DEG, most_slices=slices)
        return space, (u, z), self.rim_top + CLEAR_M

    def _pairs(self, v: float) -> list[tuple[Real, Real]]:
        """Each convex piece of the box in a cut with each of what is solid there, as corners (n, 2)."""
        walls = list(self._walls(v, self.narrowed, self.hollow.gap_m, PLANNED_M))
        body = [_rectangle(a, b, low, high) for plan, low, high in self.body for a, b in _spans(plan, v)]
        if len(body) > SIMPLE:
            hull = MultiPoint(np.concatenate(body)).convex_hull
            if all(hull.intersection(Polygon(wall)).area < 1e-9 for wall in walls):
                body = [np.asarray(shapely.geometry.polygon.orient(hull).exterior.coords)[:-1]]
        return [(item, wall) for item in body for wall in walls]

    def _walls(self, v: float, opening: BaseGeometry, gap: float, clear: float) -> Iterable[Real]:
        """What is solid in one cut, as quadrangles (4, 2) of u and z, grown by what the box keeps from them."""
        far, hollow = self.ends, self.hollow
        floor = self.layers[0][1]
        yield _rectangle(*far, floor - 4.0 * self.radius, floor + clear)
        for (plan, low, high), upper in zip(self.layers, [*self.layers[1:], None], strict=True):
            below = list(_gaps(_spans(plan, v), *far))
            above = list(_gaps(_spans(upper[0], v), *far)) if hollow.scan is not None and upper is not None else below
            if len(above) != len(below):
                above = below
            for (a, b), (c, d) in zip(below, above, strict=True):
                up, down = high + clear, low - (clear if low > floor else 0.0)
                left, right = (a - clear, b + clear), (c - clear, d + clear)
                yield np.array([(left[0], down), (left[1], down), (right[1], up), (right[0], up)])
        for a, b in _gaps(_spans(opening, v), *far):
            yield _rectangle(a, b, hollow.top_m - clear, self.rim_top + max(gap, clear))
        if hollow.headroom_m is not None:
            ceiling = self.rim_top + hollow.headroom_m
            yield _rectangle(*far, ceiling - clear, ceiling + 8.0 * self.radius)

    def views(self) -> tuple[BaseGeometry, BaseGeometry]:
        """Side views: the box about its middle, and what is solid in the cut through it."""
        u, v, z = self.middle
        body = [shapely.box(plan.bounds[0] - u, low - z, plan.bounds[2] - u, high - z) for plan, low, high in self.body]
        rects = [Polygon(corners) for corners in self._walls(v, self.opening, 0.0, 0.0)]
        return shapely.union_all(body), shapely.union_all(rects)


def _rectangle(a: float, b: float, low: float, high: float) -> Real:
    return np.array([(a, low), (b, low), (b, high), (a, high)])


def _spans(plan: BaseGeometry, v: float) -> list[tuple[float, float]]:
    """Where a line across meets an outline."""
    x0, _, x1, _ = plan.bounds if not plan.is_empty else (0.0, 0.0, 0.0, 0.0)
    met = plan.intersection(LineString([(x0 - 1.0, v), (x1 + 1.0, v)]))
    parts = [part.bounds for part in getattr(met, "geoms", [met]) if part.length > 1e-6]
    return sorted((float(part[0]), float(part[2])) for part in parts)


def _gaps(spans: Sequence[tuple[float, float]], low: float, high: float) -> Iterable[tuple[float, float]]:
    """What lies between them, from ``low`` to ``high``."""
    here = low
    for a, b in spans:
        yield here, a
        here = b
    yield here, high


class _Solids:
    """The same as closed solids, and the distance between them."""

    def __init__(self, body: Sequence[Layer], hollow: Hollow, sides: _Sides) -> None:
        from manifold3d import Manifold

        self.sides = sides
        self.box = _stack(body)
        low, top = hollow.layers[0][1], sides.rim_top
        reach = 4.0 * sides.radius
        x0, y0, x1, y1 = shapely.union_all([hollow.opening, *(layer[0] for layer in [*hollow.layers, *body])]).bounds
        wide = (x1 - x0 + 2.0 * reach, y1 - y0 + 2.0 * reach)
        block = Manifold.cube((*wide, top - low + 0.1)).translate((x0 - reach, y0 - reach, low - 0.1))
        if hollow.scan is None:
            block -= _stack(hollow.layers)
        else:
            block -= as_solid(hollow.scan)
        block -= _stack([(hollow.opening, hollow.top_m - FLUSH_M, top + 0.1)])
        if hollow.headroom_m is not None:
            lid = Manifold.cube((*wide, 0.1)).translate((x0 - reach, y0 - reach, top + hollow.headroom_m))
            block += lid
        self.block = block
        self.most = max(200, MEASURED // (self.box.num_tri() + block.num_tri()))

    def gone_through(self, poses: Sequence[Pose]) -> tuple[float | None, int]:
        """Least distance from every wall, and how many places that took; None where it meets one, or it took too many."""
        least, count = NEAR_M, 0
        for a, b in pairwise(poses):
            length = hypot(b[0] - a[0], b[1] - a[1]) + abs(b[2] - a[2]) * self.sides.radius
            part = 0.0
            while True:
                pose = tuple(p + part * (q - p) for p, q in zip(a, b, strict=True))
                gap = self._gap(pose)
                count += 1
                if pose[1] + self.sides.reach_up_m(pose[2]) > self.sides.hollow.top_m:
                    least = min(least, gap)
                if gap < CLEAR_M or count > self.most:
                    return None, count
                if part >= 1.0:
                    break
                part = min(1.0, part + 0.9 * gap / length) if length > 0.0 else 1.0
        return least, count

    def _gap(self, pose: Sequence[float]) -> float:
        u, _, z = self.sides.middle
        move = _moved(radians(self.sides.turn), (u, z), pose)
        return float(self.box.transform(move).min_gap(self.block, NEAR_M))


def _moved(direction: float, middle: tuple[float, float], pose: Sequence[float]) -> Real:
    """The 3 × 4 matrix that takes the box from where it stands to a pose."""
    along, up = np.array([cos(direction), sin(direction), 0.0]), np.array([0.0, 0.0, 1.0])
    across = np.array([-sin(direction), cos(direction), 0.0])
    c, s = cos(pose[2]), sin(pose[2])
    frame = np.column_stack((along, across, up))
    turned = np.column_stack((c * along + s * up, across, c * up - s * along)) @ frame.T
    centre = along * middle[0] + up * middle[1]
    return np.column_stack((turned, along * pose[0] + up * pose[1] - turned @ centre))


def _stack(layers: Sequence[Layer]) -> Any:
    """Outlines over their heights as one solid."""
    from manifold3d import CrossSection, FillRule, Manifold, OpType

    parts = []
    for plan, low, high in layers:
        loops = []
        for piece in getattr(plan, "geoms", [plan]):
            ring = shapely.geometry.polygon.orient(piece)
            loops += [1e3 * np.asarray(line.coords)[:-1] for line in (ring.exterior, *ring.interiors)]
        solid = CrossSection(loops, FillRule.Positive).extrude(1.0)
        parts.append(solid.scale((1e-3, 1e-3, high - low)).translate((0.0, 0.0, low)))
    return Manifold.batch_boolean(parts, OpType.Add)
