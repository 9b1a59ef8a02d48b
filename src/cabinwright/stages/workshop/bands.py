"""Edge bands: which edges get one, how long it is, and the outline that is cut before they are glued on.

A side is what looks to it within 45° all along, so that a rounded corner belongs to none. A banded side is cut as far inside as
its band is thick, up to where it meets its neighbours: the band ends flush with them. A rectangle's rounded corners move as a
whole instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cabinwright.physics.arcs import Segment, crossings
from cabinwright.physics.outline import Contour, OutlineFault
from cabinwright.stages.workshop.result import Part

__all__ = ["Bands", "bands_of"]

WAYS = {"left": -1.0 + 0j, "right": 1.0 + 0j, "top": 1j, "bottom": -1j}
HALF_RAD = math.radians(45.1)  #: within this a segment looks to a side
LONGER = 4.0  #: a moved segment is drawn longer by so many bands to meet its neighbours


@dataclass(frozen=True)
class Bands:
    """What is cut, and what is glued on."""

    outline: Contour  #: that is cut
    sides: tuple[str, ...]
    length_m: float
    fault: str = ""  #: why the bands are not taken off


def bands_of(part: Part) -> Bands:
    """The bands of a part whose ``outline`` is the finished one."""
    outline, band = part.outline.counter_clockwise(), part.banding_m
    if not part.banded:
        return Bands(part.outline, (), 0.0)
    if "all round" in part.banded:
        if part.rectangle:
            return Bands(_rectangle(part, tuple(WAYS)), tuple(WAYS), 2.0 * sum(part.size_m))
        moved = outline.offset(-band)
        fault = "" if len(moved) == 1 else "inside its band no outline is left in one piece"
        return Bands(part.outline if fault else moved[0], ("all round",), outline.length_m, fault)
    sides = tuple(side for side in WAYS if side in part.banded)
    if part.rectangle:
        width, height = part.size_m
        long = sum({"left": height, "right": height, "top": width, "bottom": width}[side] for side in sides)
        return Bands(_rectangle(part, sides), sides, long)
    chosen = [any(_looks(item, WAYS[side]) for side in sides) for item in outline.segments]
    missing = [side for side in sides if not any(_looks(item, WAYS[side]) for item in outline.segments)]
    length = sum(item.length_m for item, banded in zip(outline.segments, chosen, strict=True) if banded)
    if missing:
        return Bands(
            part.outline, sides, length, f"nothing of it looks {' or '.join(_words(side) for side in missing)}"
        )
    cut = _cut(outline, chosen, band) if band else outline
    return Bands(cut or part.outline, sides, length, "" if cut else "its band does not end at the edges beside it")


def _words(side: str) -> str:
    return {"top": "up", "bottom": "down"}.get(side, f"to the {side}")


def _looks(item: Segment, way: complex) -> bool:
    """Whether all of a segment of a counter-clockwise outline looks that way."""
    turns = [(-1j * item.tangent(at_end) / way) for at_end in (False, True)]
    return all(abs(math.atan2(turn.imag, turn.real)) < HALF_RAD for turn in turns) and abs(item.sweep_rad) < math.pi


def _cut(outline: Contour, chosen: list[bool], band_m: float) -> Contour | None:
    """Chosen segments moved in by the band and joined to the others; None where one does not meet its neighbour."""
    rows = [
        (item.beside(-band_m) if banded else item, banded)
        for item, banded in zip(outline.segments, chosen, strict=True)
    ]
    moved = [(item, banded) for item, banded in rows if item is not None]
    made: list[Segment | None] = [None]
    while None in made and len(moved) > 2:
        corners = [_met(moved[k - 1], moved[k], band_m) for k in range(len(moved))]
        made = [
            _between(item, at, after)
            for (item, _), at, after in zip(moved, corners, (*corners[1:], corners[0]), strict=True)
        ]
        if None in made:  # a rounding smaller than the band goes with it
            k = made.index(None)
            gone = [j % len(moved) for j in (k, k + 1, k - 1) if _rounding(moved[j % len(moved)])]
            if not gone:
                return None
            del moved[gone[0]]
    if None in made:
        return None
    cut = Contour(tuple(item for item in made if item is not None))
    try:
        cut.check()
    except OutlineFault:
        return None
    return cut


def _rounding(one: tuple[Segment, bool]) -> bool:
    """Whether it is an arc without a band."""
    item, banded = one
    return not banded and not item.is_line


def _met(one: tuple[Segment, bool], other: tuple[Segment, bool], band_m: float) -> complex | None:
    """Where two neighbours meet once they are moved: on what stays, or as near to its end as can be."""
    (before, a), (after, b) = one, other
    if abs(before.end - after.start) < 1e-9:
        return after.start
    reach = LONGER * band_m + math.sqrt(2.0 * band_m * min(before.radius_m, after.radius_m, 1.0))
    met = crossings(_longer(before, reach), _longer(after, reach))

    def beyond(point: complex) -> float:
        far = []
        for item, banded in ((before, a), (after, b)):
            share = item.share_of(point)
            far.append(max(0.0, -share, share - 1.0) * item.length_m * (1e-3 if banded else 1.0))
        return sum(far)

    return min(met, key=beyond, default=None)


def _longer(item: Segment, reach_m: float) -> Segment:
    share = reach_m / max(item.length_m, 1e-9)
    if not item.is_line:
        share = min(share, 0.45 * (2.0 * math.pi / abs(item.sweep_rad) - 1.0))
    return item.part(-share, 1.0 + share)


def _between(item: Segment, start: complex | None, end: complex | None) -> Segment | None:
    """The piece of a segment's line or circle between two points on it; None where they are the wrong way round."""
    if start is None or end is None:
        return None
    low, high = item.share_of(start), item.share_of(end)
    if high - low < 1e-6:
        return None
    return Segment(start, end, math.tan(item.sweep_rad * (high - low) / 4.0))


def _rectangle(part: Part, sides: tuple[str, ...]) -> Contour:
    """Whole corners move, rounded or not; the sides between them grow shorter."""
    left, right, top, bottom = (part.banding_m * (side in sides) for side in ("left", "right", "top", "bottom"))
    x0, y0, x1, y1 = part.outline.bounds
    middle = complex(x0 + x1, y0 + y1) / 2.0

    def moved_in(at: complex) -> complex:
        x = left if at.real < middle.real else -right
        return at + complex(x, bottom if at.imag < middle.imag else -top)

    return Contour(
        tuple(Segment(moved_in(item.start), moved_in(item.end), item.bulge) for item in part.outline.segments)
    )
