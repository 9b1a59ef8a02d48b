"""Will it fit and how low does it go? Every box: its figures, its curves, its shape."""

from __future__ import annotations

from cabinwright.handover.enclosure_charts import box_charts
from cabinwright.handover.enclosure_page import box_figures, enclosure_html
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.web.curves import curves
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, text
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> None:
    """Findings, then each box."""
    result: EnclosureResult | None = view.result("enclosure")
    view.findings("enclosure")
    if view.why_not("enclosure") or result is None:
        return
    for name, made in result.boxes.items():
        text("h2", name)
        with box("div", "tiles"):
            for label, value in box_figures(made):
                with box("div", "tile"):
                    text("p", label, "soft")
                    text("p", value, "figure")
        for caption, chart in box_charts(name, made):
            curves(chart, f"{name}: {caption}")
    paper(view, "enclosure", _("The figures behind it"), lambda: enclosure_html(view.desk.build, result))


PAGE = Page(
    "/enclosure", _("Enclosure"), _("Will it fit and how low does it go?"), body, ("enclosure",),
    ("boxes", "speaker_models", "impedance_curves"),
)  # fmt: skip
