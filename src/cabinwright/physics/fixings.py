"""What each bolt of a group carries when what it holds is thrown about, and what a bolt through thin steel stands.

A rigid body stands on a plane and is thrown by a steady force through its centre of gravity. Along the plane, all bolts take an
even share in shear, and the body tips over its far edge: the tension of each bolt grows with its distance from that edge. Away
from the plane, all take an even share in tension. Friction and the body's own weight are not relied on.

What a bolt stands: EN 1993-1-8:2005, table 3.4, with γ_M2 = 1.25 (shear, tension, both together, punching of the sheet);
bearing of thin sheet by EN 1993-1-3:2006, table 8.4, for edges three diameters away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, pi, sqrt

__all__ = ["Bolt", "Pull", "across_of", "pulls", "two_rows", "used"]

GAMMA_M2 = 1.25
THIN_M = (0.00075, 0.00125)  #: sheets between these bear less, EN 1993-1-3
Spots = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Bolt:
    """A bolt with its nut and washer through a sheet of steel."""

    diameter_m: float
    stress_area_m2: float
    tensile_pa: float
    shear_share: float  #: α_v
    sheet_m: float
    sheet_pa: float
    washer_m: float

    @property
    def shear_n(self) -> float:
        """Of the bolt: α_v f_ub A_s/γ_M2, the thread in the shear plane."""
        return self.shear_share * self.tensile_pa * self.stress_area_m2 / GAMMA_M2

    @property
    def tension_n(self) -> float:
        """Of the bolt: 0.9 f_ub A_s/γ_M2."""
        return 0.9 * self.tensile_pa * self.stress_area_m2 / GAMMA_M2

    @property
    def bearing_n(self) -> float:
        """Of the sheet: 2.5 k_t f_u d t/γ_M2; k_t = (0.8 t/mm + 1.5)/2.5 up to 1.25 mm, then 1."""
        low, high = THIN_M
        thin = 1.0 if self.sheet_m > high else (800.0 * max(self.sheet_m, low) + 1.5) / 2.5
        return 2.5 * thin * self.sheet_pa * self.diameter_m * self.sheet_m / GAMMA_M2

    @property
    def punching_n(self) -> float:
        """Of the sheet: 0.6 π d_m t f_u/γ_M2 under the washer."""
        return 0.6 * pi * self.washer_m * self.sheet_m * self.sheet_pa / GAMMA_M2


@dataclass(frozen=True)
class Pull:
    """What the worst bolt of a group carries [N]."""

    shear_n: float
    tension_n: float


def used(bolt: Bolt, pull: Pull) -> tuple[float, str]:
    """The share of what is stood that is used, and which of the checks it is."""
    shear, tension = pull.shear_n, pull.tension_n
    shares = {
        "shear and tension of the bolt": shear / bolt.shear_n + tension / (1.4 * bolt.tension_n),
        "tension of the bolt": tension / bolt.tension_n,
        "bearing of the sheet": shear / bolt.bearing_n,
        "washer through the sheet": tension / bolt.punching_n,
    }
    worst = max(shares, key=lambda key: shares[key])
    return shares[worst], worst


def pulls(
    spots: Spots, *, body_m: tuple[float, float], height_m: float, force_n: tuple[float, float, float]
) -> list[Pull]:
    """Shear and tension of each bolt.

    Args:
        spots: places of the bolts on the plane, from the middle of the body.
        body_m: length and width of the body on that plane, about the same middle.
        height_m: of the centre of gravity over the plane.
        force_n: along the length, along the width, and away from the plane.
    """
    along, across, out = force_n
    count = len(spots)
    shear = hypot(along, across) / count
    tension = [max(out, 0.0) / count] * count
    for axis, push in ((0, along), (1, across)):
        if push:
            side = 1.0 if push > 0.0 else -1.0
            edge = max(body_m[axis] / 2.0, *(side * spot[axis] for spot in spots))
            arms = [edge - side * spot[axis] for spot in spots]
            total = sum(arm**2 for arm in arms)
            moment = abs(push) * height_m
            tension = [
                own + (moment * arm / total if total > 1e-12 else inf) for own, arm in zip(tension, arms, strict=True)
            ]
    return [Pull(shear, own) for own in tension]


def two_rows(count: int, length_m: float, width_m: float) -> list[tuple[float, float]]:
    """An even count in two rows along the longer side of a rectangle about (0, 0), from corner to corner."""
    turned = width_m > length_m
    long, short = (width_m, length_m) if turned else (length_m, width_m)
    each = count // 2
    steps = [0.0] if each == 1 else [long * (k / (each - 1) - 0.5) for k in range(each)]
    rows = [(x, side * short / 2.0) for side in (-1.0, 1.0) for x in steps]
    return [(y, x) for x, y in rows] if turned else rows


def across_of(normal: tuple[float, float, float]) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Unit vectors along, across and away from a plane: along lies as near to the car's length as it can."""
    size = sqrt(sum(part**2 for part in normal))
    n = [part / size for part in normal]
    start = (1.0, 0.0, 0.0) if abs(n[0]) < 0.9 else (0.0, 1.0, 0.0)
    dot = sum(a * b for a, b in zip(start, n, strict=True))
    u = [a - dot * b for a, b in zip(start, n, strict=True)]
    size = sqrt(sum(part**2 for part in u))
    u = [part / size for part in u]
    v = (n[1] * u[2] - n[2] * u[1], n[2] * u[0] - n[0] * u[2], n[0] * u[1] - n[1] * u[0])
    return tuple(u), v, tuple(n)
