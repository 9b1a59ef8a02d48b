"""A tube along straight legs, mitred where they meet, its rims rounded: exact volumes, and the closed surface of it.

A mitre lies half-way between its legs, so that both sides of the middle lose and win alike: area × length of the middle line is
exact. A rim rounded by ρ widens the outline by ρ − √(ρ² − x²), x from where the rounding begins up to ρ at the mouth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import asin, hypot, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.outline import Contour

__all__ = ["Pipe", "Station", "stations", "surface"]

Real = NDArray[np.float64]
Triple = tuple[float, float, float]
FLARE_STEPS = 24


@dataclass(frozen=True)
class Pipe:
    """A round or rectangular ``outline`` about 0, drawn along ``line`` (at least two points [m]).

    A point x + jy of it lies at the line's start + x ``along`` + y ``up``, unit vectors across one another and the first leg,
    which leads to the side of ``along`` × ``up``. ``flares_m`` are the radii of its two rims, each with room in its leg;
    ``wall_m`` leaves so much of it as a tube, None is a rod, its outline smaller by ``inset_m``; ``lead_m`` draws it out so far
    before its start.
    """

    line: tuple[Triple, ...]
    along: Triple
    up: Triple
    outline: Contour
    flares_m: tuple[float, float] = (0.0, 0.0)
    wall_m: float | None = None
    inset_m: float = 0.0
    lead_m: float = 0.0

    @property
    def length_m(self) -> float:
        """Along its middle."""
        return sum(hypot(*np.subtract(b, a)) for a, b in pairwise(self.line))

    @property
    def is_round(self) -> bool:
        """Whether its outline is a circle."""
        return not any(side.is_line for side in self.outline.segments)

    def filled_m3(self, low_m: float, high_m: float, *, inset_m: float = 0.0) -> float:
        """Volume [m³] between two distances along its middle, wall and bore; of its bore with its wall as ``inset_m``."""
        left, bottom, right, top = self.outline.bounds
        around, square = (pi * (right - left), pi) if self.is_round else (2.0 * (right - left + top - bottom), 4.0)
        area = abs(self.outline.area_m2) - around * inset_m + square * inset_m**2
        whole = area * (high_m - low_m)
        for rim, a, b in ((self.flares_m[0], low_m, high_m),
                          (self.flares_m[1], self.length_m - high_m, self.length_m - low_m)):  # fmt: skip
            near, far = (min(max(rim - at, 0.0), rim) for at in (b, a))
            once, twice = (y - x for x, y in zip(_widened(near, rim), _widened(far, rim), strict=True))
            whole += (around - 2.0 * square * inset_m) * once + square * twice
        return whole


@dataclass(frozen=True)
class Station:
    """A cut across a pipe: its middle, the outline's two axes there, how far it is widened, and, at a mitre, its normal."""

    at: Real
    along: Real
    up: Real
    wider_m: float
    leg: Real
    normal: Real

    def ring(self, points: Real) -> Real:
        """Points (n, 2) of the outline, in space (n, 3)."""
        spread = points[:, :1] * self.along + points[:, 1:] * self.up
        slide = -(spread @ self.normal) / float(self.leg @ self.normal)
        return np.asarray(self.at + spread + slide[:, None] * self.leg)


def stations(pipe: Pipe) -> Iterator[Station]:
    """Every cut, from start to end."""
    line = np.asarray(pipe.line, dtype=float)
    ways = np.diff(line, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    along, up = np.asarray(pipe.along, dtype=float), np.asarray(pipe.up, dtype=float)
    turn = np.linspace(0.5 * pi, 0.0, FLARE_STEPS + 1)
    first, last = ([(rim * (1.0 - np.sin(t)), rim * (1.0 - np.cos(t))) for t in turn] if rim else [(0.0, 0.0)]
                   for rim in pipe.flares_m)  # fmt: skip
    if pipe.lead_m:
        yield Station(line[0] - pipe.lead_m * ways[0], along, up, first[0][1], ways[0], ways[0])
    for far, wider in first:
        yield Station(line[0] + far * ways[0], along, up, float(wider), ways[0], ways[0])
    for knee, (before, after) in zip(line[1:-1], pairwise(ways), strict=True):
        normal = (before + after) / np.linalg.norm(before + after)
        yield Station(knee, along, up, 0.0, before, normal)
        along, up = (axis - 2.0 * float(axis @ normal) * normal for axis in (along, up))
    for far, wider in reversed(last):
        yield Station(line[-1] - far * ways[-1], along, up, float(wider), ways[-1], ways[-1])


def surface(pipe: Pipe, points: Real) -> tuple[Real, NDArray[np.uint64]]:
    """Vertices and triangles of its closed surface; ``points`` (n, 2) are its convex outline, counter-clockwise."""
    cuts = list(stations(pipe))
    outer = [cut.ring(_wider(points, cut.wider_m - pipe.inset_m, round_=pipe.is_round)) for cut in cuts]
    if pipe.wall_m is None:
        rings = outer
    else:  # round by the outside, and back by the bore
        inner = [cut.ring(_wider(points, cut.wider_m - pipe.wall_m, round_=pipe.is_round)) for cut in cuts]
        rings = [*outer, *reversed(inner)]
    n = len(points)
    here = np.arange(n)
    after = np.roll(here, -1)
    faces = []
    closed = pipe.wall_m is not None
    for row in range(len(rings) if closed else len(rings) - 1):
        a, b = n * row, n * ((row + 1) % len(rings))
        faces += [np.column_stack((a + here, a + after, b + after)), np.column_stack((a + here, b + after, b + here))]
    if not closed:
        fan = here[1:-1]
        end = n * (len(rings) - 1)
        faces += [np.column_stack((0 * fan, fan + 1, fan)), np.column_stack((end + 0 * fan, end + fan, end + fan + 1))]
    return np.concatenate(rings), np.concatenate(faces).astype(np.uint64)


def _wider(points: Real, by_m: float, *, round_: bool) -> Real:
    way = points / np.linalg.norm(points, axis=1)[:, None] if round_ else np.sign(points)
    return np.asarray(points + by_m * way)


def _widened(x: float, rim: float) -> tuple[float, float]:
    """∫ d and ∫ d² from 0 to x of d = ρ − √(ρ² − x²)."""
    if rim <= 0.0:
        return 0.0, 0.0
    under = 0.5 * (x * sqrt(max(rim * rim - x * x, 0.0)) + rim * rim * asin(min(1.0, x / rim)))
    return rim * x - under, 2.0 * rim * rim * x - x**3 / 3.0 - 2.0 * rim * under
