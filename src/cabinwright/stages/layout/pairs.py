"""Left and right together: delays, level differences, how far a centred voice leans, and how high it stands.

Lean after delay alone by the tangent law of stereophony (Bernfeld 1973; its pan form is in use everywhere):
``tan(lean) / tan(half) = (gL - gR) / (gL + gR)`` with ``half`` half the angle between the two. Approximate in a car: close
range, reflections, and different directions for each ear are not in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.layout.heard import SPEECH
from cabinwright.stages.layout.result import Heard, Pair, PairHeard, PlaceResult

__all__ = ["find_pairs", "front_seats"]

FRONT_M = 0.5  #: seats no further behind the foremost than this are front seats


def find_pairs(build: Build, places: Mapping[str, PlaceResult], speed_m_s: float) -> tuple[Pair, ...]:
    """Every left place with the right place of its role that mirrors it best, each used once."""
    pairs = []
    for role in dict.fromkeys(item.role for item in places.values()):
        left = [item for item in places.values() if item.role == role and item.side == "left"]
        right = [item for item in places.values() if item.role == role and item.side == "right"]
        for one, other in _matched(left, right):
            seats = {name: _together(one.seats[name], other.seats[name], speed_m_s) for name in one.seats}
            pairs.append(Pair(role, one.name, other.name, seats, _compromise(build, seats)))
    return tuple(pairs)


def front_seats(build: Build) -> list[str]:
    """Seats in the first row."""
    foremost = min(seat.head_m[0] for seat in build.seats)
    return [seat.name for seat in build.seats if seat.head_m[0] < foremost + FRONT_M]


def _matched(left: list[PlaceResult], right: list[PlaceResult]) -> Iterable[tuple[PlaceResult, PlaceResult]]:
    mirror = np.array([1.0, -1.0, 1.0])
    apart = sorted(
        (float(np.linalg.norm(np.asarray(a.position_m) * mirror - np.asarray(b.position_m))), i, j)
        for i, a in enumerate(left)
        for j, b in enumerate(right)
    )
    used: tuple[set[int], set[int]] = (set(), set())
    for _, i, j in apart:
        if i not in used[0] and j not in used[1]:
            used[0].add(i)
            used[1].add(j)
            yield left[i], right[j]


def _together(left: Heard, right: Heard, speed_m_s: float) -> PairHeard:
    gap = left.distance_m - right.distance_m
    nearer = 20.0 * np.log10(right.distance_m / left.distance_m)
    bands = np.asarray(left.direct_bands_db) - np.asarray(right.direct_bands_db) + nearer
    level = float(bands[SPEECH].mean())
    louder = 10.0 ** (level / 20.0)
    part = (1.0 - louder) / (1.0 + louder)  # positive to the right
    half = 0.5 * np.radians(np.clip(abs(left.azimuth_deg - right.azimuth_deg), 1.0, 170.0))
    return PairHeard(
        path_difference_m=gap,
        delay_s=abs(gap) / speed_m_s,
        delay_on="right" if gap > 0.0 else "left",
        bands_db=tuple(float(v) for v in bands),
        level_difference_db=level,
        lean=float(part),
        lean_deg=float(np.degrees(np.arctan(part * np.tan(half)))),
        elevation_deg=0.5 * (left.elevation_deg + right.elevation_deg),
    )


def _compromise(build: Build, seats: Mapping[str, PairHeard]) -> float | None:
    """Half of what the two outer front seats' delays differ by: the error each hears if it is split between them."""
    front = [seats[name] for name in front_seats(build)]
    if len(front) < 2:
        return None
    late = [item.delay_s if item.delay_on == "right" else -item.delay_s for item in front]
    return 0.5 * (max(late) - min(late))
