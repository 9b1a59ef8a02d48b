"""The cabin in 3D: edges of surfaces, heads, what must stay free, places with their aim, and the paths of sound of one."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from itertools import pairwise
from typing import Any

from nicegui import events, ui

from cabinwright.build.document import Build
from cabinwright.stages.layout.result import LayoutResult, PlaceResult

__all__ = ["cabin_scene"]

SURFACE, GLASS, FREE, PLACE, CHOSEN, RAY, HEAD = (
    "#68747d",
    "#2f7f9f",
    "#9c1c1c",
    "#0a5f73",
    "#d05a00",
    "#a84a08",
    "#1f2a33",
)
AIM_M = 0.2  #: length of the line that shows where a place aims
SHOWN = 6  #: reflections drawn, the strongest first


def cabin_scene(
    build: Build,
    result: LayoutResult,
    chosen: PlaceResult,
    *,
    choose: Callable[[str], Awaitable[None]],
    dropped: Callable[[events.SceneDragEventArguments], Awaitable[None]],
) -> None:
    """The scene of a located build. Dragging an object named as a place calls ``dropped``; a tap on one ``choose``."""

    async def tapped(event: events.SceneClickEventArguments) -> None:
        name = next((hit.object_name for hit in event.hits if hit.object_name in result.places), None)
        if name is not None and name != chosen.name:
            await choose(name)

    scene = ui.scene(grid=False, background_color="#f4f6f7", on_click=tapped, on_drag_end=dropped).classes("scene")
    scene.props["aria-label"] = (
        "The cabin in 3D; every place can be chosen and moved with the buttons and fields as well."
    )
    scene.props["role"] = "img"
    with scene:
        for surface in build.cabin.surfaces if build.cabin else ():
            _loop(scene, _points(surface.corners_m), GLASS if surface.material == "glass" else SURFACE)
        for seat in build.seats:
            x, y, z = _points([seat.head_m])[0]
            scene.sphere(0.1).move(x, y, z).material(HEAD, 0.7)
        for name, place in result.places.items():
            mine = name == chosen.name
            scene.sphere(max(place.radius_m, 0.03)).move(*place.position_m).material(
                CHOSEN if mine else PLACE, 0.95
            ).with_name(name).draggable()
            start = [*place.position_m]
            scene.line(start, [a + AIM_M * b for a, b in zip(start, place.aim, strict=True)]).material(
                CHOSEN if mine else PLACE
            )
        _paths(scene, build, result, chosen)
    scene.move_camera(x=-0.5, y=-2.0, z=1.9, look_at_x=1.15, look_at_y=0.1, look_at_z=0.35, duration=0)


def _paths(scene: ui.scene, build: Build, result: LayoutResult, chosen: PlaceResult) -> None:
    """Direct sound and the strongest first reflections of the chosen place."""
    seat = next(seat for seat in build.seats if seat.name == result.listening_seat)
    head = _points([seat.head_m])[0]
    heard = chosen.seats[result.listening_seat]
    if not heard.occluded:
        scene.line([*chosen.position_m], [*head]).material(PLACE)
    firsts = sorted((item for item in heard.reflections if item.order == 1), key=lambda item: -item.level_db)
    for item in firsts[:SHOWN]:
        _line(scene, [[*chosen.position_m], *([*point] for point in item.points_m), [*head]], RAY)


def _points(spots: Sequence[Any]) -> list[list[float]]:
    return [[float(part) for part in spot] for spot in spots]


def _line(scene: ui.scene, points: Sequence[list[float]], colour: str) -> None:
    for start, end in pairwise(points):
        scene.line(start, end).material(colour)


def _loop(scene: ui.scene, corners: list[list[float]], colour: str) -> None:
    _line(scene, [*corners, corners[0]], colour)
