"""The ways that wires are laid: held against the lengths that are stated, and against what must stay free."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import AIRBAGS, KeepOut
from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint
from cabinwright.findings import Finding, finding
from cabinwright.physics.convex import clearance_m

__all__ = ["routes"]

AIRBAG_M = 0.01  #: no nearer to an airbag's way, whatever the wire is as thick as; common practice
ROUNDED_M = 0.001


def routes(build: Build) -> Iterator[Finding]:
    """Wires shorter than their way, or in the way of something. A volume whose corners no survey gives is not looked at."""
    volumes = build.cabin.keep_outs if build.cabin and any(wire.route_m for wire in build.wires) else ()
    for wire in build.wires:
        if not wire.route_m:
            continue
        way = np.asarray(wire.route_m, dtype=np.float64)
        along_m = float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())
        if along_m > wire.length_m + ROUNDED_M:
            length, limit = round(wire.length_m, 2), round(along_m, 2)
            yield finding("power.wire_short", where=wire.name, value=length, limit=limit, unit="m")
        for volume in volumes:
            if any(isinstance(corner, NamedPoint) for corner in volume.corners_m):
                continue
            gap_m = _gap_m(way, volume)
            if volume.kind in AIRBAGS and gap_m < AIRBAG_M:
                gap = round(1e3 * max(gap_m, 0.0))
                name, kind = volume.name, volume.kind
                yield finding("power.wire_airbag", where=wire.name, value=gap, unit="mm", keep_out=name, kind=kind)
            elif gap_m < 0.0:
                yield finding("power.wire_in_the_way", where=wire.name, keep_out=volume.name, kind=volume.kind)


def _gap_m(way: NDArray[np.float64], volume: KeepOut) -> float:
    corners = np.asarray(volume.corners_m, dtype=np.float64)
    return min(clearance_m(way[number : number + 2], corners) for number in range(len(way) - 1))
