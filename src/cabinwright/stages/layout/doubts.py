"""What is odd about places, heads and aims themselves: outside the cabin, inside a surface, out of sight, facing away."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.physics.cavity import Shell
from cabinwright.physics.cavity.triangles import ear_clip, nearest
from cabinwright.physics.facets import Facet
from cabinwright.physics.image_sources import FLUSH_M
from cabinwright.stages.layout.pose import aim_of, normal_of
from cabinwright.stages.layout.result import Pair, PlaceResult
from cabinwright.stages.layout.room import MANY, Room, front_row
from cabinwright.stages.memory import Keeper, afresh

__all__ = ["doubts"]

Real = NDArray[np.float64]
OUTSIDE_M = 0.01  #: a place this far outside the shell is no slip of the tape
HEAD_M = 0.075  #: half the breadth of a head: no surface comes nearer to its centre
OPEN_M = 0.3  #: and this far outside what surfaces of an open cabin reach
FAR_M = 5.0  #: farther from every head than any place in a car
BEFORE_M = 0.005  #: in front of a flush place, along its aim, there is air this near
BAFFLE_M = 0.03  #: nearer than this to a surface a speaker is hardly meant to stand free before it
SLACK_DEG = 0.5
LOW = ("subwoofer", "woofer")  #: roles that need neither sight nor aim


def doubts(
    build: Build,
    room: Room,
    shell: Shell | None,
    places: Mapping[str, PlaceResult],
    pairs: Sequence[Pair],
    *,
    seat: str,
    keep: Keeper = afresh,
) -> Iterator[Finding]:
    """Findings about a located build's places and heads; ``seat`` is the one that decides."""
    yield from keep("layout: doubts about heads", lambda _, *given: tuple(_heads(*given)), build, room, shell)
    yield from _enclosed(build, places)
    for place in build.places:
        if place.name in places:
            given = (place, room, shell, places[place.name], seat)
            yield from keep(("layout: doubts", place.name), _about, build, *given)
    yield from _partners(places, pairs)
    yield from _assumed(build)


def _about(
    build: Build, place: Place, room: Room, shell: Shell | None, result: PlaceResult, seat: str
) -> tuple[Finding, ...]:
    found = (_where(room, shell, result), _near(room, result), _sight(result, seat), _aim(build, shell, room, place))
    return tuple(item for items in found for item in items)


def _outside_m(room: Room, shell: Shell | None, point: Real) -> float:
    """How far a point lies outside the shell; where surfaces close nothing, outside the box around many of them."""
    if shell is not None:
        return 0.0 if shell.inside(point[None])[0] else float(shell.nearest(point[None]).distance_m[0])
    if len(room.facets) < MANY:
        return 0.0
    corners = np.concatenate([facet.corners_m for facet in room.facets])
    beyond = np.maximum(np.maximum(corners.min(axis=0) - point, point - corners.max(axis=0)), 0.0)
    away = float(np.linalg.norm(beyond))
    return away if away > OPEN_M else 0.0


def _heads(room: Room, shell: Shell | None) -> Iterator[Finding]:
    for seat, head in zip(room.seats, room.heads_m, strict=True):
        if _outside_m(room, shell, head) > 0.0:
            yield finding("layout.head_outside", where=seat.name)
        away = [_away_m(facet, head) for facet in room.facets]
        if away and min(away) < HEAD_M:
            yield finding(
                "layout.head_in_surface",
                where=seat.name,
                value=round(100.0 * min(away), 1),
                limit=100.0 * HEAD_M,
                unit="cm",
                surface=room.names[int(np.argmin(away))],
            )


def _enclosed(build: Build, places: Mapping[str, PlaceResult]) -> Iterator[Finding]:
    """Front seats that no place can be seen from."""
    for seat in front_row(build.seats):
        hidden = [item.seats[seat.name].occluded for item in places.values() if item.role not in LOW]
        if len(hidden) > 1 and all(hidden):
            yield finding("layout.head_enclosed", where=seat.name, value=len(hidden))


def _away_m(facet: Facet, point: Real) -> float:
    corners = facet.corners_m
    return float(nearest(point[None], corners[ear_clip(corners)]).distance_m[0])


def _where(room: Room, shell: Shell | None, place: PlaceResult) -> Iterator[Finding]:
    at = np.asarray(place.position_m)
    outside = _outside_m(room, shell, at)
    if outside > OUTSIDE_M:
        yield finding("layout.place_outside", where=place.name, value=round(100.0 * outside), unit="cm")
    seat, near = min(((name, heard.distance_m) for name, heard in place.seats.items()), key=lambda item: item[1])
    if near < HEAD_M:
        yield finding("layout.place_in_head", where=place.name, value=round(100.0 * near, 1), unit="cm", seat=seat)
    if near > FAR_M:
        yield finding("layout.place_far", where=place.name, value=round(near, 1), limit=FAR_M, unit="m")


def _near(room: Room, place: PlaceResult) -> Iterator[Finding]:
    """A place just before a surface reflects off it; one that is meant to be in it would not."""
    at = np.asarray(place.position_m)
    if place.role == "subwoofer" or any(facet.holds(at[None], within_m=FLUSH_M)[0] for facet in room.facets):
        return
    away = [_away_m(facet, at) for facet in room.facets]
    if away and min(away) < BAFFLE_M:
        yield finding(
            "layout.near_surface",
            where=place.name,
            value=round(1000.0 * min(away)),
            limit=round(1000.0 * FLUSH_M),
            unit="mm",
            surface=room.names[int(np.argmin(away))],
        )


def _sight(place: PlaceResult, seat: str) -> Iterator[Finding]:
    heard = place.seats[seat]
    if place.role in LOW:
        return
    if heard.occluded and place.role != "rear fill":
        yield finding("layout.place_hidden", where=place.name, seat=seat)
    if heard.off_axis_deg > 90.0:
        angle = round(heard.off_axis_deg)
        yield finding("layout.faces_away", where=place.name, value=angle, limit=90, unit="°", seat=seat)


def _aim(build: Build, shell: Shell | None, room: Room, place: Place) -> Iterator[Finding]:
    name = place.name
    aim, normal = aim_of(build, place), normal_of(build, place)
    turn = float(np.degrees(np.arccos(np.clip(aim @ normal, -1.0, 1.0))))
    if place.aim_limit_deg is not None and turn > place.aim_limit_deg + SLACK_DEG:
        yield finding("layout.aim_beyond", where=name, value=round(turn), limit=round(place.aim_limit_deg), unit="°")
    at = np.asarray(place.position_m, dtype=np.float64)
    own = [k for k, facet in enumerate(room.facets) if facet.holds(at[None], within_m=FLUSH_M)[0]]
    if shell is not None and own and not shell.inside((at + BEFORE_M * aim)[None])[0]:
        yield finding("layout.aim_into_surface", where=name, surface=room.names[own[0]])
    elif turn > 90.0 + SLACK_DEG:
        yield finding("layout.aim_into_panel", where=name, value=round(turn), limit=90, unit="°")


def _partners(places: Mapping[str, PlaceResult], pairs: Sequence[Pair]) -> Iterator[Finding]:
    paired = {(pair.role, name) for pair in pairs for name in (pair.left, pair.right)}
    roles = {pair.role for pair in pairs}
    for name, place in places.items():
        if place.role in roles and place.side != "centre" and (place.role, name) not in paired:
            other = "left" if place.side == "right" else "right"
            yield finding("layout.no_partner", where=name, other=other, role=place.role)


def _assumed(build: Build) -> Iterator[Finding]:
    """What the build does not say and practice fills in: one note for all places."""
    no_radius = [item.name for item in build.places if item.radius_m is None]
    if no_radius:
        yield finding("layout.radius_assumed", where=", ".join(no_radius))
    no_aim = [item.name for item in build.places if item.aim is None and item.role not in LOW]
    if no_aim:
        yield finding("layout.aim_assumed", where=", ".join(no_aim))
