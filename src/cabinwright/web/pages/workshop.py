"""What do I cut? Every part by layer, and its files."""

from __future__ import annotations

import io
import re
import zipfile
from functools import partial

from nicegui import ui

from cabinwright.handover.workshop_page import workshop_documents
from cabinwright.stages.workshop.result import WorkshopResult
from cabinwright.web.frame import Page, View
from cabinwright.web.paper import paper
from cabinwright.web.parts import box, button, html, text
from cabinwright.web.words import _, counted

__all__ = ["PAGE"]


def body(view: View) -> None:
    """One file looked at by layer; downloads; then the workshop's page."""
    result: WorkshopResult | None = view.result("workshop")
    if result is not None:
        view.verdict("workshop", counted(len(result.parts), "part to cut.", "parts to cut."))
    view.findings("workshop")
    if view.why_not("workshop") or result is None:
        return
    files = view.kept("files", lambda: workshop_documents(view.desk.build, result))
    drawings = [name for name in files if name.endswith(".svg")]
    if drawings:
        text("h2", _("Look at one before it is cut"))
        _preview(view, files, drawings)
    text("h2", _("Files to take to the machine"))
    button(_("All of them, in one ZIP"), lambda: ui.download(_bundle(files), "workshop.zip"), "main")
    with box("details"):
        text("summary", _("One by one"), "act")
        with box("ul", "row"):
            for name in files:
                if not name.endswith((".html", ".svg")):
                    with box("li"):
                        _download(files, name, name.rpartition("/")[2])
    for name, words in (
        ("workshop.html", _("Every panel and its figures")),
        ("service.html", _("What comes out before what")),
    ):
        if name in files:
            paper(view, name, words, partial(_text, files, name))


def _download(files: dict[str, str | bytes], name: str, words: str) -> None:
    plain, content = name.rpartition("/")[2], files[name]
    data = content.encode() if isinstance(content, str) else content
    button(words, lambda: ui.download(data, plain), says=_("Download ") + plain)


def _bundle(files: dict[str, str | bytes]) -> bytes:
    """Every file in one, the same bytes for the same build: ``ZipInfo`` takes no time of day by itself."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as pack:
        for name, content in files.items():
            pack.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _text(files: dict[str, str | bytes], name: str) -> str:
    return str(files[name])


def _preview(view: View, files: dict[str, str | bytes], drawings: list[str]) -> None:
    plain = {name.rpartition("/")[2].removesuffix(".svg"): name for name in drawings}
    chosen = view.state.get("drawing")
    shown = chosen if chosen in plain else next(iter(plain))

    async def choose(name: str) -> None:
        view.state["drawing"] = name
        await view.draw()

    names = list(plain)
    at = names.index(shown)
    with box("div", "row"):
        text("label", _("Drawing")).props["for"] = "drawing"
        made = box("select", "enter")
        made.props.update({"id": "drawing"})
        made.on("change", lambda event: choose(event.args), js_handler="(e) => emit(e.target.value)")
        with made:
            for name in names:
                text("option", name).props.update({"value": name, "selected": name == shown})
        for words, near in ((_("◀ Before"), names[:at][-1:]), (_("Next ▶"), names[at:][1:2])):
            step = button(words, lambda near=near: choose(near[0]) if near else None)
            step.props["aria-disabled"] = str(not near).lower()
    with box("div", "row"):
        text("p", _("Take it away as:"))
        for name in files:
            stem, dot, suffix = name.rpartition("/")[2].rpartition(".")
            if dot and stem == shown:
                _download(files, name, suffix.upper())
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
    "/workshop", _("Workshop"), _("What do I cut?"), body, ("workshop",),
    ("panels", "rings", "pods", "jigs", "floors", "lights", "fixings", "service_steps", "sheets", "masses", "payload"),
)  # fmt: skip
