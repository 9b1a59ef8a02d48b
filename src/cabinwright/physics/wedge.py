"""A body round a loudspeaker's axis, flat at the top and cut off aslant by the surface it stands on.

Frame: z along the axis towards the listener, from the point where it meets the surface; the surface is z = x tan θ, so that
the body is thinnest at +x. Outside it runs straight from the rim of its top to where a cylinder of the foot's diameter
meets the surface; a ring is the case in which both are alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.arcs import Segment, arc_through
from cabinwright.physics.outline import Contour
from cabinwright.physics.solid import Bore, Mesh, bored

__all__ = ["Wedge", "ellipse"]

SIDES = 720  #: of a circle in the solid: areas within 1.3e-5
ARCS = 60  #: that an ellipse is drawn with

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Wedge:
    """Diameters in metres, the height on the axis, the angle between axis and the surface's normal."""

    outer_m: float
    foot_m: float
    bore_m: float
    height_m: float
    angle_rad: float

    @property
    def slope(self) -> float:
        """Rise of the surface along x."""
        return math.tan(self.angle_rad)

    @property
    def volume_m3(self) -> float:
        """Exact: whatever the surface takes at +x it gives at -x, so that a frustum less a cylinder is left."""
        top, foot, bore = self.outer_m / 2.0, self.foot_m / 2.0, self.bore_m / 2.0
        return math.pi * self.height_m * ((top**2 + top * foot + foot**2) / 3.0 - bore**2)

    @property
    def least_m(self) -> float:
        """Height over the foot's rim where it is thinnest, along the axis."""
        return self.height_m - self.foot_m / 2.0 * self.slope

    @property
    def greatest_m(self) -> float:
        """The same where it is thickest."""
        return self.height_m + self.foot_m / 2.0 * self.slope

    def edge(self, turn_rad: float) -> tuple[complex, complex]:
        """Outer edge of its section at an angle round the axis, from foot to top, as radius + i height."""
        foot = self.foot_m / 2.0
        return complex(foot, foot * math.cos(turn_rad) * self.slope), complex(self.outer_m / 2.0, self.height_m)

    @cached_property
    def rims(self) -> tuple[Real, Real, Real, Real]:
        """Points (n, 3) round the top outside, the foot outside, the foot at the bore and the top at the bore."""
        turn = 2.0 * np.pi * np.arange(SIDES) / SIDES
        # chords of the same area as the circle, so that volumes come out right
        grown = math.sqrt(2.0 * math.pi / (SIDES * math.sin(2.0 * math.pi / SIDES)))
        top, foot, bore = (grown * size / 2.0 for size in (self.outer_m, self.foot_m, self.bore_m))
        x, y = np.cos(turn), np.sin(turn)
        high = np.full(SIDES, self.height_m)
        return (
            np.column_stack((top * x, top * y, high)),
            np.column_stack((foot * x, foot * y, foot * x * self.slope)),
            np.column_stack((bore * x, bore * y, bore * x * self.slope)),
            np.column_stack((bore * x, bore * y, high)),
        )

    def mesh(self, bores: tuple[Bore, ...] = ()) -> Mesh:
        """As a closed solid, less ``bores``. Raises ``ValueError`` where it does not close."""
        start = np.arange(SIDES)
        after = (start + 1) % SIDES
        faces = []
        for strip in range(4):
            a, b = strip * SIDES, (strip + 1) % 4 * SIDES
            faces += [
                np.column_stack((a + start, b + start, b + after)),
                np.column_stack((a + start, b + after, a + after)),
            ]
        return bored(Mesh(np.concatenate(self.rims), np.concatenate(faces)), bores)


def ellipse(*, across_m: float, up_m: float, centre: complex = 0.0) -> Contour:
    """An ellipse of two diameters as arcs through its points; less than 1 µm off where it is 0.2 m wide."""
    turn = 2.0 * np.pi * np.arange(2 * ARCS + 1) / (2 * ARCS)
    at = [centre + complex(across_m / 2.0 * math.cos(t), up_m / 2.0 * math.sin(t)) for t in turn[:-1]]
    at.append(at[0])
    arcs: list[Segment] = [arc_through(at[k], at[k + 1], at[k + 2]) for k in range(0, 2 * ARCS, 2)]
    return Contour(tuple(arcs))
