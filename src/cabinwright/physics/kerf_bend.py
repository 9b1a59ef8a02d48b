"""Boards bent round an arc over parallel cuts part through them (kerf bending), by plane geometry alone.

Webs between the cuts stay rigid and turn about the middle of the skin that is left, each against the next, until the mouths of
the cuts meet. A cut ``k`` wide whose mouth lies ``h = t - s/2`` off that middle therefore turns 2 atan(k / 2h) at most. The skin
``s`` keeps its length in its middle, at the radius R - s/2 where R is that of the convex face; it bends over the width
of the cut only, so its faces are stretched by s/2 · φ/k, φ being the angle of one cut.

Valid for cuts across the whole board, square to the arc's plane. What wood, glue and water do is found on an off-cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["KerfBend", "kerf_bend"]


@dataclass(frozen=True)
class KerfBend:
    """One arc's cuts."""

    radius_m: float  #: of the convex face
    angle_rad: float
    length_m: float  #: of the arc laid flat
    cuts: int
    pitch_m: float
    kerf_m: float
    depth_m: float
    left_m: float
    least_radius_m: float  #: tightest arc of this angle whose webs stay as wide as asked
    strain: float  #: of the skin's faces at each cut

    @property
    def places_m(self) -> tuple[float, ...]:
        """Middles of the cuts along the arc laid flat, half a pitch from both its ends."""
        return tuple((k + 0.5) * self.pitch_m for k in range(self.cuts))


def kerf_bend(
    *, radius_m: float, angle_rad: float, thickness_m: float, left_m: float, kerf_m: float, web_m: float
) -> KerfBend:
    """The fewest cuts that let a board follow an arc; ``least_radius_m`` says whether they are far enough apart.

    Args:
        radius_m: of the convex face [m].
        angle_rad: by which it turns, above 0 [rad].
        thickness_m: of the board [m].
        left_m: left under a cut, less than the board [m].
        kerf_m: width of a cut [m].
        web_m: least width between two cuts [m].
    """
    arm = thickness_m - left_m / 2.0
    cuts = math.ceil(angle_rad / (2.0 * math.atan(kerf_m / (2.0 * arm))) - 1e-9)
    length = angle_rad * (radius_m - left_m / 2.0)
    return KerfBend(
        radius_m=radius_m,
        angle_rad=angle_rad,
        length_m=length,
        cuts=cuts,
        pitch_m=length / cuts,
        kerf_m=kerf_m,
        depth_m=thickness_m - left_m,
        left_m=left_m,
        least_radius_m=left_m / 2.0 + cuts * (kerf_m + web_m) / angle_rad,
        strain=left_m / 2.0 * angle_rad / (cuts * kerf_m),
    )
