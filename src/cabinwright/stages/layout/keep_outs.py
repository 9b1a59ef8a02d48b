"""Places held against the volumes that must stay free: airbags and their paths, pedals, knees, windows, seats.

The speaker is taken as its cone's disc, the room behind it (``depth_m``, opposite the panel's normal) and, where it
widens a pillar, the ball of its pod. Whatever stands in an airbag's way, or might by the mounting error, is a stop that
cannot be waived: parts there are thrown at people. A distance cannot tell how an airbag unfolds; the car maker can.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import AIRBAGS, KeepOut, Place
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.physics.convex import clearance_m, disc, is_flat
from cabinwright.stages.layout.pose import aim_of, normal_of, radius_of

__all__ = ["Clearance", "clearances", "keep_out_findings", "pod_radius_of"]

Real = NDArray[np.float64]
POD_WALL_M = 0.015  #: a pod is wider than its cone by this much, as the build's reference says
SURE = 3.0  #: standard deviations of mounting that an airbag's way is kept free of
NEAR_M = 0.05  #: closer than this to an airbag's way is worth a look at the maker's data; common practice


@dataclass(frozen=True, slots=True)
class Clearance:
    """One place against one volume."""

    place: str
    keep_out: str
    kind: str
    gap_m: float  #: free space between; negative: how far the speaker stands inside
    sigma_m: float  #: how exactly the place will be mounted, one standard deviation


def pod_radius_of(place: Place) -> float | None:
    """Radius of the pod around the cone [m]; ``None`` for a place without one."""
    if place.pod_radius_m is not None:
        return place.pod_radius_m
    return radius_of(place) + POD_WALL_M if place.pillar is not None else None


def clearances(build: Build, places: Iterable[Place] | None = None) -> tuple[Clearance, ...]:
    """Every place (of ``build``, unless given) against every volume of ``build``, surveyed names already located."""
    volumes = build.cabin.keep_outs if build.cabin else ()
    found = []
    for place in (build.places if places is None else places) if volumes else ():
        at = np.asarray(place.position_m, dtype=np.float64)
        body = _body(build, place, at)  # once for all volumes
        found += [
            Clearance(place.name, volume.name, volume.kind, _gap_m(place, at, body, volume), place.position_sigma_m)
            for volume in volumes
        ]
    return tuple(found)


def keep_out_findings(
    build: Build, places: Iterable[Place] | None = None, *, known: Iterable[Clearance] | None = None
) -> tuple[Finding, ...]:
    """What stands where nothing may: a stop in an airbag's way, a caution elsewhere; flat volumes are named too.

    Unless ``places`` are given, the places of the build and its speakers, which may have got there without being chosen;
    ``known`` are the clearances of the build's places, where they were worked out already.
    """
    found = [_flat(volume) for volume in (build.cabin.keep_outs if build.cabin else ()) if is_flat(_corners(volume))]
    if places is None:
        gaps = (*(clearances(build) if known is None else known), *clearances(build, tuple(_speakers(build))))
    else:
        gaps = clearances(build, places)
    return (*found, *(item for gap in gaps if (item := _judge(gap)) is not None))


def _speakers(build: Build) -> Iterator[Place]:
    """Speakers with a position, as places; those accepted from a place are held against everything as that already."""
    known = {place.name for place in build.places}
    for item in build.speakers:
        if item.position_m is not None and item.name not in known:
            yield Place(name=item.name, role=item.role, side=item.side, position_m=item.position_m, aim=item.aim)


def _corners(volume: KeepOut) -> Real:
    return np.asarray(volume.corners_m, dtype=np.float64)


def _gap_m(place: Place, at: Real, body: Real, volume: KeepOut) -> float:
    corners = _corners(volume)
    gap_m = clearance_m(body, corners)
    pod_m = pod_radius_of(place)
    return gap_m if pod_m is None else min(gap_m, clearance_m(at[None], corners) - pod_m)


def _body(build: Build, place: Place, at: Real) -> Real:
    """Corners of the speaker: the cone's disc across its aim and, with a depth, the cylinder behind the panel."""
    radius_m = radius_of(place)
    cone = disc(centre_m=at, axis=aim_of(build, place), radius_m=radius_m)
    if not place.depth_m:
        return cone
    normal = normal_of(build, place)
    behind = [disc(centre_m=at - depth_m * normal, axis=normal, radius_m=radius_m) for depth_m in (0.0, place.depth_m)]
    return np.vstack([cone, *behind])


def _judge(gap: Clearance) -> Finding | None:
    sure_m = SURE * gap.sigma_m
    if gap.gap_m < 0.0:
        return _found("layout.airbag" if gap.kind in AIRBAGS else "layout.keep_out", gap, 0.0)
    if gap.kind in AIRBAGS and gap.gap_m < sure_m:
        return _found("layout.airbag_margin", gap, sure_m)
    return _found("layout.airbag_near", gap, NEAR_M) if gap.kind in AIRBAGS and gap.gap_m < NEAR_M else None


def _found(code: str, gap: Clearance, limit_m: float) -> Finding:
    return finding(
        code,
        where=f"{gap.place} and {gap.keep_out}",
        value=_mm(abs(gap.gap_m)),
        limit=_mm(limit_m),
        unit="mm",
        place=gap.place,
        keep_out=gap.keep_out,
        kind=gap.kind,
    )


def _flat(volume: KeepOut) -> Finding:
    return finding("layout.keep_out_flat", where=volume.name)


def _mm(length_m: float) -> int:
    return round(1000.0 * length_m)
