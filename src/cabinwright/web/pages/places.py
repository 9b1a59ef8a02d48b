"""Where should it go? The cabin in 3D; drag a place or its aim, read what that did and why, accept it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from nicegui import run, ui

from cabinwright.drawings.picture_svg import draw
from cabinwright.handover.layout_charts import arrivals_chart, plan_view, response_chart
from cabinwright.handover.layout_page import layout_html
from cabinwright.stages.layout.by_hand import aim_through, dropped, stepped, turned
from cabinwright.stages.layout.decide import accepted_at
from cabinwright.stages.layout.moved import TELLING_DB, Moved, moved
from cabinwright.stages.layout.result import LayoutResult, PlaceResult
from cabinwright.stages.survey import located
from cabinwright.web.curves import Soon, curves
from cabinwright.web.frame import Page, View
from cabinwright.web.pages.fields import field_editor
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, choice, finding_list, html, link, table, text
from cabinwright.web.scene import AIM, CabinScene
from cabinwright.web.words import _, message

__all__ = ["PAGE"]

EDITED = ("position_m", "aim")
SIGNS = {"better": "▲", "worse": "▼", "same": "=", "barred": "■"}
STEPS_M = {"metric": (0.01, _("1 cm")), "US": (0.0125, _("half an inch"))}
TURN_DEG = 5.0
#: words, axis, which way
MOVES = (
    (_("forward"), 0, -1.0), (_("rearward"), 0, 1.0), (_("left"), 1, -1.0),
    (_("right"), 1, 1.0), (_("up"), 2, 1.0), (_("down"), 2, -1.0),
)  # fmt: skip
TURNS = (
    (_("turn left"), {"sideways_deg": -TURN_DEG}), (_("turn right"), {"sideways_deg": TURN_DEG}),
    (_("turn up"), {"up_deg": TURN_DEG}), (_("turn down"), {"up_deg": -TURN_DEG}),
)  # fmt: skip


@dataclass(frozen=True)
class Start:
    """What a move is held against."""

    result: LayoutResult
    written: Mapping[str, Any]  #: keys as they stood in the build
    words: str


def body(view: View) -> Callable[[], None]:
    """The cabin and the chosen place side by side, then curves, findings and the comparison as in the report."""
    page = _Places(view)
    page.show()
    return page.show


class _Places:
    """The page in one tab: made once, then shown anew in place, so that a hand on the scene is never let go."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.starts: dict[str, Start] = view.state.setdefault("starts", {})
        self.curves: tuple[Callable[[Any], None], ...] = ()
        self.shown: dict[str, Any] = {}
        self.trying = False
        self.soon = Soon(self._curves)
        self.none = box("section")
        self.work = box("div")
        self.made = False

    def _make(self) -> None:
        """Not before there is something to show: a scene that begins unseen has no size."""
        self.made = True
        with self.work:
            with box("div", "split"):
                with box("section"):
                    self.scene = CabinScene(chosen=self.choose, dropped=self.dropped, dragged=self.dragged)
                    words = _(
                        "Drag a ball to move its place, the small ball to turn it; drag beside them to look round."
                    )
                    text("p", words, "soft wide")
                    self.plan, self.names = box("div"), box("div")
                with box("section"):
                    self.trial = text("p", "", "said trial")
                    self.chosen = box("div")
                    self.chosen.props["aria-live"] = "polite"
            self.charts, self.found, self.sheet = box("div"), box("div"), box("div")

    def show(self) -> None:
        """What the stages say now."""
        view, result = self.view, self.view.result("layout")
        self.work.set_visibility(result is not None)
        if result is not None and not self.made:
            self._make()
        self.none.clear()
        with self.none:
            if "layout" not in view.results:
                text("p", _("Working it out …"), "soft")
                return
            if view.why_not("layout") or result is None:
                view.findings("layout")
                return
        surveyed = view.result("survey")
        self.build = located(view.desk.build, surveyed) if surveyed is not None else view.desk.build
        self.result: LayoutResult = result
        best = next((row.places[0] for row in result.ranking if not row.barred), next(iter(result.places)))
        if view.state.get("place") not in result.places:
            view.state["place"] = best
        self.place = result.places[view.state["place"]]
        boxed = view.result("enclosure")
        shapes = {name: item.shape for name, item in boxed.boxes.items() if item.shape} if boxed is not None else {}
        self.trial.text = ""
        self.scene.show(self.build, result, self.place, shapes)
        start = self._start()
        self._part("names", (tuple(result.places), self.place.name), self.names, self._names)
        self._part("plan", (view.seen, self.place.name), self.plan, self._plan)
        self._part("chosen", (view.seen, self.place.name, id(start)), self.chosen, lambda: self._chosen(start))
        self._soon_curves()
        self._part("found", view.found.get("layout"), self.found, lambda: view.findings("layout"))
        words = _("All places compared, as in the report")
        opened = tuple(view.state.get("opened", ()))
        self._part(
            "sheet", (opened, view.seen if opened else 0), self.sheet,
            lambda: paper(view, "layout", words, lambda: layout_html(self.build, self.result)),
        )  # fmt: skip

    def _part(self, name: str, state: Any, where: Any, make: Callable[[], None]) -> None:
        """A part of the page, drawn anew where what it shows has changed."""
        if name not in self.shown or self.shown[name] != state:
            self.shown[name] = state
            where.clear()
            with where:
                make()

    def _names(self) -> None:
        choice(_("Place"), tuple(self.result.places), self.place.name, self.choose)

    def _plan(self) -> None:
        numbers = {item.name: number for number, item in enumerate(self.build.places, 1)}
        html(draw(plan_view(self.build, self.result, numbers, [self.place.name])), "drawing plan")

    def _soon_curves(self) -> None:
        """Words and figures first; a chart takes the browser longer."""
        if not self.curves:
            self._curves()
        else:
            self.soon()

    def _curves(self) -> None:
        if self.charts.is_deleted:
            return
        heard = self.place.seats[self.result.listening_seat]
        charts = (response_chart(self.place, heard), arrivals_chart(self.place, heard))
        if self.curves:
            for show, chart in zip(self.curves, charts, strict=True):
                show(chart)
            return
        names = (_("Direct sound and reflections together"), _("What arrives after the direct sound"))
        with self.charts:
            self.curves = tuple(curves(chart, name) for chart, name in zip(charts, names, strict=True))

    # What a move is held against

    def _start(self) -> Start | None:
        """Where the place was accepted, else where it stood when this page first showed it; None: being worked out."""
        name, known = self.place.name, self.starts.get(self.place.name)
        if known is not None and _same_cabin(known.result, self.result, name):
            return known
        if known is None and accepted_at(self.build, name) is not False:
            self.starts[name] = Start(self.result, self._written(f"places[{_quoted(name)}]"), _("before"))
            return self.starts[name]
        with self.work:  # what was clicked may be gone by then
            ui.timer(0.01, lambda: self._find_start(name), once=True)
        return None

    async def _find_start(self, name: str) -> None:
        known, desk = self.starts.get(name), self.view.desk
        if known is None:
            speaker = next(item for item in self.build.speakers if item.name == name)
            spot: dict[str, Any] = {"position_m": speaker.position_m, "aim": speaker.aim}
            written, words = self._written(f"speakers[{_quoted(name)}]"), _("as accepted")
        else:
            old = known.result.places[name]
            spot, words = {"position_m": old.position_m, "aim": old.aim}, known.words
            written = dict(known.written)
        if spot["position_m"] is None:
            return
        result = await run.io_bound(lambda: desk.tried(name, **spot))
        if result is not None and name in result.places:
            self.starts[name] = Start(result, written, words)
            self.show()

    def _written(self, row: str) -> dict[str, Any]:
        return {item.key: item.written for item in self.view.desk.describe(row) if item.key in EDITED}

    # What a hand does

    async def choose(self, name: str) -> None:
        self.view.state["place"] = name
        self.show()

    async def dropped(self, name: str, spot: tuple[float, float, float], fixed: int | None) -> None:
        place = self.result.places.get(name.removeprefix(AIM))
        if place is None:
            return
        self.view.state["place"] = place.name
        await self._write(place, self._meant(place, name, spot, fixed))
        self.show()  # also where it was refused: back to where it is

    async def dragged(self, name: str, spot: tuple[float, float, float], fixed: int | None) -> list[float] | None:
        """What it would do there, while it is still in the hand; nothing is written."""
        place = self.result.places[name.removeprefix(AIM)]
        meant = self._meant(place, name, spot, fixed)
        start = self.starts.get(place.name)
        if not self.trying and start is not None:
            self.trying = True
            try:
                tried = await run.io_bound(lambda: self.view.desk.tried(place.name, **_spot(meant)))
            finally:
                self.trying = False
            if tried is not None:
                self.trial.text = _("In your hand: ") + moved(start.result, tried, place.name).words
                return list(tried.places[place.name].aim)
        return list(meant.get("aim", place.aim))

    def _meant(
        self, place: PlaceResult, name: str, spot: tuple[float, float, float], fixed: int | None
    ) -> dict[str, list[float]]:
        if name.startswith(AIM):
            return {"aim": aim_through(place.position_m, spot, aim=place.aim, fixed=fixed)}
        return {"position_m": dropped(place.position_m, spot, fixed=fixed)}

    async def _write(self, place: PlaceResult, values: Mapping[str, Any]) -> None:
        desk, row = self.view.desk, f"places[{_quoted(place.name)}]"
        await self.view.do(
            lambda: desk.edit_all({f"{row}.{key}": value for key, value in values.items()}, by=self.view.by)
        )

    # The chosen place

    def _chosen(self, start: Start | None) -> None:
        place, view = self.place, self.view
        text("h2", place.name)
        accepted = accepted_at(self.build, place.name)
        spots = [(item.position_m, item.aim) for item in (place, start.result.places[place.name])] if start else []
        if start is not None and spots[0] != spots[1]:
            self._verdict(start, moved(start.result, self.result, place.name))
        else:
            self._figures()
        with box("div", "row"):
            if accepted:
                text("p", _("✓ Accepted: a speaker in the build."))
            elif accepted is None:
                button(_("Accept this place"), self._accept, "main")
            else:
                button(_("Accept: the speaker moves here"), self._accept, "main")
        if accepted is False:
            text("p", _("What was recorded of it counts for where it stood: record it again after the move."), "soft")
        self._steps()
        for item in view.desk.describe(f"places[{_quoted(place.name)}]"):
            if item.key in EDITED:
                field_editor(view, item)
        link(_("All its fields"), f"/fields?at=places[{_quoted(place.name)}]", "act")
        self._why()

    def _verdict(self, start: Start, did: Moved) -> None:
        """Whether it got better, why, figure by figure, and the way back."""
        with box("div", f"verdict {did.verdict}"):
            text("p", f"{SIGNS[did.verdict]} {did.words}", "figure")
        finding_list(item for item in did.gained if item.severity != "note")
        gone = [item for item in did.lost if item.severity != "note"]
        if gone:
            text("p", _("No longer: ") + "; ".join(message(item) for item in gone))
        said = {True: _("▲ better"), False: _("▼ worse"), None: _("= same")}
        rows = [(item.name, item.before, item.after, said[item.better]) for item in did.figures]
        with box("div", "figures"):
            table((_("Figure"), start.words, _("now"), _("that is")), rows, caption=_("What the move did at the head"))
        with box("div", "row"):
            button(_("Put it back"), lambda: self._put_back(start))
            button(_("Compare from here on"), self._from_here)

    def _figures(self) -> None:
        heard = self.place.seats[self.result.listening_seat]
        with box("div", "tiles"):
            _tile(_("Sound, higher is better"), f"{heard.sound_db:.1f} dB")
            _tile(_("Distance to the head"), f"{heard.distance_m:.2f} m")
            _tile(_("Off its axis"), f"{heard.off_axis_deg:.0f}°")
            _tile(_("Reflections against direct"), f"{heard.early_db:.1f} dB")

    def _why(self) -> None:
        if self.place.seats[self.result.listening_seat].occluded:
            text("p", _("▲ Something stands between it and the head."))
        for row in (row for row in self.result.ranking if self.place.name in row.places):
            if row.barred:
                text("p", _("■ Barred: ") + row.barred)
            with box("details"):
                text("summary", _("How it compares"), "act")
                for reason in row.reasons:
                    text("p", reason)

    def _steps(self) -> None:
        """The same by buttons: for a keyboard, a glove or a phone."""
        place = self.place
        step_m, words = STEPS_M[self.view.desk.build.workshop.units]
        with box("fieldset", "choice"):
            text("legend", _("Move by ") + words)
            for name, axis, way in MOVES:
                to = stepped(place.position_m, axis=axis, step_m=step_m if way > 0.0 else -step_m)
                button(name, lambda to=to: self._write(place, {"position_m": to}))
        with box("fieldset", "choice"):
            text("legend", _("Turn by 5°"))
            for name, angles in TURNS:
                aim = turned(place.aim, **angles)
                button(name, lambda aim=aim: self._write(place, {"aim": aim}))
            if place.aimed is not None and place.aimed.gain_db >= TELLING_DB:
                best = [round(part, 4) for part in place.aimed.aim]
                words = _("best aim the panel allows: +{gain} dB").format(gain=f"{place.aimed.gain_db:.1f}")
                button(words, lambda: self._write(place, {"aim": best}))

    async def _put_back(self, start: Start) -> None:
        now = self._written(f"places[{_quoted(self.place.name)}]")
        await self._write(self.place, {key: value for key, value in start.written.items() if value != now.get(key)})

    def _from_here(self) -> None:
        self.starts[self.place.name] = Start(
            self.result, self._written(f"places[{_quoted(self.place.name)}]"), _("before")
        )
        self.show()

    async def _accept(self) -> None:
        name, start = self.place.name, self.starts.get(self.place.name)
        why = moved(start.result, self.result, name).words if start is not None else ""
        before = self.view.desk.version
        await self.view.do(lambda: self.view.desk.accept([name], again=True, why=why))
        if self.view.desk.version != before:
            self._from_here()


def _spot(values: Mapping[str, list[float]]) -> dict[str, tuple[float, ...]]:
    return {key: tuple(value) for key, value in values.items()}


def _same_cabin(one: LayoutResult, other: LayoutResult, name: str) -> bool:
    """Whether everything but the place itself is as it was: what was not heard anew is the same object."""
    rest = one.places.keys() - {name}
    return rest == other.places.keys() - {name} and all(one.places[key] is other.places[key] for key in rest)


def _quoted(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)


def _tile(name: str, figure: str) -> None:
    with box("div", "tile"):
        text("p", name, "soft")
        text("p", figure, "figure")


PAGE = Page(
    "/places", _("Places"), _("Where should it go?"), body, ("survey", "layout", "enclosure"),
    ("places", "seats", "cabin", "layout", "limits"), piecemeal=True,
)  # fmt: skip
