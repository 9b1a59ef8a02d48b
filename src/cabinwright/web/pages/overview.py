"""What stops me today? Every stage's findings, the worst first, each with the way to what it is about."""

from __future__ import annotations

from cabinwright.web.frame import Page, View
from cabinwright.web.parts import MARKS, box, finding_list, link, text
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "STAGES"]

STAGES = ("survey", "layout", "signal", "enclosure", "power", "workshop")  # the tune takes seconds and has its own page
HOMES = {"layout": "/places"}


def body(view: View) -> None:
    """A tile for every stage, then what it found."""
    found = view.found
    stops = [item for items in found.values() for item in items if item.severity == "stop"]
    text("p", _told(len(stops), whole=len(found) == len(STAGES)), "figure")
    finding_list(stops, view.way_to)
    pages = {page.path: page for page in view.pages}
    homes = {stage: pages[HOMES.get(stage, f"/{stage}")] for stage in STAGES}
    with box("div", "tiles"):
        for page in (*homes.values(), pages["/recordings"], pages["/tune"], pages["/book"]):
            with box("section", "tile"):
                link(page.name, page.path, "act")
                text("p", page.question, "soft")
                for stage in (stage for stage, home in homes.items() if home is page):
                    text("p", _line(view, stage))
    for stage, items in found.items():
        if any(item.severity != "stop" for item in items):
            text("h2", homes[stage].name)
            view.findings(stage, stops=False)


def _told(stops: int, *, whole: bool) -> str:
    """Never that nothing stops one before everything was looked at."""
    if stops:
        return counted(stops, "thing stops you.", "things stop you.")
    return _("Nothing stops you.") if whole else _("Working it out …")


def _line(view: View, stage: str) -> str:
    if stage not in view.found:
        return _("Working it out …")
    severities = [item.severity for item in view.found[stage]]
    counts = [f"{MARKS[kind]} {severities.count(kind)}" for kind in MARKS if kind in severities]
    if view.result(stage) is None and not counts:
        return _("Not begun: ") + view.desk.skipped(stage)
    return "  ".join(counts) or _("✓ Nothing to remark")


PAGE = Page("/", _("Overview"), _("What stops me today?"), body, STAGES, ("vehicle",), piecemeal=True)
