"""How rings and pods stand: the aim that `layout` chose against the plane of the surface, and what is in the way.

The loudspeaker is screwed to a plane across its aim. That plane goes through its place, or as far before it as the angle
and the least height need; how far is said, for the sound was judged at the place.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely import Point as At
from shapely import Polygon

from cabinwright.build.cabin import AIRBAGS, Place
from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.mounts import Mount, Pod, Ring
from cabinwright.findings import Finding, finding
from cabinwright.physics.cavity.triangles import newell_normal
from cabinwright.physics.convex import clearance_m
from cabinwright.physics.solid import Bore
from cabinwright.physics.wedge import Wedge
from cabinwright.stages.layout.keep_outs import SURE, clearances
from cabinwright.stages.layout.pose import aim_of, surface_under
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.workshop.mount_result import MountResult

__all__ = ["PILOT_DEEP_M", "PILOT_M", "mounts_of", "outer_of", "screws_of"]

PILOT_M = 0.003  #: drilled for the loudspeaker's screws; common practice for 5 mm wood screws
PILOT_DEEP_M = 0.02  #: how deep the solid has them
FRAME_M = 0.006  #: a ring stands out so far round the loudspeaker's frame
SCREW_M = 0.010  #: and so far round the circle of its screws
RIM_M = 0.015  #: and so far round its hole
NARROW_M = 0.008  #: less material than this round the hole holds no screw; common practice
STEEP_DEG = 55.0  #: beyond this a ring is longer than it is wide: aim it elsewhere
FAR_M = 0.3  #: a place farther than this from its surface belongs to another one
MARGIN_M = 0.003  #: a loudspeaker that ends up farther than this from its place is worth a word

Real = NDArray[np.float64]


def mounts_of(build: Build, placed: LayoutResult | None, found: list[Finding]) -> dict[str, MountResult]:
    """Every ring and pod that can be worked out; what cannot, and why, goes to ``found``.

    ``build`` has coordinates in place of surveyed names.
    """
    made = {}
    for mount in (*build.rings, *build.pods):
        new: list[Finding] = []
        result = _mount(build, placed, mount, new)
        found += new
        if result is not None:
            stops = tuple(dict.fromkeys(item.code for item in new if item.severity == "stop"))
            made[mount.name] = replace(result, stopped=stops)
    return made


def screws_of(model: SpeakerModel) -> tuple[complex, ...]:
    """Where the screws sit on their circle, none at the thickest side, where the angle is marked."""
    if model.mounting_circle_m is None or model.screws is None:
        return ()
    radius, count = model.mounting_circle_m / 2.0, model.screws
    first = 0.0 if count % 2 else 0.5
    return tuple(cmath.rect(radius, 2.0 * math.pi * (k + first) / count) for k in range(count))


def outer_of(model: SpeakerModel) -> float:
    """Diameter of a ring round a loudspeaker unless said."""
    return max(
        (model.outer_diameter_m or 0.0) + 2.0 * FRAME_M,
        0.0 if model.mounting_circle_m is None else model.mounting_circle_m + 2.0 * SCREW_M,
        (model.cut_out_m or 0.0) + 2.0 * RIM_M,
    )


def _mount(build: Build, placed: LayoutResult | None, mount: Mount, new: list[Finding]) -> MountResult | None:
    kind = "pod" if isinstance(mount, Pod) else "ring"
    where = f"{kind} “{mount.name}”"
    place = _place(build, mount)
    at = None if place.position_m is None else np.asarray(place.position_m, dtype=np.float64)
    plane = None if at is None or not np.all(np.isfinite(at)) else _plane(build, mount, place)
    if at is None or plane is None:
        new.append(finding("workshop.mount_surface", where=where))
        return None
    name, foot, normal, corners = plane
    aim = _aim(build, placed, place)
    normal = normal if normal @ aim >= 0.0 else -normal
    angle = math.acos(min(1.0, float(normal @ aim)))
    off = float((at - foot) @ normal)
    if math.degrees(angle) > STEEP_DEG or abs(off) > FAR_M:
        if abs(off) > FAR_M:
            gone, most = round(1e3 * off), round(1e3 * FAR_M)
            new.append(finding("workshop.mount_far", where=where, value=gone, limit=most, unit="mm", surface=name))
        else:
            turned = round(math.degrees(angle), 1)
            new.append(finding("workshop.mount_steep", where=where, value=turned, limit=STEEP_DEG, unit="°"))
        _in_the_way(build, where, place, None, new)
        return None
    model = next(item for item in build.speaker_models if item.name == mount.model)
    far = off / math.cos(angle)
    body = _body(build, mount, model, angle, far, where, new)
    frame = _frame(aim, normal, angle)
    origin = at - far * aim
    screws = screws_of(model)
    result = MountResult(
        kind=kind,
        of=place.name,
        model=model.name,
        surface=name,
        body=body,
        mesh=body.mesh(tuple(_bores(body, screws))),
        origin_m=_triple(origin),
        frame=frame,
        normal=_triple(normal),
        moved_m=body.height_m - far,
        screws=screws,
        pilot_m=PILOT_M,
        pilot_deep_m=PILOT_DEEP_M,
    )
    _judge(build, mount, place, model, result, corners, new)
    return result


def _place(build: Build, mount: Mount) -> Place:
    """The place, or a speaker as a place."""
    if mount.place is not None:
        return next(item for item in build.places if item.name == mount.place)
    item = next(item for item in build.speakers if item.name == mount.speaker)
    nowhere = (math.nan, math.nan, math.nan)
    at = nowhere if item.position_m is None else item.position_m
    bare = Place(name=item.name, role=item.role, side=item.side, position_m=(0.0, 0.0, 0.0), aim=item.aim)
    return bare.model_copy(update={"position_m": at})


def _aim(build: Build, placed: LayoutResult | None, place: Place) -> Real:
    """The best aim that `layout` found within what the panel allows, else as the place or speaker says."""
    known = None if placed is None else placed.places.get(place.name)
    if known is None:
        return aim_of(build, place)
    aim = np.asarray(known.aimed.aim if known.aimed is not None else known.aim, dtype=np.float64)
    return aim / np.linalg.norm(aim)


def _plane(build: Build, mount: Mount, place: Place) -> tuple[str, Real, Real, Real | None] | None:
    """Name, a point, the unit normal and, where they are known, the corners of the surface."""
    if mount.surface_points_m is not None:
        name, corners, bounded = "as surveyed", np.asarray(mount.surface_points_m, dtype=np.float64), False
    else:
        surfaces = build.cabin.surfaces if build.cabin else ()
        named = (item for item in surfaces if item.name == mount.surface)
        under = next(named, None) if mount.surface is not None else surface_under(build, place)
        if under is None:
            return None
        name, corners, bounded = under.name, np.asarray(under.corners_m, dtype=np.float64), True
    normal = newell_normal(corners)
    size = float(np.linalg.norm(normal))
    if not size > 1e-6:  # three points on a line, or a surface that was not located
        return None
    return name, corners.mean(axis=0), normal / size, corners if bounded else None


def _body(
    build: Build, mount: Mount, model: SpeakerModel, angle: float, far: float, where: str, new: list[Finding]
) -> Wedge:
    """As high as the place stands off the surface, or as the angle needs."""
    hole = model.cut_out_m or 0.0
    outer = mount.outer_diameter_m or outer_of(model)
    if outer < hole + 2.0 * NARROW_M:
        limit = round(1e3 * (hole + 2.0 * NARROW_M), 1)
        new.append(finding("workshop.mount_narrow", where=where, value=round(1e3 * outer, 1), limit=limit, unit="mm"))
        outer = hole + 2.0 * NARROW_M
    foot, boards, least = outer, 0.0, 0.006
    if isinstance(mount, Ring):
        least = mount.least_m
    elif isinstance(mount, Pod):
        thick = next(item.thickness_m for item in build.sheets if item.name == mount.sheet)
        foot, boards, least = outer + 2.0 * mount.flare_m, thick + thick / math.cos(angle), mount.least_m
    needed = foot / 2.0 * math.tan(angle) + boards + least
    if mount.height_m is not None and mount.height_m < needed - 1e-9:
        value, limit = round(1e3 * mount.height_m, 1), round(1e3 * needed, 1)
        new.append(finding("workshop.mount_low", where=where, value=value, limit=limit, unit="mm"))
    height = needed if mount.height_m is None else max(mount.height_m, needed)
    return Wedge(outer, foot, hole, height if mount.height_m is not None else max(far, needed), angle)


def _frame(aim: Real, normal: Real, angle: float) -> Real:
    """x to where the body is thinnest, y, and z along the aim, as columns."""
    side = aim * math.cos(angle) - normal
    if np.linalg.norm(side) < 1e-6:  # straight: any side will do, so that the text stands upright
        side = np.cross(aim, (0.0, 0.0, 1.0) if abs(aim[2]) < 0.9 else (0.0, 1.0, 0.0))
    side = side - aim * (side @ aim)
    side = side / np.linalg.norm(side)
    return np.column_stack((side, np.cross(aim, side), aim))


def _bores(body: Wedge, screws: tuple[complex, ...]) -> Iterator[Bore]:
    for at in screws:
        start = (at.real, at.imag, body.height_m - PILOT_DEEP_M)
        yield Bore(start, (0.0, 0.0, 1.0), PILOT_M, PILOT_DEEP_M + 0.001)


def _judge(
    build: Build,
    mount: Mount,
    place: Place,
    model: SpeakerModel,
    result: MountResult,
    corners: Real | None,
    new: list[Finding],
) -> None:
    """What is in its way, whether the surface is large enough, whether it stands where it was judged."""
    where, sigma = f"{result.kind} “{mount.name}”", place.position_sigma_m
    rims = np.concatenate(result.body.rims[:2])[::6]
    _in_the_way(build, where, place, np.asarray(result.origin_m) + rims @ result.frame.T, new)
    if corners is not None:
        over = _overhang_m(result, corners)
        if over > 0.001:
            new.append(
                finding(
                    "workshop.mount_overhang",
                    where=where,
                    value=round(1e3 * over, 1),
                    unit="mm",
                    surface=result.surface,
                )
            )
    if result.moved_m > max(MARGIN_M, sigma):
        at = ", ".join(f"{part:.3f}" for part in result.centre_m)
        new.append(finding("workshop.mount_moved", where=where, value=round(1e3 * result.moved_m, 1), unit="mm", at=at))
    if model.depth_m is not None and place.depth_m is not None:
        need = model.depth_m - result.body.height_m
        if need > place.depth_m:
            value, limit = round(1e3 * need, 1), round(1e3 * place.depth_m, 1)
            new.append(finding("workshop.mount_depth", where=where, value=value, limit=limit, unit="mm"))


def _in_the_way(build: Build, where: str, place: Place, hull: Real | None, new: list[Finding]) -> None:
    """The loudspeaker as a place, and the body round it where it is known, against every volume that must stay free."""
    gaps = {item.keep_out: item.gap_m for item in clearances(build, [place])}
    for volume in build.cabin.keep_outs if build.cabin else ():
        gap = gaps[volume.name]
        if hull is not None:
            gap = min(gap, clearance_m(hull, np.asarray(volume.corners_m, dtype=np.float64)))
        airbag = volume.kind in AIRBAGS
        if gap < (SURE * place.position_sigma_m if airbag else 0.0):
            code = "workshop.mount_airbag" if airbag else "workshop.mount_keep_out"
            new.append(
                finding(code, where=where, value=round(1e3 * gap), unit="mm", keep_out=volume.name, kind=volume.kind)
            )


def _overhang_m(result: MountResult, corners: Real) -> float:
    """How far the foot reaches over the surface's rim."""
    along = -np.asarray(result.thick_way)
    across = result.frame[:, 1]
    flat = (corners - np.asarray(result.origin_m)) @ np.column_stack((along, across))
    rim = result.body.rims[1]
    foot = np.column_stack((rim[:, 0] / math.cos(result.body.angle_rad), rim[:, 1]))
    surface = Polygon(flat).buffer(0.0)
    return float(max(surface.distance(At(point)) for point in foot[::8]))


def _triple(way: Real) -> tuple[float, float, float]:
    x, y, z = (float(part) for part in way)
    return x, y, z
