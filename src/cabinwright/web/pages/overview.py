"""What stops me today? Every stage's findings, the worst first, each with the way to what it is about."""

from __future__ import annotations

from cabinwright.web.frame import Page, View
from cabinwright.web.parts import MARKS, box, link, text
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "STAGES"]

STAGES = ("survey", "layout", "signal", "enclosure", "power", "workshop")  # the tune takes seconds and has its own page
HOMES = {"layout": "/places"}


def body(view: View) -> None:
    """A tile for every stage, then what it found."""
    found = {stage: view.desk.findings(stage) for stage in STAGES}
    stops = [item for items in found.values() for item in items if item.severity == "stop"]
    text(
        "p",
        counted(len(stops), _("thing stops you."), _("things stop you.")) if stops else _("Nothing stops you."),
        "figure",
    )
    pages = {page.path: page for page in view.pages}
    homes = {stage: pages[HOMES.get(stage, f"/{stage}")] for stage in STAGES}
    with box("div", "tiles"):
        for stage, items in found.items():
            page = homes[stage]
            with box("section", "tile"):
                link(page.name, page.path, "act")
                text("p", page.question, "soft")
                text("p", _line(view, stage, [item.severity for item in items]))
        for page in (pages["/tune"], pages["/book"]):
            with box("section", "tile"):
                link(page.name, page.path, "act")
                text("p", page.question, "soft")
    for stage, items in found.items():
        if items:
            text("h2", homes[stage].name)
            view.findings(stage)


def _line(view: View, stage: str, severities: list[str]) -> str:
    counts = [f"{MARKS[kind]} {severities.count(kind)}" for kind in MARKS if kind in severities]
    if view.result(stage) is None and not counts:
        return _("Not begun: ") + view.desk.skipped(stage)
    return "  ".join(counts) or _("✓ Nothing to remark")


PAGE = Page("/", _("Overview"), _("What stops me today?"), body, STAGES)
