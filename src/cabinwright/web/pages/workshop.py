"""What do I cut? Every part by layer, and its files."""

from __future__ import annotations

import re
from functools import partial

from nicegui import ui

from cabinwright.handover.workshop_page import workshop_documents
from cabinwright.stages.workshop.result import WorkshopResult
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, choice, html, text
from cabinwright.web.words import _

__all__ = ["PAGE"]


def body(view: View) -> None:
    """One file looked at by layer; downloads; then the workshop's page."""
    result: WorkshopResult | None = view.result("workshop")
    view.findings("workshop")
    if view.why_not("workshop") or result is None:
        return
    files = view.kept("files", lambda: workshop_documents(view.desk.build, result))
    drawings = [name for name in files if name.endswith(".svg")]
    if drawings:
        text("h2", _("Look at one before it is cut"))
        _preview(view, files, drawings)
    text("h2", _("Files to take to the machine"))
    with box("ul", "row"):
        for name, content in files.items():
            if not name.endswith((".html", ".svg")):
                plain = name.rpartition("/")[2]
                data = content.encode() if isinstance(content, str) else content
                with box("li"):
                    button(plain, lambda data=data, plain=plain: ui.download(data, plain), says=_("Download ") + plain)
    for name, words in (
        ("workshop.html", _("Every panel and its figures")),
        ("service.html", _("What comes out before what")),
    ):
        if name in files:
            paper(view, name, words, partial(_text, files, name))


def _text(files: dict[str, str | bytes], name: str) -> str:
    return str(files[name])


def _preview(view: View, files: dict[str, str | bytes], drawings: list[str]) -> None:
    plain = {name.rpartition("/")[2].removesuffix(".svg"): name for name in drawings}
    chosen = view.state.get("drawing")
    shown = chosen if chosen in plain else next(iter(plain))

    async def choose(name: str) -> None:
        view.state["drawing"] = name
        await view.draw()

    choice(_("Drawing"), tuple(plain), shown, choose)
    content = str(files[plain[shown]])
    html(content[content.index("<svg") :], "drawing cut")
    with box("div", "row layers"):
        text("p", _("Layers:"))
        for layer in dict.fromkeys(_layers(content)):
            made = text("button", layer, "act")
            made.props["type"] = "button"
            made.props["aria-pressed"] = "true"
            made.on("click", js_handler=f"(e) => cabinwright.layer(e.currentTarget, '{layer}')")


def _layers(content: str) -> list[str]:
    return re.findall(r'<g[^>]* id="([A-Za-z0-9_.-]+)"', content)


PAGE = Page(
    "/workshop", _("Workshop"), _("What do I cut?"), body, ("workshop",), ("panels", "rings", "pods", "jigs", "sheets"),
)  # fmt: skip
