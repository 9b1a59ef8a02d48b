"""Where should it go? The cabin in 3D; drag a place, read what it does, accept it."""

from __future__ import annotations

import json

from nicegui import events

from cabinwright.build.document import Build
from cabinwright.drawings.picture_svg import draw
from cabinwright.handover.layout_charts import arrivals_chart, response_chart, views
from cabinwright.handover.layout_page import layout_html
from cabinwright.stages.layout.result import LayoutResult, PlaceResult
from cabinwright.stages.survey import located
from cabinwright.web.curves import curves
from cabinwright.web.frame import Page, View
from cabinwright.web.pages.fields import field_editor
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, choice, html, link, text
from cabinwright.web.scene import cabin_scene
from cabinwright.web.words import _

__all__ = ["PAGE"]

EDITED = ("position_m", "aim")


def body(view: View) -> None:
    """Cabin and the chosen place side by side, then the comparison as in the report."""
    result: LayoutResult | None = view.result("layout")
    if view.why_not("layout") or result is None:
        view.findings("layout")
        return
    surveyed = view.result("survey")
    build = located(view.desk.build, surveyed) if surveyed is not None else view.desk.build
    best = next((row.places[0] for row in result.ranking if not row.barred), next(iter(result.places)))
    if view.state.get("place") not in result.places:
        view.state["place"] = best
    place = result.places[view.state["place"]]

    async def choose(name: str) -> None:
        view.state["place"] = name
        await view.draw()

    async def dropped(event: events.SceneDragEventArguments) -> None:
        name = event.object_name
        view.state["place"] = name
        spot = [round(event.x, 3), round(event.y, 3), round(event.z, 3)]
        await view.do(lambda: view.desk.edit(_path(name, "position_m"), spot, by=view.by))

    with box("div", "split"):
        with box("section"):
            cabin_scene(build, result, place, choose=choose, dropped=dropped)
            text("p", _("Drag a disc to move the place; drag beside it to turn the view. Or type below."), "soft wide")
            _plan(build, result, place)
            choice(_("Place"), tuple(result.places), place.name, choose)
        with box("section") as held:
            _chosen(view, result, place)
        held.props["aria-live"] = "polite"
    heard = place.seats[result.listening_seat]
    curves(response_chart(place, heard), _("Direct sound and reflections together"))
    curves(arrivals_chart(place, heard), _("What arrives after the direct sound"))
    view.findings("layout")
    paper(view, "layout", _("All places compared, as in the report"), lambda: layout_html(build, result))


def _path(place: str, key: str) -> str:
    return f"places[{json.dumps(place, ensure_ascii=False)}].{key}"


def _plan(build: Build, result: LayoutResult, place: PlaceResult) -> None:
    numbers = {item.name: number for number, item in enumerate(build.places, 1)}
    for view, picture in views(build, result, numbers, [place.name]):
        if view == "plan":
            html(draw(picture), "drawing plan")


def _chosen(view: View, result: LayoutResult, place: PlaceResult) -> None:
    heard = place.seats[result.listening_seat]
    text("h2", place.name)
    rows = [row for row in result.ranking if place.name in row.places]
    with box("div", "tiles"):
        _tile(_("Sound, higher is better"), f"{heard.sound_db:.1f} dB")
        _tile(_("Distance to the head"), f"{heard.distance_m:.2f} m")
        _tile(_("Off its axis"), f"{heard.off_axis_deg:.0f}°")
        _tile(_("Reflections against direct"), f"{heard.early_db:.1f} dB")
    if heard.occluded:
        text("p", _("▲ Something stands between it and the head."))
    for row in rows:
        if row.barred:
            text("p", _("■ Barred: ") + row.barred)
        for reason in row.reasons:
            text("p", reason)
    for item in view.desk.describe(f"places[{json.dumps(place.name, ensure_ascii=False)}]"):
        if item.key in EDITED:
            field_editor(view, item)
    with box("div", "row"):
        if place.name in {speaker.name for speaker in view.desk.build.speakers}:
            text("p", _("✓ Accepted: a speaker in the build."))
        else:
            button(_("Accept this place"), lambda: view.do(lambda: view.desk.accept([place.name])), "main")
        link(_("All its fields"), f"/fields?at={_path(place.name, '')[:-1]}", "act")


def _tile(name: str, figure: str) -> None:
    with box("div", "tile"):
        text("p", name, "soft")
        text("p", figure, "figure")


PAGE = Page(
    "/places", _("Places"), _("Where should it go?"), body, ("survey", "layout"), ("places", "seats", "cabin"),
)  # fmt: skip
