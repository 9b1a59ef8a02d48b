"""Whether a box goes through its opening, the largest that does, and what is near what.

The search: the box goes straight through, in one attitude that it keeps, tilted about one axis in its plan and turned as
the opening wants. Its shadow along the way is its outline, narrowed by the cosine of the tilt and drawn out by its sine; that
has to lie in the opening with room to spare. Axes in steps of 15°, tilts and turns of 5°, then finer about the best; where it
lies is a linear programme. Shadow and opening are compared in directions all round and square to every edge of the opening's
hull, so that what lies within in all of them lies within. Only the convex hull of a shadow is looked at. Tilting on the way, and
the hollow behind the opening, are ``fit_way``'s.

That nothing was found is no proof. ``hopeless`` names what no body can get round, however it is turned on its way through a
plane opening: the sections it must pass while its middle is in that plane.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import cos, hypot, pi, radians, sin

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import HalfspaceIntersection
from shapely import MultiPoint, Polygon, affinity, box, intersection_all, maximum_inscribed_circle
from shapely.geometry.base import BaseGeometry

from cabinwright.build.shapes import Housed
from cabinwright.physics.outline import Contour
from cabinwright.stages.enclosure.shape import Body

__all__ = ["Passage", "hopeless", "housed_gaps", "largest", "passage"]

Real = NDArray[np.float64]
DIRECTIONS = 360  #: in which all attitudes are compared at once
AXES_DEG = tuple(range(0, 180, 15))
TILTS_DEG = tuple(range(0, 91, 5))
TURNS_DEG = tuple(range(0, 360, 5))
PLACED = 24  #: attitudes whose place is worked out
TRIED, QUICKLY = 300, 60  #: the same where an opening has re-entrant parts; in the search for the largest box
EQUAL_M = 1e-5
FINER = 3  #: times the steps are made smaller
HALVINGS = 11  #: of the search for the largest box
CERTAIN_M = 4e-4  #: what chords and inscribed circles may be off
CHORD_M = 2e-4
ANGLES = 2.0 * pi * np.arange(DIRECTIONS) / DIRECTIONS
UNITS = np.column_stack((np.cos(ANGLES), np.sin(ANGLES)))


@dataclass(frozen=True)
class Passage:
    """The best attitude: room to spare all round (negative: missing), and how it is held."""

    margin_m: float
    tilt_deg: float
    axis_deg: float  #: of the axis it is tilted about, in the box's plan
    turn_deg: float  #: in the plane of the opening
    shift_m: tuple[float, float]  #: of the box's plan origin, in the opening's plane

    @property
    def fits(self) -> bool:
        """Whether it goes through."""
        return self.margin_m >= 0.0


@dataclass(frozen=True, eq=False)
class _Gate:
    """The opening: what its hull reaches in each direction, the gap taken off, and its re-entrant parts."""

    units: Real  #: (n, 2): all round first, then square to each edge of the hull
    reach_m: Real  #: (n,)
    pockets: tuple[Real, ...]
    gap_m: float

    @classmethod
    def of(cls, opening: Contour, gap_m: float) -> _Gate:
        gate = opening.as_polygon(CHORD_M)
        hull = np.asarray(gate.convex_hull.exterior.coords)
        edges = np.diff(hull, axis=0)
        square = np.column_stack((edges[:, 1], -edges[:, 0])) / np.linalg.norm(edges, axis=1)[:, None]
        units = np.concatenate([UNITS, square, -square])
        pockets = tuple(_hull_points(item) for item in _pieces(gate.convex_hull.difference(gate)))
        return cls(units, _support(hull, units) - gap_m, pockets, gap_m)


def passage(
    plan: Contour,
    height_m: float,
    opening: Contour,
    *,
    gap_m: float = 0.0,
    finer: int = FINER,
    tried: int = TRIED,
    hint: Passage | None = None,
) -> Passage:
    """Level where that goes, else the attitude with most room. ``gap_m`` is taken off the opening all round first.

    ``finer`` is how often steps are made smaller, ``tried`` how many attitudes are placed where the opening has re-entrant parts.
    Where a larger box went through as ``hint`` says, this one does.
    """
    body = _hull_points(plan.as_polygon(CHORD_M))
    return _passage(body, height_m, _Gate.of(opening, gap_m), finer=finer, tried=tried, hint=hint)


def _passage(body: Real, height_m: float, gate: _Gate, *, finer: int, tried: int, hint: Passage | None) -> Passage:
    level = _best(body, height_m, gate, [(0.0, 0.0)], TURNS_DEG, None, tried)
    if level.fits:
        return level
    if hint is not None:
        level = _best(body, height_m, gate, [(hint.axis_deg, hint.tilt_deg)], (hint.turn_deg,), level, tried)
        if level.fits:
            return level
    best = _best(body, height_m, gate, list(product(AXES_DEG, TILTS_DEG)), TURNS_DEG, level, tried)
    step = (7.5, 2.5, 2.5)
    for _ in range(finer):
        near = [
            (best.axis_deg + a * step[0], min(90.0, max(0.0, best.tilt_deg + t * step[1])))
            for a, t in product((-1, 0, 1), repeat=2)
        ]
        turns = tuple(best.turn_deg + k * step[2] for k in (-1, 0, 1))
        best = _best(body, height_m, gate, near, turns, best, tried)
        step = (step[0] / 3.0, step[1] / 3.0, step[2] / 3.0)
    return replace(best, axis_deg=best.axis_deg % 180.0, turn_deg=best.turn_deg % 360.0)


def shadow(body: Real, height_m: float, *, axis_deg: float, tilt_deg: float) -> Real:
    """Corners (2n, 2) of the box's shadow once it is tilted about an axis in its plan; its hull is what counts."""
    along = np.array([cos(radians(axis_deg)), sin(radians(axis_deg))])
    across = np.array([-along[1], along[0]])
    flat = np.outer(body @ along, along) + np.outer(body @ across, across) * cos(radians(tilt_deg))
    reach = across * height_m * sin(radians(tilt_deg))
    return np.concatenate([flat, flat + reach])


def _support(points: Real, units: Real = UNITS) -> Real:
    """How far the points reach in each direction (n,)."""
    return np.asarray((points @ units.T).max(axis=0))


def _best(
    body: Real,
    height_m: float,
    gate: _Gate,
    attitudes: Sequence[tuple[float, float]],
    turns: Sequence[float],
    known: Passage | None,
    tried: int,
) -> Passage:
    """The attitude with most room: bounds for all of them at once, then where the likeliest lie."""
    rows: list[tuple[float, float, float, float]] = []
    whole_deg = all(float(turn).is_integer() for turn in turns)
    rolled = (np.arange(DIRECTIONS) - np.asarray(turns)[:, None]).astype(int) % DIRECTIONS
    for axis, tilt in attitudes:
        points = shadow(body, height_m, axis_deg=axis, tilt_deg=tilt)
        turned = _support(points)[rolled] if whole_deg else np.array([_support(_turn(points, turn)) for turn in turns])
        left = gate.reach_m[:DIRECTIONS] - turned
        bounds = 0.5 * (left[:, : DIRECTIONS // 2] + left[:, DIRECTIONS // 2 :]).min(axis=1)
        rows += [(bound, axis, tilt, turn) for bound, turn in zip(bounds.tolist(), turns, strict=True)]
    rows.sort(key=lambda row: (-round(row[0], 5), row[2], row[3]))  # of equals the least tilted
    best = known
    for bound, axis, tilt, turn in rows[: tried if gate.pockets else PLACED]:
        if best is not None and bound <= best.margin_m + EQUAL_M:
            break
        points = _turn(shadow(body, height_m, axis_deg=axis, tilt_deg=tilt), turn)
        margin, shift = _placed(points, gate)
        if best is None or margin > best.margin_m + EQUAL_M:
            best = Passage(margin, tilt, axis, turn, shift)
    assert best is not None
    return best


def _turn(points: Real, turn_deg: float) -> Real:
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _placed(points: Real, gate: _Gate) -> tuple[float, tuple[float, float]]:
    """Most room, and where: x·u + margin ≤ what the opening reaches less what the shadow does, in every direction u.

    Where the opening has re-entrant parts, the shadow must not touch their hulls either.
    """
    from scipy.optimize import linprog  # slow to import

    room = gate.reach_m - _support(points, gate.units)
    found = linprog(
        [0.0, 0.0, -1.0],
        A_ub=np.column_stack((gate.units, np.ones(len(room)))),
        b_ub=room,
        bounds=[(None, None)] * 3,
    ).x
    assert found is not None  # always feasible and bounded: the directions go all round
    margin, shift = float(found[2]), (float(found[0]), float(found[1]))
    if gate.pockets and 0.0 <= margin < EQUAL_M:
        return -EQUAL_M, shift  # no room in which the re-entrant parts could be looked at: refused
    if not gate.pockets or margin < 0.0:
        return margin, shift
    free = _half_planes(gate.units, room, shift)
    hull = MultiPoint(points).convex_hull
    for pocket in gate.pockets:
        sums = (pocket[:, None, :] - np.asarray(hull.exterior.coords)[None, :-1, :]).reshape(-1, 2)
        free = free.difference(MultiPoint(sums).convex_hull.buffer(gate.gap_m))
    if free.is_empty:
        moved = affinity.translate(hull, *shift)
        reach = max(MultiPoint(pocket).convex_hull.intersection(moved).area for pocket in gate.pockets)
        return -max(1e-6, reach**0.5), shift
    place = free.representative_point()
    return 0.0, (place.x, place.y)


def _half_planes(units: Real, room: Real, within: tuple[float, float]) -> BaseGeometry:
    """Places where the shadow lies in the opening's hull; ``within`` is one of them."""
    planes = np.column_stack((units, -room))
    return MultiPoint(HalfspaceIntersection(planes, np.asarray(within)).intersections).convex_hull


def _pieces(found: object) -> list[Polygon]:
    pieces = getattr(found, "geoms", [found])
    return [item for item in pieces if isinstance(item, Polygon) and item.area > 1e-6]


def _hull_points(item: Polygon) -> Real:
    return np.asarray(item.convex_hull.exterior.coords)[:-1]


def hopeless(plans: Sequence[Polygon], height_m: float, opening: Contour) -> tuple[str, float, float] | None:
    """What of the box is larger than the opening however it is turned: which figure, the box's, the opening's; None: nothing.

    ``plans`` are the outlines over its height. The largest disc that lies in all of them, as high as the box, is part of it.
    Once its middle is in the opening's plane, that plane cuts it along a diameter and at least as far square to that as it is
    high or wide: the opening is as wide as that, as large as the rhombus between, and holds the largest ball of the disc.
    """
    core = intersection_all(list(plans))
    gate = opening.as_polygon(CHORD_M)
    disc = 0.0 if core.is_empty else float(maximum_inscribed_circle(core, tolerance=1e-4).length)
    ball = min(disc, height_m / 2.0)
    hull = np.asarray(gate.convex_hull.exterior.coords)[:-1]
    across = float(np.linalg.norm(hull[:, None] - hull[None], axis=-1).max())
    inside = float(maximum_inscribed_circle(gate, tolerance=1e-4).length)
    if ball > inside + CERTAIN_M:
        return "ball", 2.0 * ball, 2.0 * inside
    if 2.0 * disc > across + CERTAIN_M:
        return "width", 2.0 * disc, across
    least, area = disc * min(height_m, 2.0 * disc), float(gate.area)
    if least > area + CERTAIN_M * gate.length:
        return "area", least, area
    return None


def largest(plan: Contour, height_m: float, opening: Contour, *, gap_m: float) -> dict[str, float]:
    """How much smaller all round, or how much lower, the box would pass: {inset_m, height_m}, NaN where neither helps.

    What lies in a box that passes, passes as well: so the least inset and the greatest height are found by halving, down to
    1/2000 of the box, and an attitude that let a larger one through is tried for each smaller one.
    """

    gate, whole = _Gate.of(opening, gap_m), plan.as_polygon(CHORD_M)

    def passes(inset: float, height: float, hint: Passage | None) -> Passage | None:
        pieces = _pieces(whole.buffer(-inset))
        if not pieces:
            return None
        body = _hull_points(max(pieces, key=lambda item: item.area))
        found = _passage(body, height, gate, finer=FINER, tried=QUICKLY, hint=hint)
        return found if found.fits else None

    narrow = float(maximum_inscribed_circle(whole, tolerance=1e-4).length)
    inset = _least(lambda value, hint: passes(value, height_m, hint), 0.98 * narrow)
    lower = _least(lambda value, hint: passes(0.0, height_m - value, hint), 0.95 * height_m)
    return {
        "inset_m": float("nan") if inset is None else inset,
        "height_m": float("nan") if lower is None else height_m - lower,
    }


def _least(found: Callable[[float, Passage | None], Passage | None], most: float) -> float | None:
    """Least value for which there is a passage, by halving; None where there is none for the most."""
    low, high, way = 0.0, most, found(most, None)
    if way is None:
        return None
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        closer = found(middle, way)
        if closer is None:
            low = middle
        else:
            high, way = middle, closer
    return high


def housed_gaps(items: Sequence[Housed], body: Body) -> list[tuple[Housed, float, str]]:
    """For each amplifier its least distance from the box and from the others, and from what; negative: they meet."""
    plans = [_plan_of(item) for item in items]
    rows = []
    for n, item in enumerate(items):
        near = [
            (
                _apart(plans[n], run.outline.polygon, item.low_m, item.size_m[2], run.low_m, run.high_m - run.low_m),
                "the box",
            )
            for run in body.runs
        ]
        near += [
            (_apart(plans[n], plans[m], item.low_m, item.size_m[2], other.low_m, other.size_m[2]), f"“{other.name}”")
            for m, other in enumerate(items)
            if m != n
        ]
        gap, what = min(near)
        rows.append((item, gap, what))
    return rows


def _plan_of(item: Housed) -> Polygon:
    (x, y), (length, width, _) = item.at_m, item.size_m
    return box(x - length / 2.0, y - width / 2.0, x + length / 2.0, y + width / 2.0)


def _apart(a: Polygon, b: Polygon, low_a: float, high_a: float, low_b: float, high_b: float) -> float:
    beside = float(a.distance(b))
    over = max(low_b - (low_a + high_a), low_a - (low_b + high_b))
    if beside > 0.0:
        return hypot(beside, max(over, 0.0))
    return over if over > 0.0 else -min(float(a.intersection(b).area) ** 0.5, -over)
