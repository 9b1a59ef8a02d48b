"""How a port lies in its box: straight behind the baffle, or with one or two right-angle bends along the hollow's axes.

A run is legs along its centre line, the first one from the baffle's outer face. It is free where the tube, own wall and
all, stays in the hollow and off drive units, braces, posts, a second board and the other ports, and where as much again as the
port is wide is free before its inner mouth (common practice, no source). A lying round tube counts as square, a drive unit
as a cylinder of its cut-out and depth. Legs are tried from the shortest to the longest that are free there, both among them;
several ports are laid one after another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

__all__ = ["NAMES", "PortRun", "Prism", "Tube", "lay"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
NAMES = ("straight", "one bend", "two bends")
STEPS = 17  #: lengths tried of a leg
HALVINGS = 17
TOUCH_M = 1e-6  #: what touches does not meet
Legs = list[tuple[Real, float]]


@dataclass(frozen=True)
class PortRun:
    """One port as it lies."""

    legs_m: tuple[float, ...]
    line_m: tuple[tuple[float, float, float], ...]  #: its centre line's points, in plan and up from the floor

    @property
    def name(self) -> str:
        """Straight, one bend or two bends."""
        return NAMES[len(self.legs_m) - 1]


@dataclass(frozen=True)
class Prism:
    """A part of the hollow, or something in it, from one height to another."""

    plan: Polygon
    low_m: float
    high_m: float


@dataclass(frozen=True)
class Tube:
    """A port's outside: along the plan's two axes and up, before its first bend; and what it wants before its mouth."""

    size_m: tuple[float, float, float]  #: that along the first leg does not count
    upright_round: bool
    mouth_m: float


@dataclass(frozen=True)
class _Room:
    """Where a tube may be."""

    hollow: tuple[Prism, ...]
    blocks: tuple[Prism, ...]

    def clear(self, low: Real, high: Real, *, round_: bool) -> Flags:
        """Which boxes (n, 3) are free; upright cylinders instead where they are ``round_``."""
        low, high = low + TOUCH_M, high - TOUCH_M
        free = (low[:, 2] >= self.hollow[0].low_m) & (high[:, 2] <= self.hollow[-1].high_m)
        radius = (high[:, 0] - low[:, 0]) / 2.0
        if round_:
            shapes = shapely.points((low[:, 0] + high[:, 0]) / 2.0, (low[:, 1] + high[:, 1]) / 2.0)
        else:
            shapes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        for prism, inside in (*((item, True) for item in self.hollow), *((item, False) for item in self.blocks)):
            at = np.flatnonzero(free & (low[:, 2] < prism.high_m) & (high[:, 2] > prism.low_m))
            if not at.size:
                continue
            shapely.prepare(prism.plan)
            good = shapely.covers(prism.plan, shapes[at]) if inside else ~shapely.intersects(prism.plan, shapes[at])
            if round_:
                good &= shapely.distance(prism.plan.exterior, shapes[at]) >= radius[at]
            free[at] = good
        return np.asarray(free)

    def reach(self, start: Real, axis: int, sign: float, size: Sequence[float], back: Real, *, round_: bool) -> Real:
        """How far (n,) a tube is free along an axis from ``start`` (n, 3); -1 where its beginning is not."""
        half = np.array(size) / 2.0

        def free(far: Real) -> Flags:
            low, high = start - half, start + half
            ends = np.stack([start[:, axis] - sign * back, start[:, axis] + sign * far])
            low[:, axis], high[:, axis] = ends.min(axis=0), ends.max(axis=0)
            return self.clear(low, high, round_=round_)

        x0, y0, x1, y1 = shapely.union_all([item.plan for item in self.hollow]).bounds
        low = np.full(len(start), 4.0 * TOUCH_M)  # not nothing: a box without length has no inside
        high = np.full(len(start), max(x1 - x0, y1 - y0, self.hollow[-1].high_m - self.hollow[0].low_m))
        begins = free(low)
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            good = free(middle)
            low, high = np.where(good, middle, low), np.where(good, high, middle)
        return np.where(begins, low, -1.0)


def lay(
    length_m: float,
    *,
    start: tuple[float, float, float],
    axis: int,
    sign: float,
    boards_m: float,
    tube: Tube,
    hollow: Sequence[Prism],
    blocks: Sequence[Prism],
    beside: Sequence[Prism] = (),
) -> tuple[PortRun | None, float]:
    """The run with the fewest bends and then the most room before its mouth, or None; and the longest that was seen [m].

    ``start`` is on the baffle's outer face; ``axis`` (0 and 1 in plan, 2 up) and ``sign`` lead inwards through ``boards_m``.
    The first leg keeps off ``blocks`` alone; what sits ``beside`` it in the baffle is measured there, and concerns the others.
    """
    room, first = _Room(tuple(hollow), (*blocks, *beside)), _Room(tuple(hollow), tuple(blocks))
    origin, way = np.array(start), sign * np.eye(3)[axis]
    inner = (origin + boards_m * way)[None, :]
    round_ = tube.upright_round and axis == 2
    far = float(first.reach(inner, axis, sign, tube.size_m, np.zeros(1), round_=round_)[0])
    if far < 0.0:
        return None, 0.0
    longest = max(0.0, boards_m + far - tube.mouth_m)
    if length_m <= longest + TOUCH_M:
        return _run(origin, [(way, length_m)]), longest
    ways = [
        _Turn(axis, way, second, to, heads)
        for second in range(3)
        if second != axis and far >= tube.size_m[second]
        for to in (1.0, -1.0)
        for heads in [
            np.linspace(boards_m + tube.size_m[second] / 2.0, boards_m + far - tube.size_m[second] / 2.0, STEPS)
        ]
    ]
    for bends in (_one_bend, _two_bends):
        best = None
        for turn in ways:
            spare, legs, most = bends(length_m, room, tube, origin, turn)
            longest = max(longest, most)
            if legs and (best is None or spare > best[0]):
                best = spare, legs
        if best is not None:
            return _run(origin, best[1]), longest
    return None, longest


@dataclass(frozen=True)
class _Turn:
    """A first bend: from one axis into another, after each of some lengths of the first leg."""

    axis: int
    way: Real
    second: int
    to: float
    first_m: Real

    def size(self, tube: Tube) -> list[float]:
        """Of the tube behind the bend."""
        size = list(tube.size_m)
        size[self.axis] = size[self.second]
        return size

    def reach(self, room: _Room, tube: Tube, origin: Real) -> tuple[Real, Real]:
        """Where the bend lies (n, 3), and how far the tube is free from there (n,)."""
        heads = origin + self.first_m[:, None] * self.way
        half = np.full(len(heads), tube.size_m[self.second] / 2.0)
        round_ = tube.upright_round and self.second == 2
        return heads, room.reach(heads, self.second, self.to, self.size(tube), half, round_=round_)


def _one_bend(length_m: float, room: _Room, tube: Tube, origin: Real, turn: _Turn) -> tuple[float, Legs, float]:
    """The run with the most room before its mouth, that room, and the longest run that was seen."""
    half = tube.size_m[turn.second] / 2.0
    free = turn.reach(room, tube, origin)[1] - tube.mouth_m
    b = length_m - turn.first_m
    row, spare, longest = _best(b, free, turn.first_m + free, half)
    if row is None:
        return spare, [], longest
    return spare, [(turn.way, turn.first_m[row]), (turn.to * np.eye(3)[turn.second], b[row])], longest


def _two_bends(length_m: float, room: _Room, tube: Tube, origin: Real, turn: _Turn) -> tuple[float, Legs, float]:
    """The same with a second bend."""
    heads, reach = turn.reach(room, tube, origin)
    size, unit = turn.size(tube), np.eye(3)
    best: tuple[float, Legs] = (-np.inf, [])
    longest = 0.0
    for third in (item for item in range(3) if item != turn.second):
        half = size[third] / 2.0
        least = size[turn.axis] / 2.0 + half
        rows = np.flatnonzero(reach - half >= least)
        if not rows.size:
            continue
        b = np.linspace(np.full(rows.size, least), reach[rows] - half, STEPS).ravel()
        a = np.tile(turn.first_m[rows], STEPS)
        knees = np.tile(heads[rows], (STEPS, 1)) + b[:, None] * turn.to * unit[turn.second]
        last = list(size)
        last[turn.second] = size[third]
        round_ = tube.upright_round and third == 2
        for sign in (1.0, -1.0):
            free = room.reach(knees, third, sign, last, np.full(len(b), half), round_=round_) - tube.mouth_m
            c = length_m - a - b
            row, spare, most = _best(c, free, a + b + free, half)
            longest = max(longest, most)
            if row is not None and spare > best[0]:
                legs = [(turn.way, a[row]), (turn.to * unit[turn.second], b[row]), (sign * unit[third], c[row])]
                best = spare, legs
    return *best, longest


def _best(leg: Real, free: Real, whole: Real, least: float) -> tuple[int | None, float, float]:
    """Which row's last leg has the most room before its mouth, that room, and the longest whole run of any."""
    spare = np.where((leg >= least - TOUCH_M) & (leg <= free + TOUCH_M), free - leg, -np.inf)
    row = int(np.argmax(spare))
    longest = float(np.where(free >= least, whole, 0.0).max())
    return (row if np.isfinite(spare[row]) else None), float(spare[row]), longest


def _run(origin: Real, legs: Legs) -> PortRun:
    line = [origin]
    for way, length in legs:
        line.append(line[-1] + way * length)
    return PortRun(tuple(float(length) for _, length in legs), tuple((p[0], p[1], p[2]) for p in line))
