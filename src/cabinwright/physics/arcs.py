"""Lines and circular arcs in a plane, exactly: length, tangent, distance, where two of them meet.

Points are complex numbers, x + iy in metres. A segment runs from ``start`` to ``end``; its ``bulge`` is the tangent of a
quarter of the angle it sweeps, positive counter-clockwise, and 0 for a line. With the chord c the radius is
``r = |c| (1 + b²) / (4 |b|)`` (plane geometry). So an arc stays an arc, whatever is done to it.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["NEAR_M", "Segment", "arc_through", "arc_with_sagitta", "crossings", "line_or_arc"]

NEAR_M = 1e-7  #: two points nearer than this are one; far below what any machine cuts
STRAIGHT = 1e-9  #: a smaller bulge is a line
MOST_CHORDS = 6284  #: an arc is never made more: a milliradian each all round

Points = NDArray[np.complex128]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Segment:
    """A line or an arc of a circle."""

    start: complex
    end: complex
    bulge: float = 0.0

    @property
    def is_line(self) -> bool:
        """Whether it is straight."""
        return abs(self.bulge) < STRAIGHT

    @property
    def chord(self) -> complex:
        """From start to end [m]."""
        return self.end - self.start

    @property
    def sweep_rad(self) -> float:
        """Angle the arc sweeps, positive counter-clockwise."""
        return 4.0 * math.atan(self.bulge)

    @property
    def radius_m(self) -> float:
        """Radius; infinite for a line."""
        if self.is_line:
            return math.inf
        return abs(self.chord) * (1.0 + self.bulge**2) / (4.0 * abs(self.bulge))

    @property
    def centre(self) -> complex:
        """Centre of the arc's circle. Only arcs have one."""
        b = self.bulge
        return (self.start + self.end) / 2.0 + 0.5j * self.chord * (1.0 - b * b) / (2.0 * b)

    @property
    def length_m(self) -> float:
        """Length along it."""
        return abs(self.chord) if self.is_line else self.radius_m * abs(self.sweep_rad)

    @property
    def area_m2(self) -> float:
        """Its part in the signed area of a closed chain, counter-clockwise positive (Green's theorem)."""
        flat = 0.5 * (self.start.conjugate() * self.end).imag
        if self.is_line:
            return flat
        sweep = self.sweep_rad
        return flat + 0.5 * self.radius_m**2 * (sweep - math.sin(sweep))

    def tangent(self, at_end: bool) -> complex:
        """Unit direction of travel at its start or its end."""
        turn = self.sweep_rad / 2.0
        return self.chord / abs(self.chord) * cmath.exp(1j * (turn if at_end else -turn))

    def point(self, share: float) -> complex:
        """The point a ``share`` (0 to 1) along it."""
        if self.is_line:
            return self.start + self.chord * share
        return self.centre + (self.start - self.centre) * cmath.exp(1j * self.sweep_rad * share)

    def points(self, shares: Floats) -> Points:
        """The points (n,) at ``shares`` (n,) along it."""
        if self.is_line:
            return np.asarray(self.start + self.chord * shares)
        return np.asarray(self.centre + (self.start - self.centre) * np.exp(1j * self.sweep_rad * shares))

    def reversed(self) -> Segment:
        """The same, run the other way."""
        return Segment(self.end, self.start, -self.bulge)

    def moved(self, *, turn: complex = 1.0, shift: complex = 0.0) -> Segment:
        """Turned and scaled by the factor ``turn``, then shifted."""
        return Segment(self.start * turn + shift, self.end * turn + shift, self.bulge)

    def beside(self, distance_m: float) -> Segment | None:
        """The parallel segment ``distance_m`` to its right; None where an arc shrinks to nothing."""
        if self.is_line:
            step = -1j * self.chord / abs(self.chord) * distance_m
            return Segment(self.start + step, self.end + step)
        scale = 1.0 + math.copysign(distance_m, self.bulge * distance_m) / self.radius_m
        if scale * self.radius_m <= NEAR_M:
            return None
        c = self.centre
        return Segment(c + (self.start - c) * scale, c + (self.end - c) * scale, self.bulge)

    def share_of(self, point: complex) -> float:
        """How far along the segment ``point`` lies, which is taken to lie on its line or circle; beyond 0 to 1 outside."""
        if self.is_line:
            return float(((point - self.start) / self.chord).real)
        turned = cmath.phase((point - self.centre) / (self.start - self.centre)) * math.copysign(1.0, self.bulge)
        whole = abs(self.sweep_rad)
        if turned < 0.0 and 2.0 * math.pi + turned - whole < -turned:  # nearer to the end than to the start
            turned += 2.0 * math.pi
        return turned / whole

    def holds(self, point: complex) -> bool:
        """Whether a point of its line or circle lies between its ends, these included."""
        slack = NEAR_M / max(self.length_m, NEAR_M)
        return -slack <= self.share_of(point) <= 1.0 + slack

    def part(self, low: float, high: float) -> Segment:
        """The piece between two shares."""
        start, end = self.point(low), self.point(high)
        return Segment(start, end, math.tan(self.sweep_rad * (high - low) / 4.0))

    def distance_m(self, points: Points) -> Floats:
        """Distance (n,) of each of ``points`` (n,) from the segment."""
        if self.is_line:
            share = np.clip(((points - self.start) / self.chord).real, 0.0, 1.0)
            return np.asarray(np.abs(points - self.start - share * self.chord), dtype=np.float64)
        ends = np.minimum(np.abs(points - self.start), np.abs(points - self.end))
        middle = np.exp(0.5j * self.sweep_rad) * (self.start - self.centre)
        off = np.abs(np.angle((points - self.centre) / middle))
        beside = np.abs(np.abs(points - self.centre) - self.radius_m)
        return np.asarray(np.where(off <= abs(self.sweep_rad) / 2.0, beside, ends), dtype=np.float64)

    def bounds(self) -> tuple[float, float, float, float]:
        """Least and greatest x and y: (x, y, x, y)."""
        points = [self.start, self.end]
        if not self.is_line:
            poles = [self.centre + self.radius_m * direction for direction in (1.0, 1j, -1.0, -1j)]
            points += [pole for pole in poles if self.holds(pole)]
        x, y = [point.real for point in points], [point.imag for point in points]
        return min(x), min(y), max(x), max(y)

    def flattened(self, tolerance_m: float) -> Points:
        """Points (n,) from its start on, its end left out, none of the chords farther off than ``tolerance_m``."""
        if self.is_line:
            return np.array([self.start])
        step = math.sqrt(8.0 * tolerance_m / self.radius_m)  # a chord's sagitta is at most r step²/8
        count = min(max(2, math.ceil(abs(self.sweep_rad) / step)), MOST_CHORDS)
        return self.points(np.arange(count) / count)


def arc_through(start: complex, via: complex, end: complex) -> Segment:
    """The arc from ``start`` to ``end`` through ``via``. Raises ``ValueError`` where two of the three are one point."""
    if min(abs(via - start), abs(end - via), abs(end - start)) < NEAR_M:
        raise ValueError("an arc needs three different points")
    # The angle at via over the chord is half the sweep's complement, on whichever side via lies.
    turn = cmath.phase((end - via) / (via - start))
    return Segment(start, end, math.tan(turn / 2.0))


def arc_with_sagitta(start: complex, end: complex, sagitta_m: float) -> Segment:
    """The arc that stands ``sagitta_m`` off its chord in the middle: to the right of the way from start to end if positive."""
    return Segment(start, end, 2.0 * sagitta_m / abs(end - start))


def line_or_arc(start: complex, end: complex, *, via: complex | None = None, sagitta_m: float | None = None) -> Segment:
    """A line, or an arc where its middle is told in one of two ways."""
    if via is not None:
        return arc_through(start, via, end)
    return Segment(start, end) if sagitta_m is None else arc_with_sagitta(start, end, sagitta_m)


def crossings(a: Segment, b: Segment) -> list[complex]:
    """The points that both segments have in common, ends included. Overlapping lines or arcs give the ends that lie in both."""
    found = [point for point in _carriers(a, b) if a.holds(point) and b.holds(point)]
    for one, other in ((a, b), (b, a)):
        near = [end for end in (one.start, one.end) if float(other.distance_m(np.array([end]))[0]) < NEAR_M]
        found += [end for end in near if all(abs(end - point) > NEAR_M for point in found)]
    return found


def _carriers(a: Segment, b: Segment) -> list[complex]:
    """Where the whole lines or circles meet; nothing where they are parallel or the same."""
    if a.is_line and b.is_line:
        across = (a.chord.conjugate() * b.chord).imag
        if abs(across) < 1e-12 * abs(a.chord) * abs(b.chord):
            return []
        share = ((b.start - a.start).conjugate() * b.chord).imag / across
        return [a.start + share * a.chord]
    if a.is_line or b.is_line:
        line, arc = (a, b) if a.is_line else (b, a)
        along = line.chord / abs(line.chord)
        foot = line.start + along * ((arc.centre - line.start) * along.conjugate()).real
        return _pair(foot, along, arc.radius_m**2 - abs(foot - arc.centre) ** 2, arc.radius_m)
    between = b.centre - a.centre
    apart = abs(between)
    if apart < NEAR_M:
        return []
    along = between / apart
    reach = (apart**2 + a.radius_m**2 - b.radius_m**2) / (2.0 * apart)
    return _pair(a.centre + along * reach, 1j * along, a.radius_m**2 - reach**2, min(a.radius_m, b.radius_m))


def _pair(foot: complex, along: complex, square: float, radius_m: float) -> list[complex]:
    """Two points on both sides of ``foot``, one where they touch."""
    if square < -2.0 * radius_m * NEAR_M * 1e-2:
        return []
    half = math.sqrt(max(0.0, square))
    return [foot] if half < NEAR_M else [foot + half * along, foot - half * along]
