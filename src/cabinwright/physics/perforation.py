"""Graded fields of round holes: rows, sizes that change with the distance from a point or curve, webs that hold.

Rows are hexagonal (60° stagger) or concentric, that is, parallel to the focus. Size and pitch go from ``near`` to ``far``
over the reach, eased at both ends (3t² − 2t³) so that no ring shows where the change begins. Whatever the grading, no two
holes leave less than the least web between them, and a hole that would come within the margin of an edge is left out
whole. Open area of a regular 60° field: π/(2√3) (D/C)² = 0.9069 (D/C)².
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cabinwright.physics.arcs import NEAR_M, Points, Segment
from cabinwright.physics.outline import Contour

__all__ = ["MOST_HOLES", "Field", "Focus", "Ramp", "covered_m2", "least_web_m", "perforate"]

MOST_HOLES = 60_000  #: before the edge is trimmed; more is a slip of a unit
ROW_STEPS = 12  #: holes grow far less than rows move apart, so that the steps close in on the next row
ROW = math.sqrt(3.0) / 2.0  #: rows of a 60° stagger lie this part of the pitch apart

Floats = NDArray[np.float64]
Focus = complex | tuple[Segment, ...]


@dataclass(frozen=True, slots=True)
class Ramp:
    """A length that goes from ``near_m`` at the focus to ``far_m`` at ``reach_m`` from it and beyond."""

    near_m: float
    far_m: float
    reach_m: float

    def at(self, distance_m: Floats) -> Floats:
        """Its value (n,) at distances (n,)."""
        share = np.clip(distance_m / self.reach_m, 0.0, 1.0)
        return np.asarray(self.near_m + (self.far_m - self.near_m) * share**2 * (3.0 - 2.0 * share))


@dataclass(frozen=True)
class Field:
    """Holes, and how many of the pattern were left out whole."""

    centres: Points  #: (n,)
    diameters_m: Floats  #: (n,)
    left_out_edge: int = 0  #: nearer to an edge than the margin
    left_out_web: int = 0  #: too near to another hole

    @property
    def area_m2(self) -> float:
        """Open area of all holes."""
        return float(np.sum(np.pi / 4.0 * self.diameters_m**2))


def perforate(
    region: Contour,
    *,
    focus: Focus,
    diameter: Ramp,
    pitch: Ramp,
    least_web_m: float,
    margin_m: float,
    rows: str = "hexagonal",
    turn_rad: float = 0.0,
    avoid: Sequence[Contour] = (),
    within: Sequence[Contour] = (),
) -> Field:
    """Holes of one field inside ``region`` and every outline of ``within``, and outside of every outline in ``avoid``.

    A hole is never larger than pitch less web. Raises ``ValueError`` where a web leaves no hole, where there are more
    than ``MOST_HOLES``, or for a pitch that is graded in hexagonal rows, which only holds in concentric ones.
    """
    smallest = min(pitch.near_m, pitch.far_m)
    if smallest <= least_web_m:
        raise ValueError(
            f"a pitch of {1e3 * smallest:.2f} mm leaves no hole beside a web of {1e3 * least_web_m:.2f} mm"
        )
    x0, y0, x1, y1 = region.bounds
    if (x1 - x0) * (y1 - y0) / (ROW * smallest**2) > MOST_HOLES:
        raise ValueError(f"more than {MOST_HOLES} holes at a pitch of {1e3 * smallest:.2f} mm")
    if rows == "hexagonal":
        if pitch.near_m != pitch.far_m:
            raise ValueError("hexagonal rows keep one pitch; a graded one needs concentric rows")
        centres = _hexagonal(region, pitch.near_m, turn_rad)
    else:
        centres = _concentric(region, focus, diameter, pitch, least_web_m)
    far = _distance_m(focus, centres)
    size = np.minimum(diameter.at(far), pitch.at(far) - least_web_m)
    inside = _clear((region, *within), avoid, centres, size, margin_m)
    chosen, sizes = centres[inside], size[inside]
    kept = _spaced(chosen, sizes, least_web_m)
    # What lies beyond the bounds of the region was never part of the pattern.
    reaching = int(np.sum(region.distance_m(centres[~inside]) < size[~inside] / 2.0 + margin_m))
    return Field(chosen[kept], sizes[kept], reaching, int(np.sum(~kept)))


def least_web_m(field: Field) -> float:
    """Least material between any two holes; infinite for fewer than two."""
    if len(field.centres) < 2:
        return math.inf
    xy = np.column_stack((field.centres.real, field.centres.imag))
    tree = cKDTree(xy)
    near = np.asarray(tree.query(xy, k=2)[0])
    reach = float(near[:, 1].min()) + float(field.diameters_m.max())  # no pair farther apart can have less
    pairs = tree.query_pairs(reach, output_type="ndarray")
    gap = np.abs(field.centres[pairs[:, 0]] - field.centres[pairs[:, 1]])
    return float(np.min(gap - (field.diameters_m[pairs[:, 0]] + field.diameters_m[pairs[:, 1]]) / 2.0))


def covered_m2(field: Field, *, centre: complex, diameter_m: float) -> Floats:
    """Area (n,) of each hole that lies within a disc: the lens of two circles, exactly."""
    r, big = field.diameters_m / 2.0, diameter_m / 2.0
    d = np.maximum(np.abs(field.centres - centre), 1e-12)
    alpha = np.arccos(np.clip((d**2 + r**2 - big**2) / (2.0 * d * r), -1.0, 1.0))
    beta = np.arccos(np.clip((d**2 + big**2 - r**2) / (2.0 * d * big), -1.0, 1.0))
    lens = r**2 * (alpha - np.sin(2.0 * alpha) / 2.0) + big**2 * (beta - np.sin(2.0 * beta) / 2.0)
    lens = np.where(d >= r + big, 0.0, lens)
    return np.asarray(np.where(d <= np.abs(big - r), np.pi * np.minimum(r, big) ** 2, lens))


def _distance_m(focus: Focus, points: Points) -> Floats:
    if isinstance(focus, tuple):
        far = np.full(points.shape, np.inf)
        for segment in focus:
            np.minimum(far, segment.distance_m(points), out=far)
        return far
    return np.abs(points - focus)


def _hexagonal(region: Contour, pitch_m: float, turn_rad: float) -> Points:
    """Rows over the region's bounds, one hole on their middle, so that the field is symmetric where the region is."""
    x0, y0, x1, y1 = region.bounds
    reach = abs(complex(x1 - x0, y1 - y0)) / 2.0 + pitch_m
    across = np.arange(-math.ceil(reach / (ROW * pitch_m)), math.ceil(reach / (ROW * pitch_m)) + 1)
    along = np.arange(-math.ceil(reach / pitch_m), math.ceil(reach / pitch_m) + 1)
    rows, columns = np.meshgrid(across, along, indexing="ij")
    grid = (columns + 0.5 * (rows % 2)) * pitch_m + 1j * rows * ROW * pitch_m
    points = complex(x0 + x1, y0 + y1) / 2.0 + grid.ravel() * complex(math.cos(turn_rad), math.sin(turn_rad))
    within = (points.real >= x0) & (points.real <= x1) & (points.imag >= y0) & (points.imag <= y1)
    return np.asarray(points[within])


def _concentric(region: Contour, focus: Focus, diameter: Ramp, pitch: Ramp, web_m: float) -> Points:
    """Rows parallel to the focus, the first of them on it; every other one begins half a pitch on."""
    x0, y0, x1, y1 = region.bounds
    corners = np.array([complex(x, y) for x in (x0, x1) for y in (y0, y1)])
    # Farthest from a point is a corner. From a curve it may be a place within its bend, never farther than from the
    # curve's point that lies best.
    spots = np.array([end for part in focus for end in (part.start, part.end)]) if isinstance(focus, tuple) else [focus]
    farthest = min(float(np.abs(corners - spot).max()) for spot in spots)
    found = [_spread(focus, pitch.near_m, 0) if isinstance(focus, tuple) else np.array([focus])]
    away, row = 0.0, 0
    while True:
        away = _next_row(away, diameter, pitch, web_m)
        row += 1
        if away > farthest:
            return np.concatenate(found) if found else np.zeros(0, dtype=np.complex128)
        step = float(pitch.at(np.array([away]))[0])
        found.append(_row(focus, away, step, row))


def _next_row(away_m: float, diameter: Ramp, pitch: Ramp, web_m: float) -> float:
    """Rows do not stay in step with one another, so they lie apart as holes side by side would, each of its own size."""

    def hole(at_m: float) -> float:
        place = np.array([at_m])
        return float(np.minimum(diameter.at(place), pitch.at(place) - web_m)[0])

    regular = ROW * float(pitch.at(np.array([away_m]))[0])
    further = away_m + regular
    for _ in range(ROW_STEPS):
        further = max(further, away_m + (hole(away_m) + hole(further)) / 2.0 + web_m)
    return further


def _row(focus: Focus, away_m: float, pitch_m: float, row: int) -> Points:
    """Holes of the row ``away_m`` from the focus, evenly spread, no nearer than the pitch."""
    if not isinstance(focus, tuple):
        # The chord, not the arc, keeps the web.
        count = max(1, math.floor(math.pi / math.asin(min(1.0, pitch_m / (2.0 * away_m))) + 1e-9))
        return np.asarray(focus + away_m * np.exp(2j * np.pi * (np.arange(count) + 0.5 * (row % 2)) / count))
    found = []
    for way in (focus, tuple(segment.reversed() for segment in reversed(focus))):
        sides = [side for segment in way if (side := segment.beside(away_m)) is not None]
        tip = way[-1].end - 1j * way[-1].tangent(True) * away_m
        sides.append(Segment(tip, 2.0 * way[-1].end - tip, 1.0))  # half a circle about the end
        found.append(_spread(sides, pitch_m, row))
    points = np.concatenate(found)
    return points[_distance_m(focus, points) > away_m - 10.0 * NEAR_M]


def _spread(chain: Sequence[Segment], pitch_m: float, row: int) -> Points:
    """Points along a chain a pitch apart, set out from its middle."""
    ends = np.concatenate([[0.0], np.cumsum([segment.length_m for segment in chain])])
    middle = ends[-2] / 2.0
    low, high = math.ceil(-middle / pitch_m - 1), math.floor((ends[-1] - middle) / pitch_m)
    at = middle + (np.arange(low, high + 1) + 0.5 * (row % 2)) * pitch_m
    at = at[(at >= 0.0) & (at <= ends[-1])]
    index = np.clip(np.searchsorted(ends, at, side="right") - 1, 0, len(chain) - 1)
    points = [
        segment.points((at[index == number] - ends[number]) / segment.length_m) for number, segment in enumerate(chain)
    ]
    return np.concatenate(points)


def _clear(
    inside: Sequence[Contour], avoid: Sequence[Contour], centres: Points, size: Floats, margin_m: float
) -> NDArray[np.bool_]:
    """Which holes keep the margin from every edge, counting what they are wide."""
    clear = size > 0.0
    need = size / 2.0 + margin_m - 1e-12
    for edge, within in (*((edge, True) for edge in inside), *((edge, False) for edge in avoid)):
        there = np.flatnonzero(clear)
        clear[there] = edge.holds(centres[there]) == within
        there = np.flatnonzero(clear)
        clear[there] = edge.distance_m(centres[there]) >= need[there]
    return clear


def _spaced(centres: Points, size: Floats, web_m: float) -> NDArray[np.bool_]:
    """Which holes stay so that every two keep the web; of two that do not, the later one goes."""
    kept = np.ones(len(centres), dtype=bool)
    if len(centres) < 2:
        return kept
    tree = cKDTree(np.column_stack((centres.real, centres.imag)))
    pairs = tree.query_pairs(float(size.max()) + web_m, output_type="ndarray")
    gap = np.abs(centres[pairs[:, 0]] - centres[pairs[:, 1]]) - (size[pairs[:, 0]] + size[pairs[:, 1]]) / 2.0
    close = pairs[gap < web_m - 1e-9]
    for first, second in close[np.lexsort((close[:, 1], close[:, 0]))]:
        if kept[first] and kept[second]:
            kept[max(first, second)] = False
    return kept
