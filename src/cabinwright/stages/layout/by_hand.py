"""What a hand does to a place: drops it somewhere, aims it through a point, steps it along an axis, turns it.

All of it is rounded as it is written into a build: positions to the millimetre, aims to a hundredth of a degree.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, dist, radians, sin

__all__ = ["AXES", "aim_through", "dropped", "stepped", "tip_of", "turned"]

AXES = ("forward or rearward", "left or right", "up or down")
DIGITS_M, DIGITS = 3, 4
LEAST_M = 0.01  #: a point nearer to the place than this tells no direction
Point = Sequence[float]


def dropped(before_m: Point, after_m: Point, *, fixed: int | None) -> list[float]:
    """Where a place was dropped; along the axis ``fixed`` it stays where it was (seen along it, a hand cannot move it)."""
    return [
        round(float(was if axis == fixed else now), DIGITS_M) + 0.0
        for axis, (was, now) in enumerate(zip(before_m, after_m, strict=True))
    ]


def stepped(before_m: Point, *, axis: int, step_m: float) -> list[float]:
    """A step along one axis."""
    return [round(float(at) + (step_m if k == axis else 0.0), DIGITS_M) + 0.0 for k, at in enumerate(before_m)]


def aim_through(position_m: Point, point_m: Point, *, aim: Point, fixed: int | None) -> list[float]:
    """Direction from the place to a point, of length 1; the part along ``fixed`` stays as it was. Too near: as it was."""
    away = dist(position_m, point_m)
    way = [(b - a) / max(away, LEAST_M) for a, b in zip(position_m, point_m, strict=True)]
    if fixed is not None:
        kept = float(aim[fixed])
        rest = [0.0 if axis == fixed else part for axis, part in enumerate(way)]
        length = dist(rest, (0.0, 0.0, 0.0))
        if length < LEAST_M:
            return _rounded(aim)
        share = max(1.0 - kept**2, 0.0) ** 0.5 / length
        way = [kept if axis == fixed else share * part for axis, part in enumerate(rest)]
    return _rounded(aim) if away < LEAST_M or not any(way) else _rounded(way)


def turned(aim: Point, *, sideways_deg: float = 0.0, up_deg: float = 0.0) -> list[float]:
    """Turned about the upright axis (positive to the car's right, seen from the driver's seat) and then up."""
    x, y, z = (float(part) for part in aim)
    angle = radians(sideways_deg)
    x, y = x * cos(angle) - y * sin(angle), x * sin(angle) + y * cos(angle)
    flat = (x * x + y * y) ** 0.5
    if up_deg and flat > 1e-6:
        angle = radians(up_deg)
        new_flat, new_z = flat * cos(angle) - z * sin(angle), flat * sin(angle) + z * cos(angle)
        if new_flat > 0.0:  # not past the zenith
            x, y, z = x * new_flat / flat, y * new_flat / flat, new_z
    return _rounded((x, y, z))


def tip_of(position_m: Point, aim: Point, *, length_m: float) -> list[float]:
    """End of the line that shows an aim."""
    return [float(a + length_m * b) for a, b in zip(position_m, aim, strict=True)]


def _rounded(way: Point) -> list[float]:
    return [round(float(part), DIGITS) + 0.0 for part in way]
