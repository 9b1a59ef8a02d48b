"""Left and right together: delays, level differences, how far a centred voice leans, and how high it stands.

Lean after delay alone by the tangent law of stereophony (Bernfeld 1973; its pan form is in use everywhere):
``tan(lean) / tan(half) = (gL - gR) / (gL + gR)`` with ``half`` half the angle between the two. Approximate in a car: close
range, reflections, and different directions for each ear are not in it. Without delay the lead of the nearer one counts
too, traded against level up to 1 ms and winning beyond (Blauert 1997); that is rougher still. The height is the mean of
the directions that direct sound comes from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.layout.heard import SPEECH
from cabinwright.stages.layout.result import Heard, Pair, PairHeard, PlaceResult
from cabinwright.stages.layout.room import front_row

__all__ = ["find_pairs"]

SINGLE = ("subwoofer", "centre")  #: roles that play for both sides at once
APART_M = 0.5  #: two places that differ by more than this along or up the car are no pair
SUMMING_S = 0.001  #: a lead longer than this takes the image all the way (Blauert 1997, chapter 3.1)
TRADING_DB_S = 10_000.0  #: level that makes up for a lead: 10 dB/ms, from memory; published figures spread from 4 to 16


def find_pairs(build: Build, places: Mapping[str, PlaceResult], speed_m_s: float) -> tuple[Pair, ...]:
    """Every left place with the right place of its role that mirrors it best, each used once."""
    pairs = []
    for role in dict.fromkeys(item.role for item in places.values() if item.role not in SINGLE):
        left = [item for item in places.values() if item.role == role and item.side == "left"]
        right = [item for item in places.values() if item.role == role and item.side == "right"]
        for one, other in _matched(left, right):
            seats = {name: _together(one.seats[name], other.seats[name], speed_m_s) for name in one.seats}
            pairs.append(Pair(role, one.name, other.name, seats, _compromise(build, seats)))
    return tuple(pairs)


def _matched(left: list[PlaceResult], right: list[PlaceResult]) -> Iterable[tuple[PlaceResult, PlaceResult]]:
    """Nearest mirror images first. The mirror stands midway between all of the left and all of the right places."""
    if not left or not right:
        return
    middle = 0.5 * sum(float(np.median([item.position_m[1] for item in side])) for side in (left, right))
    apart = []
    for i, a in enumerate(left):
        for j, b in enumerate(right):
            along, across, up = np.subtract(a.position_m, b.position_m)
            across = a.position_m[1] + b.position_m[1] - 2.0 * middle
            if np.hypot(along, up) <= APART_M:
                apart.append((float(np.linalg.norm([along, across, up])), i, j))
    used: tuple[set[int], set[int]] = (set(), set())
    for _, i, j in sorted(apart):
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
        lean_undelayed=_traded(level, gap / speed_m_s),
        elevation_deg=0.5 * (left.elevation_deg + right.elevation_deg),
    )


def _traded(level_db: float, late_s: float) -> float:
    """Where a centred voice stands without any delay: what the left one is late by counts as level of the right one."""
    if abs(late_s) >= SUMMING_S:
        return float(np.sign(late_s))
    louder = 10.0 ** ((level_db - TRADING_DB_S * late_s) / 20.0)
    return float((1.0 - louder) / (1.0 + louder))


def _compromise(build: Build, seats: Mapping[str, PairHeard]) -> float | None:
    """Half of what the two outer front seats' delays differ by: the error each hears if it is split between them."""
    front = [seats[name] for name in (seat.name for seat in front_row(build.seats))]
    if len(front) < 2:
        return None
    late = [item.delay_s if item.delay_on == "right" else -item.delay_s for item in front]
    return 0.5 * (max(late) - min(late))
