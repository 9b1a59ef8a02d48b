"""Braces that cross, half-lapped: the lower number is slotted from above, the other from below, half the height each.

All go in from above in the order of their numbers. A slot is as wide as the other board is across it, and more by its own
thickness where they cross aslant. Where it runs into a window it opens into it; what then falls apart, or where a
slot would leave a sliver beside a window or another slot, is not lapped.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from shapely import Polygon, box
from shapely.geometry.polygon import orient

from cabinwright.build.outlines import OutlinePoint
from cabinwright.build.shapes import Brace
from cabinwright.build.workshop import CutOut
from cabinwright.stages.enclosure.shape_solid import Window, window_of
from cabinwright.stages.workshop.box_board import pair
from cabinwright.stages.workshop.joinery import Lap

__all__ = ["Lapped", "lapped"]

LEAST_SINE = 0.5  #: boards that cross at less than 30° have slots as long as they are high. Common practice, no source
CLEAR_M = 1e-4
SAME_M = 1e-9


@dataclass(frozen=True)
class Lapped:
    """One brace: its slots, its outline where it has any, and its window where no slot opens into it."""

    laps: tuple[Lap, ...]
    outline: tuple[OutlinePoint, ...] | None
    windows: tuple[CutOut, ...]


def lapped(braces: Sequence[Brace], *, high_m: float, board_m: float) -> tuple[Lapped, ...]:
    """Every brace, with the slots that can be cut; ``high_m`` is its height, ``board_m`` its thickness unless it has its own."""
    crossings: dict[tuple[int, int], tuple[Lap, Lap]] = {}
    for key in combinations(range(len(braces)), 2):
        both = _crossing(braces[key[0]], braces[key[1]], key, high_m, board_m)
        if both is not None:
            crossings[key] = both
    while True:
        made = [_made(item, _of(n, crossings), high_m, item.board_m or board_m) for n, item in enumerate(braces)]
        broken = {n for n, found in enumerate(made) if found is None}
        if not broken:
            return tuple(item for item in made if item is not None)
        crossings = {key: both for key, both in crossings.items() if not broken & set(key)}


def _of(number: int, crossings: Mapping[tuple[int, int], tuple[Lap, Lap]]) -> tuple[Lap, ...]:
    return tuple(both[key.index(number)] for key, both in crossings.items() if number in key)


def _crossing(one: Brace, other: Brace, key: tuple[int, int], high_m: float, board_m: float) -> tuple[Lap, Lap] | None:
    """Both slots where two boards go right through one another."""
    starts = [complex(*item.from_m) for item in (one, other)]
    lines = [complex(*item.to_m) - start for item, start in zip((one, other), starts, strict=True)]
    lengths = [abs(line) for line in lines]
    ways = [line / length for line, length in zip(lines, lengths, strict=True)]
    thick = [item.board_m or board_m for item in (one, other)]
    turn = ways[0].conjugate() * ways[1]
    sine, cosine = abs(turn.imag), abs(turn.real)
    if sine < LEAST_SINE:
        return None
    rows = []
    for n, side in ((0, "top"), (1, "bottom")):
        apart, other_way = starts[1 - n] - starts[n], ways[1 - n]
        at = (apart.conjugate() * other_way).imag / (ways[n].conjugate() * other_way).imag
        half = (thick[1 - n] + thick[n] * cosine) / sine / 2.0
        if not thick[n] + half < at < lengths[n] - thick[n] - half:  # one ends in the other
            return None
        rows.append(Lap(key[1 - n] + 1, at, 2.0 * half, high_m / 2.0, side))
    return rows[0], rows[1]


def _made(item: Brace, laps: tuple[Lap, ...], high_m: float, thick_m: float) -> Lapped | None:
    """The board with its slots; None where it would fall apart, a slot meets a window's corner, or a sliver would be left."""
    length, window = abs(complex(*item.to_m) - complex(*item.from_m)), window_of(item, high_m)
    hole = () if window is None else (_window(window, length, high_m),)
    if not laps:
        return Lapped((), None, hole)
    spans = sorted((lap.at_m - lap.width_m / 2.0, lap.at_m + lap.width_m / 2.0) for lap in laps)
    # less wood than a board is thick breaks out between two slots of one side, and is all that holds two of either side
    if any(SAME_M < after - before < thick_m - SAME_M for (_, before), (after, _) in pairwise(spans)):
        return None
    wood, low, high = box(0.0, 0.0, length, high_m), 0.0, 0.0
    if window is not None:
        (wide, tall), (x, y) = window.size_m, (length / 2.0, high_m / 2.0)
        low, high = x - wide / 2.0, x + wide / 2.0
        wood = wood.difference(box(low, y - tall / 2.0, high, y + tall / 2.0))
    for lap in laps:
        start, end = lap.at_m - lap.width_m / 2.0, lap.at_m + lap.width_m / 2.0
        if window is not None:
            edge = window.fillet_m + CLEAR_M
            if not (low + edge <= start and end <= high - edge) and not (
                end <= low - thick_m or high + thick_m <= start
            ):
                return None
        foot = high_m - lap.deep_m if lap.side == "top" else -1.0
        slot = box(start, foot, end, foot + lap.deep_m + 1.0)
        wood = wood.difference(
            slot, grid_size=SAME_M
        )  # boards that lie face to face share a slot, without a hair between
    if not isinstance(wood, Polygon):
        return None
    opened = window is not None and not wood.interiors
    return Lapped(laps, tuple(_points(wood, window, (low, high))), () if opened else hole)


def _window(window: Window, length_m: float, high_m: float) -> CutOut:
    middle = (length_m / 2.0, high_m / 2.0)
    return CutOut(name="window", size_m=window.size_m, at_m=middle, fillet_m=window.fillet_m)


def _points(wood: Polygon, window: Window | None, ends: tuple[float, float]) -> list[OutlinePoint]:
    """Hard corners, but those of a window that a slot opens into are round as it was."""
    rows = []
    for x, y in orient(wood).exterior.coords[:-1]:
        round_ = window is not None and not wood.interiors and min(abs(x - end) for end in ends) < SAME_M
        rows.append(OutlinePoint(at_m=pair(complex(x, y)), fillet_m=window.fillet_m if round_ and window else 0.0))
    return rows
