"""Orthogonal lines between two columns of a diagram: each net gets one upright, and no two lines lie on one another.

A net comes in from the left at some heights and goes out to the right at others. Its upright may stand anywhere between,
with one rule: where one net comes in near the height at which another goes out, the first must turn before the second
begins. Where such rules run in a circle, a net gets two uprights, joined at a height that nothing else uses.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import Point

__all__ = ["Run", "Upright", "channel", "lines_and_dots", "spread_mm"]

NEAR_MM = 2.0  #: lines nearer than this would be taken for one
PITCH_MM = 3.0  #: between uprights that stand beside one another
MARGIN_MM = 2.0  #: between a column and the first upright

Step = tuple[int, tuple[float, ...], tuple[float, ...]]


@dataclass
class Upright:
    """A net's upright in one channel: the heights of what it joins, and its place from the left."""

    net: int
    came: tuple[float, ...]
    went: tuple[float, ...]
    track: int = 0
    second: bool = False  #: the second of two, which begins where the first one ends

    @property
    def low(self) -> float:
        return min(*self.came, *self.went)

    @property
    def high(self) -> float:
        return max(*self.came, *self.went)

    @property
    def straight(self) -> bool:
        """Whether it is a mere point on a straight line."""
        return self.high - self.low < 1e-6


@dataclass(frozen=True)
class Run:
    """The lines of one net in one channel."""

    net: int
    lines: tuple[tuple[Point, ...], ...]
    dots: tuple[Point, ...]


def channel(steps: Sequence[Step]) -> list[Upright]:
    """Uprights with their tracks, in the order of their nets."""
    uprights = [Upright(net, came, went) for net, came, went in steps]
    while circle := _circle(uprights):
        uprights = _split(uprights, circle)
    turning = [item for item in uprights if not item.straight]
    for item in _ordered(turning):
        item.track = 1 + max((other.track for other in turning if _left_of(other, item)), default=0)
    return uprights


def spread_mm(uprights: Sequence[Upright]) -> float:
    """Width of the channel."""
    tracks = max((item.track for item in uprights), default=0)
    return 2 * MARGIN_MM + max(tracks - 1, 0) * PITCH_MM


def lines_and_dots(uprights: Sequence[Upright], left_mm: float) -> Iterator[Run]:
    """The lines of every net between ``left_mm`` and the right end of the channel."""
    right_mm = left_mm + spread_mm(uprights)
    for item in uprights:
        x = left_mm + MARGIN_MM + max(item.track - 1, 0) * PITCH_MM
        first = next((o for o in uprights if o.net == item.net and o is not item and not o.second), None)
        start = left_mm if not item.second or first is None else left_mm + MARGIN_MM + (first.track - 1) * PITCH_MM
        leads_on = any(o.net == item.net and o.second for o in uprights) and not item.second
        if item.straight:
            yield Run(item.net, (((left_mm, item.low), (right_mm, item.low)),), ())
            continue
        lines: list[tuple[Point, ...]] = [((x, item.low), (x, item.high))]
        lines += [((start, y), (x, y)) for y in item.came]
        lines += [((x, y), (right_mm, y)) for y in item.went if not leads_on]
        yield Run(item.net, tuple(lines), tuple((x, y) for y in _branches(item)))


def _branches(item: Upright) -> Iterator[float]:
    """Heights where three or more lines meet."""
    for y in sorted({*item.came, *item.went}):
        ways = (y in item.came) + (y in item.went) + (y > item.low) + (y < item.high)
        if ways > 2:
            yield y


def _before(a: Upright, b: Upright) -> bool:
    """Whether ``a`` has to turn before ``b`` begins."""
    if a.net == b.net:
        return b.second and not a.second
    return any(abs(y - z) < NEAR_MM for y in a.came for z in b.went)


def _left_of(a: Upright, b: Upright) -> bool:
    """Whether ``a``, which is earlier in the order, needs a track of its own left of ``b``."""
    if a.track == 0 or a is b:
        return False
    return _before(a, b) or (a.low < b.high + NEAR_MM and b.low < a.high + NEAR_MM)


def _circle(uprights: Sequence[Upright]) -> list[Upright]:
    """Uprights that each have to stand left of the next and the last of the first; empty where there are none."""
    left = list(uprights)
    while True:
        free = [b for b in left if not any(_before(a, b) for a in left if a is not b)]
        if not free:
            break
        left = [item for item in left if item not in free]
    # what remains may also only stand behind a circle: walk back along the rules until something comes again
    path: list[Upright] = left[:1]
    while left:
        before = next(a for a in left if a is not path[-1] and _before(a, path[-1]))
        if any(before is item for item in path):
            return path
        path.append(before)
    return []


def _split(uprights: Sequence[Upright], circle: Sequence[Upright]) -> list[Upright]:
    """The same with one net of the circle in two uprights, joined at a free height."""
    chosen = next(item for item in circle if not item.second and not _doubled(item, uprights))
    taken = sorted(y for item in uprights for y in (*item.came, *item.went))
    y = (chosen.low + chosen.high) / 2.0
    while any(abs(y - other) < NEAR_MM for other in taken):
        y += NEAR_MM / 4.0
    halves = [Upright(chosen.net, chosen.came, (y,)), Upright(chosen.net, (y,), chosen.went, second=True)]
    return [part for item in uprights for part in (halves if item is chosen else [item])]


def _doubled(item: Upright, uprights: Sequence[Upright]) -> bool:
    return sum(other.net == item.net for other in uprights) > 1


def _ordered(uprights: Sequence[Upright]) -> list[Upright]:
    """From the left: the rules kept, then few crossings, by exchanging neighbours until none helps."""
    order: list[Upright] = []
    left = list(uprights)
    while left:
        first = next(b for b in left if not any(_before(a, b) for a in left if a is not b))
        order.append(first)
        left = [item for item in left if item is not first]
    for _ in range(len(order)):
        moved = False
        for k in range(len(order) - 1):
            a, b = order[k], order[k + 1]
            if not _before(a, b) and _crossings(b, a) < _crossings(a, b):
                order[k], order[k + 1], moved = b, a, True
        if not moved:
            break
    return order


def _crossings(a: Upright, b: Upright) -> int:
    """How often the two cross with ``a`` on the left."""
    return sum(b.low < y < b.high for y in a.went) + sum(a.low < y < a.high for y in b.came)
