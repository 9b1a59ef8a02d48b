"""What do I tell the customer? The book and its one-page summary, made and taken away."""

from __future__ import annotations

from nicegui import ui

from cabinwright.web.frame import Page, View
from cabinwright.web.jobs import job_panel
from cabinwright.web.pages.tune import TICKS
from cabinwright.web.parts import box, button, choice, text
from cabinwright.web.words import _

__all__ = ["PAGE"]

PAPERS = {"A4": "A4", "US Letter": "Letter"}
KINDS = (".pdf", ".html", ".svg", ".csv", ".json")


def body(view: View) -> None:
    """Make it; then everything that lies ready."""
    text(
        "p",
        _("The book has two readers: the owner, who wants to use it, and the next technician, who has to reach it."),
    )
    paper = view.state.setdefault("paper", "A4")

    async def choose(name: str) -> None:
        view.state["paper"] = name
        await view.draw()

    choice(_("Paper"), tuple(PAPERS), paper, choose)
    job_panel(view, "book", _("Make the book"), paper=PAPERS[paper])
    job_panel(view, "plan", _("Make every other document"))
    out = view.desk.folder / "out"
    ready = sorted(item for item in out.glob("*") if item.suffix in KINDS and item.is_file() and item.name != TICKS)
    text("h2", _("Ready to take away"))
    if not ready:
        text("p", _("Nothing yet."), "empty")
    with box("ul", "row"):
        for path in ready:
            with box("li"):
                button(
                    path.name,
                    lambda path=path: ui.download(path.read_bytes(), path.name),
                    says=_("Download ") + path.name,
                )


PAGE = Page("/book", _("Book"), _("What do I tell the customer?"), body)
