"""The few parts that every page is made of: plain HTML elements, so that keyboard and screen readers know them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape
from typing import Any

from nicegui import ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from cabinwright.findings import Finding
from cabinwright.history.design import Difference
from cabinwright.web.words import _, message, remedy

__all__ = [
    "MARKS",
    "box",
    "button",
    "choice",
    "drop_zone",
    "finding_list",
    "html",
    "link",
    "sides",
    "table",
    "text",
    "typing",
]

MARKS = {"stop": "■", "caution": "▲", "note": "●"}  #: beside the word, never instead of it
NAMES = {"stop": _("Stop"), "caution": _("Caution"), "note": _("Note")}


def text(tag: str, words: str, classes: str = "") -> TextElement:
    """One element that holds words."""
    made = TextElement(tag=tag, text=words)
    return made.classes(classes) if classes else made


def box(tag: str = "div", classes: str = "") -> Element:
    """One element that holds others."""
    made = Element(tag)
    return made.classes(classes) if classes else made


def typing(value: object, kind: str = "text") -> Element:
    """Where a line is typed, with what stands in it at first.

    As an attribute (``^``): as a property Vue would put it back, over whatever was typed, with every change of the page.
    """
    made = box("input")
    made.props.update({"type": kind, "^value": "" if value is None else str(value), "autocomplete": "off"})
    return made


def html(content: str, classes: str = "") -> Element:
    """Our own drawings and documents; what people wrote in them is escaped where they are made."""
    made = ui.html(content, sanitize=False)
    return made.classes(classes) if classes else made


def button(words: str, act: Callable[..., Any], classes: str = "", *, says: str = "") -> TextElement:
    """A button; ``says`` is read aloud where the words alone would not do."""
    made = text("button", words, f"act {classes}")
    made.props["type"] = "button"
    if says:
        made.props["aria-label"] = says
    made.on("click", lambda _event: act())
    return made


def link(words: str, to: str, classes: str = "") -> TextElement:
    """A link to another page or file of this screen."""
    made = text("a", words, classes)
    made.props["href"] = to
    return made


def choice(label: str, options: Sequence[str], chosen: str, act: Callable[[str], Any]) -> None:
    """One of a few, as buttons in a named group: a glove hits them better than a list that folds."""
    with box("fieldset", "choice"):
        text("legend", label)
        for option in options:
            made = button(("✓ " if option == chosen else "") + option, lambda option=option: act(option), "option")
            made.props["aria-pressed"] = str(option == chosen).lower()


def drop_zone(upload: Element, words: str, choosers: Mapping[str, tuple[str, Mapping[str, Any]]]) -> None:
    """Where files are dropped or chosen, for an ``ui.upload`` that is put out of sight.

    ``choosers``: id of each plain input, with its words and its further attributes.
    """
    upload.classes("carrier")  # not `set_visibility`: NiceGUI takes nothing from what it hides itself
    with box("div", "drop") as zone:
        text("p", words)
        with box("div", "row"):
            for name, (label, more) in choosers.items():
                plain = box("input")
                plain.props.update({"id": name, "type": "file", "aria-label": label, **more})
                plain.on("change", js_handler=f"(e) => cabinwright.chosen(e, getElement({upload.id}))")
                text("label", label, "act").props["for"] = name
    zone.on("dragover", js_handler="(e) => e.preventDefault()")
    zone.on("drop", js_handler=f"(e) => cabinwright.dropped(e, getElement({upload.id}))")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, caption: str) -> None:
    """Plain words in rows; the first of each row is its head."""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = "".join(
        f'<tr><th scope="row">{escape(first)}</th>'
        + "".join(
            f'<td data-head="{escape(head)}">{escape(cell)}</td>' for head, cell in zip(heads[1:], rest, strict=True)
        )
        + "</tr>"
        for first, *rest in rows
    )
    html(f"<table><caption>{escape(caption)}</caption><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>")


def finding_list(findings: Iterable[Finding], to: Callable[[Finding], str | None] = lambda _finding: None) -> None:
    """The worst first, each with its place, its cure and a way there."""
    findings, order = tuple(findings), list(MARKS)
    if not findings:
        return
    with box("ul", "findings"):
        for item in sorted(findings, key=lambda item: order.index(item.severity)):
            with box("li", f"finding {item.severity}"):
                text("strong", f"{MARKS[item.severity]} {NAMES[item.severity]}", "severity")
                text("span", item.where, "where")
                text("p", message(item))
                if item.remedy:
                    text("p", remedy(item), "remedy")
                place = to(item)
                if place:
                    link(_("Change it"), place, "act").props["aria-label"] = f"{_('Change it')}: {item.where}"


def sides(item: Difference) -> tuple[str, str]:
    """A difference's words, parted at their arrow."""
    told = item.words.removeprefix(f"{item.where}: ")
    before, arrow, after = told.partition(" → ")
    if arrow:
        return before, after
    return ("–", told) if item.before is None else (told, "–") if item.after is None else ("", told)
