"""The dashboard as a line across the car, and where a direction meets it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.voice.result import Dashboard

__all__ = ["across", "dashboard"]

LEAST_M = 0.2  #: the line lies at least this far before the heads
USUAL_M = 0.75  #: before the heads, common practice
BESIDE_DEG = 75.0  #: beyond this a direction meets no dashboard


def dashboard(build: Build) -> Dashboard:
    """Where the build says the singer shall stand, or the surface that is called dash, or between the foremost loudspeakers."""
    head = min(float(seat.head_m[0]) for seat in build.seats)
    middle = _middle(build)
    if build.voice.stands_m is not None:
        x, y, _ = (float(part) for part in build.voice.stands_m)
        return Dashboard(min(x, head - LEAST_M), "the build", middle, y)
    surfaces = [item for item in (build.cabin.surfaces if build.cabin else ()) if "dash" in item.name.lower()]
    if surfaces:
        x = max(float(corner[0]) for item in surfaces for corner in item.corners_m)
        return Dashboard(min(x, head - LEAST_M), f"the surface {surfaces[0].name}", middle)
    front = [
        float(item.position_m[0])
        for item in build.speakers
        if item.position_m is not None and item.side in ("left", "right") and float(item.position_m[0]) < head
    ]
    if front:
        return Dashboard(min(*front, head - LEAST_M), "the foremost loudspeaker", middle)
    return Dashboard(head - USUAL_M, "common practice: 75 cm before the head", middle)


def _middle(build: Build) -> float:
    """y of the car's middle: between the foremost left and right loudspeakers of one role, else the axis."""
    by_side = {
        side: {
            item.role: float(item.position_m[1])
            for item in build.speakers
            if item.side == side and item.position_m is not None and item.role != "rear fill"
        }
        for side in ("left", "right")
    }
    both = [0.5 * (by_side["left"][role] + at) for role, at in by_side["right"].items() if role in by_side["left"]]
    return float(np.mean(both)) if both else 0.0


def across(head_m: Sequence[float], line: Dashboard, angle_deg: float) -> float:
    """y [m] at which a direction from the head meets the line; NaN where it does not."""
    if not abs(angle_deg) <= BESIDE_DEG:
        return math.nan
    x, y, _ = (float(part) for part in head_m)
    return y + max(x - line.at_m, LEAST_M) * math.tan(math.radians(angle_deg))
