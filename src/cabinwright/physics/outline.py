"""Closed outlines of lines and arcs: corners rounded so that the way never kinks, offsets that keep arcs, faults named.

A fillet of radius r touches both of its neighbours: its centre lies r off each of them, where their parallels meet, and so
the tangent is continuous (``G1``). An offset moves every segment sideways, joins what gapes with arcs about the corners,
and keeps the parts that are nowhere nearer to the outline than the offset. Plane geometry; nothing is made a polygon
except to ask whether a point lies inside.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, STRtree, box, contains_xy, prepare

from cabinwright.physics.arcs import NEAR_M, Points, Segment, crossings, line_or_arc
from cabinwright.physics.read_in import ReadIn

__all__ = ["Contour", "Corner", "Drawn", "OutlineFault", "circle", "from_corners", "least_inside_radius_m", "slot"]

TOLERANCE_M = 2e-6  #: of the polygon that says what is inside
KINK_RAD = math.radians(0.5)  #: less is no corner, to eye or finger


class OutlineFault(ValueError):
    """An outline that cannot be cut: ``kind`` is crosses, open, too tight or nothing left; ``at`` where, ``cure`` what to do."""

    def __init__(self, kind: str, at: complex, rule: str, cure: str) -> None:
        self.kind, self.at, self.rule, self.cure = kind, at, rule, cure
        super().__init__(f"{rule} at {1e3 * at.real:.1f}, {1e3 * at.imag:.1f} mm")


@dataclass(frozen=True, slots=True)
class Corner:
    """A point of an outline and how the way from the one before it comes here: straight, or by an arc."""

    at: complex
    via: complex | None = None  #: a point of the arc
    sagitta_m: float | None = None  #: the arc's height over its chord, to the right of the way
    fillet_m: float | None = None  #: rounding here; None: the outline's own


@dataclass(frozen=True)
class Contour:
    """A closed chain: every segment begins where the one before it ends."""

    segments: tuple[Segment, ...]

    @cached_property
    def area_m2(self) -> float:
        """Signed area, exact; positive counter-clockwise."""
        return sum(segment.area_m2 for segment in self.segments)

    @property
    def length_m(self) -> float:
        """Length all round."""
        return sum(segment.length_m for segment in self.segments)

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least and greatest x and y: (x, y, x, y)."""
        rows = np.array([segment.bounds() for segment in self.segments])
        low, high = rows[:, :2].min(axis=0), rows[:, 2:].max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    @cached_property
    def polygon(self) -> Polygon:
        """As a polygon within 2 µm, to ask what lies inside."""
        return self.as_polygon(TOLERANCE_M)

    def as_polygon(self, tolerance_m: float) -> Polygon:
        """As a polygon whose chords are nowhere farther off than ``tolerance_m``."""
        points = self.points(tolerance_m)
        return Polygon(np.column_stack((points.real, points.imag)))

    def points(self, tolerance_m: float) -> Points:
        """Its points (n,) as complex numbers, chords within ``tolerance_m``."""
        return np.concatenate([segment.flattened(tolerance_m) for segment in self.segments])

    def counter_clockwise(self) -> Contour:
        """The same outline, run counter-clockwise."""
        if self.area_m2 >= 0.0:
            return self
        return Contour(tuple(segment.reversed() for segment in reversed(self.segments)))

    def moved(self, *, turn: complex = 1.0, shift: complex = 0.0) -> Contour:
        """Turned and scaled, then shifted."""
        return Contour(tuple(segment.moved(turn=turn, shift=shift) for segment in self.segments))

    def distance_m(self, points: Points) -> NDArray[np.float64]:
        """Distance (n,) of ``points`` (n,) from the line itself."""
        far = np.full(points.shape, np.inf)
        for segment in self.segments:
            np.minimum(far, segment.distance_m(points), out=far)
        return far

    def holds(self, points: Points) -> NDArray[np.bool_]:
        """Which of ``points`` (n,) lie inside."""
        prepare(self.polygon)
        return np.asarray(contains_xy(self.polygon, points.real, points.imag))

    def kinks(self) -> list[tuple[complex, float]]:
        """Corners where the tangent jumps, with the turn [rad], positive to the left."""
        pairs = zip(self.segments, (*self.segments[1:], self.segments[0]), strict=True)
        turns = [(b.start, cmath.phase(b.tangent(False) / a.tangent(True))) for a, b in pairs]
        return [(at, turn) for at, turn in turns if abs(turn) > KINK_RAD]

    def check(self) -> None:
        """Raises ``OutlineFault`` where it is open, crosses itself or holds no area."""
        for a, b in pairwise((*self.segments, self.segments[0])):
            if abs(a.end - b.start) > NEAR_M:
                gap = 1e3 * abs(a.end - b.start)
                raise OutlineFault(
                    "open", a.end, f"the outline is open by {gap:.3f} mm", "Let its last point meet its first."
                )
        _broad(self.segments)
        _uncrossed(self.segments)
        if abs(self.area_m2) < NEAR_M:
            raise _no_area(self.segments)

    def offset(self, distance_m: float) -> tuple[Contour, ...]:
        """Outlines ``distance_m`` outside of this one (inside if negative), arcs kept; none where nothing is left."""
        if abs(distance_m) < NEAR_M:
            return (self,)
        whole = self.counter_clockwise()
        pieces = _split(_raw(whole, distance_m))
        if not pieces:
            return ()
        middle = np.array([piece.points(np.array([0.02, 0.25, 0.5, 0.75, 0.98])) for piece in pieces])
        nearest = whole.distance_m(middle.ravel()).reshape(middle.shape).min(axis=1)
        kept = [piece for piece, far in zip(pieces, nearest, strict=True) if far > abs(distance_m) - 3.0 * NEAR_M]
        return tuple(loop for loop in _loops(kept) if loop.area_m2 > (2.0 * NEAR_M) ** 2)


@dataclass(frozen=True)
class Drawn:
    """What a file holds: closed outlines, the largest first, and open lines; in metres where it says its unit."""

    closed: tuple[Contour, ...]
    lines: tuple[tuple[Segment, ...], ...] = ()
    read_in: ReadIn | None = None


def circle(centre: complex, diameter_m: float) -> Contour:
    """A round outline, counter-clockwise, as two half arcs."""
    east, west = centre + diameter_m / 2.0, centre - diameter_m / 2.0
    return Contour((Segment(east, west, 1.0), Segment(west, east, 1.0)))


def slot(curve: Sequence[Segment], width_m: float) -> Contour:
    """The strip ``width_m`` wide along an open, tangent-continuous ``curve``, with round ends.

    Raises ``OutlineFault`` where an arc is tighter than half the width, or the strip meets itself.
    """
    sides = []
    for way in (tuple(curve), tuple(segment.reversed() for segment in reversed(curve))):
        for segment in way:
            side = segment.beside(width_m / 2.0)
            if side is None:
                rule = f"an arc of {1e3 * segment.radius_m:.1f} mm radius is too tight for a strip {1e3 * width_m:.1f} mm wide"
                raise OutlineFault("too tight", segment.start, rule, "Widen the arc or narrow the strip.")
            sides.append(side)
        other = way[-1].end
        tip = other + 1j * way[-1].tangent(True) * width_m / 2.0
        sides.append(Segment(sides[-1].end, tip, 1.0))
    for a, b in pairwise(sides):
        if abs(a.end - b.start) > width_m * KINK_RAD:
            cure = "Round it: leave fillet_m out or make it at least half the width."
            raise OutlineFault("too tight", a.end, "a strip of even width cannot turn a hard corner", cure)
    made = _closed(sides)
    made.check()
    return made


def from_corners(
    corners: Sequence[Corner], *, fillet_m: float, closed: bool = True, hard: float = 0.0
) -> tuple[Segment, ...]:
    """Segments through ``corners`` with every kink rounded by its own or the common ``fillet_m``.

    A corner whose fillet is ``hard`` (0) stays as it is. Raises ``OutlineFault`` where a rounding does not fit.
    """
    points = list(corners)
    steps = list(zip(points, [*points[1:], points[0]] if closed else points[1:], strict=False))
    for before, here in steps:
        if abs(here.at - before.at) < NEAR_M:
            raise OutlineFault("too tight", here.at, "two points of the outline are one", "Take one of them out.")
        if here.via is not None and min(abs(here.via - before.at), abs(here.via - here.at)) < NEAR_M:
            cure = "Put via_m on the arc, between its ends, or leave it out for a line."
            raise OutlineFault("too tight", here.at, "an arc's via_m is one of its own ends", cure)
    chain = [line_or_arc(a.at, b.at, via=b.via, sagitta_m=b.sagitta_m) for a, b in steps]
    if closed:
        _broad(chain)
    _uncrossed(chain, closed=closed)
    rounded: dict[int, Segment] = {}
    for index, (_, here) in enumerate(steps):
        after = (index + 1) % len(chain)
        radius = fillet_m if here.fillet_m is None else here.fillet_m
        if (not closed and index == len(chain) - 1) or radius <= hard:
            continue
        turn = cmath.phase(chain[after].tangent(False) / chain[index].tangent(True))
        if abs(turn) > KINK_RAD:
            chain[index], rounded[index], chain[after] = _fillet(chain[index], chain[after], radius)
    whole = [
        piece for index, segment in enumerate(chain) for piece in (segment, rounded.get(index)) if piece is not None
    ]
    return tuple(segment for segment in whole if abs(segment.chord) > NEAR_M)


def least_inside_radius_m(contour: Contour, *, hollow: bool = False) -> tuple[float, complex]:
    """Tightest radius that a cutter outside the outline (inside, where it is ``hollow``) has to follow, and where.

    0 at a kink turned towards the cutter, infinite where nothing is.
    """
    run = contour.counter_clockwise()
    sign = 1.0 if hollow else -1.0
    found = [(0.0, at) for at, turn in run.kinks() if sign * turn > 0.0]
    found += [
        (segment.radius_m, segment.point(0.5))
        for segment in run.segments
        if not segment.is_line and sign * segment.bulge > 0.0
    ]
    return min(found, key=lambda item: item[0], default=(math.inf, run.segments[0].start))


def _fillet(a: Segment, b: Segment, radius_m: float) -> tuple[Segment, Segment, Segment]:
    made = _try_fillet(a, b, radius_m)
    if made is None:
        low, high = 0.0, radius_m
        for _ in range(40):
            middle = (low + high) / 2.0
            low, high = (middle, high) if _try_fillet(a, b, middle) else (low, middle)
        rule = f"a rounding of {1e3 * radius_m:.1f} mm does not fit between its neighbours"
        cure = f"Make fillet_m here {1e3 * low:.1f} mm or less, or move the points apart."
        raise OutlineFault("too tight", a.end, rule, cure)
    return made


def _try_fillet(a: Segment, b: Segment, radius_m: float) -> tuple[Segment, Segment, Segment] | None:
    turn = cmath.phase(b.tangent(False) / a.tangent(True))
    side = -math.copysign(radius_m, turn)  # the centre lies on the side the way turns to
    one, other = a.beside(side), b.beside(side)
    if one is None or other is None:
        return None
    for centre in sorted(crossings(one, other), key=lambda point: abs(point - a.end)):
        leave, join = (_foot(segment, centre, radius_m) for segment in (a, b))
        low, high = a.share_of(leave), b.share_of(join)
        slack = NEAR_M / min(a.length_m, b.length_m)
        if not (-slack <= low <= 1.0 and 0.0 <= high <= 1.0 + slack):  # a neighbour is too short
            continue
        low, high = max(low, 0.0), min(high, 1.0)
        sweep = cmath.phase(_heading(b, join) / _heading(a, leave))
        arc = Segment(leave, join, math.tan(sweep / 4.0))
        start = Segment(a.start, leave, math.tan(a.sweep_rad * low / 4.0))
        end = Segment(join, b.end, math.tan(b.sweep_rad * (1.0 - high) / 4.0))
        if abs(arc.chord) > NEAR_M and abs(arc.radius_m - radius_m) < 1e-3 * radius_m + NEAR_M:
            return start, arc, end
    return None


def _heading(segment: Segment, point: complex) -> complex:
    """Unit direction of travel at a point of the segment."""
    if segment.is_line:
        return segment.chord / abs(segment.chord)
    out = point - segment.centre
    return math.copysign(1.0, segment.bulge) * 1j * out / abs(out)


def _foot(segment: Segment, centre: complex, radius_m: float) -> complex:
    """Where a circle of ``radius_m`` about ``centre`` touches the segment's line or circle."""
    if segment.is_line:
        along = segment.chord / abs(segment.chord)
        return segment.start + along * ((centre - segment.start) * along.conjugate()).real
    out = centre - segment.centre
    return segment.centre + out / abs(out) * segment.radius_m


def _pairs(segments: Sequence[Segment]) -> Iterable[tuple[int, int]]:
    """Pairs of segments whose boxes meet, each once."""
    boxes = [
        box(x0 - NEAR_M, y0 - NEAR_M, x1 + NEAR_M, y1 + NEAR_M) for x0, y0, x1, y1 in (s.bounds() for s in segments)
    ]
    if not boxes:
        return []
    first, second = STRtree(boxes).query(boxes)
    return [(int(i), int(j)) for i, j in zip(first, second, strict=True) if i < j]


def _no_area(segments: Sequence[Segment]) -> OutlineFault:
    cure = "Give it three points or more that do not lie on one line."
    return OutlineFault("nothing left", segments[0].start, "the outline holds no area", cure)


def _broad(segments: Sequence[Segment]) -> None:
    """Raises ``OutlineFault`` where all of an outline lies on one line, which is no crossing."""
    first = segments[0]
    way = first.chord / abs(first.chord)
    if all(item.is_line and abs((way.conjugate() * (item.end - first.start)).imag) < NEAR_M for item in segments):
        raise _no_area(segments)


def _uncrossed(segments: Sequence[Segment], *, closed: bool = True) -> None:
    """Raises ``OutlineFault`` where two segments have a point in common that is no joint of theirs.

    Two with no more than a few ``NEAR_M`` of way between them are neighbours as well: what offsets and rounding leave
    there is shorter than what counts as one point, and no crossing.
    """
    one_point = 5.0 * NEAR_M
    ends = np.cumsum([segment.length_m for segment in segments])
    for i, j in _pairs(segments):
        joints: set[complex] = set()
        if ends[j] - segments[j].length_m - ends[i] <= one_point:
            joints |= {segments[i].end, segments[j].start}
        if closed and ends[-1] - ends[j] + ends[i] - segments[i].length_m <= one_point:
            joints |= {segments[j].end, segments[i].start}
        for at in crossings(segments[i], segments[j]):
            if all(abs(at - joint) > one_point for joint in joints):
                cure = "Put its points in the order in which a hand would go round it, or flatten the arc that crosses."
                raise OutlineFault("crosses", at, "the outline crosses itself", cure)


def _raw(contour: Contour, distance_m: float) -> list[Segment]:
    """Every segment moved sideways and joined to the next, before the loops are taken out."""
    moved: list[Segment] = []
    count = len(contour.segments)
    for index, segment in enumerate(contour.segments):
        after = contour.segments[(index + 1) % count]
        side = segment.beside(distance_m)
        if side is not None:
            moved.append(side)
        here = segment.end
        leave, join = (here - 1j * way * distance_m for way in (segment.tangent(True), after.tangent(False)))
        if abs(leave - join) <= NEAR_M:
            continue
        turn = cmath.phase(after.tangent(False) / segment.tangent(True))
        gapes = turn * distance_m > 0.0
        moved.append(Segment(leave, join, math.tan(turn / 4.0) if gapes else 0.0))
    return [segment for segment in moved if abs(segment.chord) > NEAR_M]


def _split(segments: Sequence[Segment]) -> list[Segment]:
    """The same, cut wherever two of them meet."""
    cuts: list[list[float]] = [[0.0, 1.0] for _ in segments]
    for i, j in _pairs(segments):
        for at in crossings(segments[i], segments[j]):
            for index in (i, j):
                cuts[index].append(min(1.0, max(0.0, segments[index].share_of(at))))
    pieces = []
    for segment, shares in zip(segments, cuts, strict=True):
        for low, high in pairwise(sorted(shares)):
            if (high - low) * segment.length_m > 2.0 * NEAR_M:
                pieces.append(segment.part(low, high))
    return pieces


def _loops(pieces: Sequence[Segment]) -> list[Contour]:
    """Pieces joined end to start into closed chains; what does not close is dropped."""
    left, loops = list(pieces), []
    while left:
        chain = [left.pop(0)]
        while left and abs(chain[-1].end - chain[0].start) > 10.0 * NEAR_M:
            gaps = [abs(piece.start - chain[-1].end) for piece in left]
            best = int(np.argmin(gaps))
            if gaps[best] > 10.0 * NEAR_M:
                break
            chain.append(left.pop(best))
        if abs(chain[-1].end - chain[0].start) <= 10.0 * NEAR_M:
            loops.append(_closed(chain))
    return loops


def _closed(chain: Sequence[Segment]) -> Contour:
    """Joints made one point, so that what is read back is closed."""
    starts = [segment.start for segment in chain]
    ends = [*starts[1:], starts[0]]
    joined = [Segment(a, b, s.bulge) for a, b, s in zip(starts, ends, chain, strict=True)]
    return Contour(tuple(segment for segment in joined if abs(segment.chord) > 0.0))
