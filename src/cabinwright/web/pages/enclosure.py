"""Will it fit and how low does it go? Every box: its figures, its curves, its shape."""

from __future__ import annotations

from collections.abc import Callable

from nicegui.element import Element

from cabinwright.drawings.chart import Chart
from cabinwright.handover.enclosure_charts import box_charts
from cabinwright.handover.enclosure_page import box_figures, enclosure_html
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.web.curves import Soon, curves
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, text
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> Callable[[], None]:
    """Findings, then each box. Curves stay and are drawn anew in place: making them takes the browser longest."""
    found, boxes, sheet = box("div"), box("div"), box("div")
    shown: list[Callable[[Chart], None]] = []
    charts: list[tuple[str, Chart]] = []
    figures: dict[str, Element] = {}

    def draw() -> None:
        if not boxes.is_deleted:
            for made, (_caption, chart) in zip(shown, charts, strict=True):
                made(chart)

    soon = Soon(draw)

    def show() -> None:
        result: EnclosureResult | None = view.result("enclosure")
        for part in (found, sheet):
            part.clear()
        with found:
            if result is not None:
                view.verdict("enclosure", _("Nothing stands against any box."))
            view.findings("enclosure")
            missing = view.why_not("enclosure")
        captions = [caption for caption, _chart in charts]
        charts[:] = [] if result is None else [
            (f"{name}: {caption}", chart) for name, made in result.boxes.items() for caption, chart in box_charts(name, made)
        ]  # fmt: skip
        if captions != [caption for caption, _chart in charts] or result is None or missing:
            _anew(result, boxes, figures)
            shown[:] = [made for name in figures for made in _curves(figures, name, charts)]
        else:
            soon()
        for name, tiles in figures.items():
            _tiles(result, name, tiles, view.desk.build.workshop.units)
        if result is not None:
            with sheet:
                words = _("The figures behind it")
                paper(view, "enclosure", words, lambda: enclosure_html(view.desk.build, result))

    show()
    return show


def _anew(result: EnclosureResult | None, boxes: Element, figures: dict[str, Element]) -> None:
    """A place for each box's figures."""
    boxes.clear()
    figures.clear()
    with boxes:
        for name in result.boxes if result is not None else ():
            text("h2", name)
            figures[name] = box("div", "tiles")
            figures[f"{name}: "] = box("div")


def _curves(figures: dict[str, Element], name: str, charts: list[tuple[str, Chart]]) -> list[Callable[[Chart], None]]:
    if not name.endswith(": "):
        return []
    with figures[name]:
        return [curves(chart, caption) for caption, chart in charts if caption.startswith(name)]


def _tiles(result: EnclosureResult | None, name: str, tiles: Element, units: str) -> None:
    if result is None or name not in result.boxes:
        return
    tiles.clear()
    with tiles:
        for label, value in box_figures(result.boxes[name], units=units):
            with box("div", "tile"):
                text("p", label, "soft")
                text("p", value, "figure")


PAGE = Page(
    "/enclosure", _("Enclosure"), _("Will it fit and how low does it go?"), body, ("enclosure",),
    ("boxes", "speaker_models", "impedance_curves"),
)  # fmt: skip
