"""The cabin in 3D. The scene is made once and lives on: what changes is moved in place, so that a drag is never cut off.

A place is a ball that can be dragged, the chosen one's aim a smaller ball at the end of its line. Seen along an axis, a hand
cannot move along it: that part stays as it was, to the millimetre.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

from nicegui import events, ui
from nicegui.elements.scene.scene_object3d import Object3D

from cabinwright.build.document import Build
from cabinwright.drawings.cabin_lines import Lines, box_lines, cabin_lines, camera_m, path_lines
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.layout.by_hand import tip_of
from cabinwright.stages.layout.result import LayoutResult, PlaceResult
from cabinwright.web.parts import box, button
from cabinwright.web.words import _

__all__ = ["AIM", "LOOKS", "CabinScene"]

AIM = "aim of "  #: before a place's name: its handle
AIM_M = 0.25  #: how far from the place the handle stands
PLACE, CHOSEN, HEAD = "#0a5f73", "#c24a00", "#1f2a33"
LEAST_M, HANDLE_M = 0.028, 0.024  #: balls that a finger can hit
DRAG_S = 0.08  #: how often a drag is followed
#: name: colour, opacity and radius of its lines, and the words of its switch; surfaces are always shown
LAYERS: Mapping[str, tuple[str, float, float, str]] = {
    "surfaces": ("#68747d", 1.0, 0.004, ""),
    "glass": ("#2f7f9f", 1.0, 0.004, ""),
    "pillars": ("#68747d", 1.0, 0.003, ""),
    "seats": (HEAD, 0.8, 0.012, _("Seats and heads")),
    "heads": (HEAD, 0.8, 0.002, _("Seats and heads")),
    "aims": (PLACE, 1.0, 0.005, _("Places")),
    "boxes": ("#5b3b8a", 1.0, 0.003, _("Boxes")),
    "wires": ("#8a1c5c", 1.0, 0.006, _("Wires")),
    "direct": (CHOSEN, 1.0, 0.005, _("Paths of sound")),
    "reflections": ("#a8761a", 1.0, 0.0035, _("Paths of sound")),
    "keep free": ("#9c1c1c", 1.0, 0.004, _("Keep free")),
}
#: name: way from the middle of the cabin to the onlooker in halves of its diagonal, and the axis along which nothing moves there
LOOKS: Mapping[str, tuple[tuple[float, float, float], int | None]] = {
    _("From above"): ((0.0, -0.004, 2.35), 2),
    _("From the left"): ((0.0, -2.35, 0.0), 1),
    _("From behind"): ((2.0, 0.0, 0.0), 0),
    _("From the corner"): ((-1.5, -1.7, 1.2), None),
}

Chosen = Callable[[str], Awaitable[None]]
Dropped = Callable[[str, tuple[float, float, float], int | None], Awaitable[None]]
Dragged = Callable[[str, tuple[float, float, float], int | None], Awaitable[list[float] | None]]


class Rods(Object3D, component=Path(__file__).parent / "static" / "rods.js"):
    """Lines thick enough to see, told anew in place."""

    def __init__(self, lines: Lines, radius_m: float) -> None:
        super().__init__(lines, radius_m)

    def set(self, lines: Lines) -> None:
        """Other lines."""
        if lines != self.args[0]:
            self.args[0] = lines
            self.run_method("set", lines)


class CabinScene:
    """One scene on one page. ``show`` is called with every new answer."""

    def __init__(self, *, chosen: Chosen, dropped: Dropped, dragged: Dragged) -> None:
        self._chosen, self._dropped, self._dragged = chosen, dropped, dragged
        self._look, self._held, self._off = next(iter(LOOKS)), "", {_("Keep free")}
        self._balls: dict[str, Any] = {}
        self._build: Build | None = None
        self._result: LayoutResult | None = None
        self._place = ""
        self._scene = ui.scene(
            grid=False,
            background_color="#f4f6f7",
            camera=ui.scene.perspective_camera(fov=45),
            on_click=self._tapped,
            on_drag_start=self._taken,
            on_drag_end=self._let_go,
        ).classes("scene")
        self._scene.props["aria-label"] = _(
            "The cabin in 3D; every place can be chosen, moved and turned with the buttons and fields as well."
        )
        self._scene.props["role"] = "img"
        self._scene.on("drag", self._moves, throttle=DRAG_S)
        self._scene.on("init", js_handler=f"() => cabinwright.calm(getElement({self._scene.id}))")
        with self._scene:
            self._rods = {name: Rods([], row[2]).material(row[0], row[1]) for name, row in LAYERS.items()}
            self._own = Rods([], 0.006).material(CHOSEN)
            self._handle = self._scene.sphere(HANDLE_M).material(CHOSEN, 0.95).draggable()
            self._names: dict[str, Any] = {}
        with box("div", "row wide looks"):
            self._looks = {words: button(words, lambda words=words: self._turn(words)) for words in LOOKS}
        with box("div", "row wide looks"):
            layers = dict.fromkeys(row[3] for row in LAYERS.values() if row[3])
            self._layers = {words: button(words, lambda words=words: self._switch(words)) for words in layers}
        self._press()

    def _turn(self, look: str) -> None:
        self._look = look
        self._stand()
        self._press()

    def _stand(self) -> None:
        if self._build is not None:
            spot, middle = camera_m(self._build, LOOKS[self._look][0])
            x, y, z = spot
            at_x, at_y, at_z = middle
            self._scene.move_camera(x, y, z, at_x, at_y, at_z, duration=0)

    def _switch(self, words: str) -> None:
        self._off ^= {words}
        self._visible()
        self._press()

    def _press(self) -> None:
        """Which look is taken and what is shown, in words too."""
        for words, made in (*self._looks.items(), *self._layers.items()):
            on = words == self._look if words in LOOKS else words not in self._off
            made.text = ("✓ " if on else "") + words
            made.props["aria-pressed"] = str(on).lower()
            made.update()

    def _visible(self) -> None:
        for name, row in LAYERS.items():
            self._rods[name].visible(row[3] not in self._off)
        for name, ball in self._balls.items():
            shown = name == self._place or _("Places") not in self._off
            ball.visible(shown)
            ball.draggable(shown)
        for ball in self._names.values():
            ball.visible(_("Seats and heads") not in self._off)

    def show(self, build: Build, result: LayoutResult, place: PlaceResult, shapes: Mapping[str, ShapeResult]) -> None:
        """The located build and the chosen place. What a hand holds is left in it."""
        first, self._build = self._build is None, build
        self._result, self._place = result, place.name
        if first:
            self._stand()
        lines = cabin_lines(build)
        lines["direct"], lines["reflections"] = path_lines(build, result, place)
        lines["boxes"] = box_lines(build, shapes)
        lines["aims"] = [
            [*item.position_m, *tip_of(item.position_m, item.aim, length_m=AIM_M / 2)]
            for name, item in result.places.items()
            if name != place.name
        ]
        with self._scene:
            for name, rods in self._rods.items():
                rods.set(lines[name])
            self._heads(build)
            self._all_balls(result, place)
        tip = tip_of(place.position_m, place.aim, length_m=AIM_M)
        self._own.set([[*place.position_m, *tip]])
        self._handle.with_name(AIM + place.name)
        if self._held != AIM + place.name:
            self._handle.move(*tip)
        self._visible()
        self._scene.run_method("resize")  # it may have been out of sight

    def _heads(self, build: Build) -> None:
        for old in self._names.keys() - {seat.name for seat in build.seats}:
            self._names.pop(old).delete()
        for seat in build.seats:
            if seat.name not in self._names:
                self._names[seat.name] = self._scene.sphere(0.085).material(HEAD, 0.55)
            self._names[seat.name].move(*(float(part) for part in seat.head_m))

    def _all_balls(self, result: LayoutResult, chosen: PlaceResult) -> None:
        for old in self._balls.keys() - result.places.keys():
            self._balls.pop(old).delete()
        for name, item in result.places.items():
            if name not in self._balls:
                self._balls[name] = self._scene.sphere(max(item.radius_m, LEAST_M)).with_name(name).draggable()
            self._balls[name].material(*((CHOSEN, 0.95) if name == chosen.name else (PLACE, 0.75)))
            if self._held != name:
                self._balls[name].move(*item.position_m)

    async def _tapped(self, event: events.SceneClickEventArguments) -> None:
        name = next((hit.object_name for hit in event.hits if hit.object_name in self._balls), None)
        if name is not None and name != self._place and not self._held:
            await self._chosen(name)

    def _taken(self, event: events.SceneDragEventArguments) -> None:
        self._held = event.object_name

    async def _moves(self, event: events.GenericEventArguments) -> None:
        """The line follows the ball at once; the figures as fast as they come."""
        name = event.args["object_name"]
        spot = (float(event.args["x"]), float(event.args["y"]), float(event.args["z"]))
        place = self._result.places.get(name.removeprefix(AIM)) if self._result is not None else None
        if place is None or self._held != name:
            return
        aim = await self._dragged(name, spot, LOOKS[self._look][1])
        if aim is None or self._held != name:
            return
        start = [*place.position_m] if name.startswith(AIM) else [*spot]
        tip = tip_of(start, aim, length_m=AIM_M)
        self._own.set([[*start, *tip]])
        if not name.startswith(AIM):
            self._handle.move(*tip)

    async def _let_go(self, event: events.SceneDragEventArguments) -> None:
        self._held = ""
        await self._dropped(event.object_name, (event.x, event.y, event.z), LOOKS[self._look][1])
