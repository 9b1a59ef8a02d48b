"""What stands in the build: every field with its unit, limits and help, and what was found about it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from cabinwright.errors import CabinwrightError
from cabinwright.web.field import NESTED, explained, labelled, shown, typed
from cabinwright.web.frame import Page, View, field_address
from cabinwright.web.pages.adding import adding
from cabinwright.web.parts import box, button, finding_list, link, text, typing
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.desk import FieldView

__all__ = ["PAGE", "field_editor"]

_STEP = re.compile(r'\[(?:\d+|"(?:\\.|[^"\\])*")\]|[^.\[]+')


def body(view: View) -> None:
    """Tables first; in one of them its rows, or its fields; in a row its fields."""
    at = view.state.get("at", "")
    if not at:
        _top(view)
        return
    with box("div", "row"):
        link(_("◀ All tables"), PAGE.path, "act")
        for path, step in _above(at):
            link(f"◀ {step}", field_address(path), "act")
    text("h2", at)
    try:
        _table(view, at, _itself(view, at))
    except CabinwrightError as error:
        text("p", str(error), "empty")


def _above(at: str) -> Iterator[tuple[str, str]]:
    """The tables that a path leads through, with the last step of each."""
    for step in list(_STEP.finditer(at))[:-1]:
        yield at[: step.end()], step.group().strip('[]"').replace("_", " ")


def _itself(view: View, at: str) -> FieldView | None:
    """What a path leads to, as a key of the table above; None for a row."""
    above, _dot, key = at.rpartition(".")
    return None if at.endswith("]") else next((item for item in view.desk.describe(above) if item.key == key), None)


def _table(view: View, at: str, itself: FieldView | None) -> None:
    """Rows and one more; or fields; or, for a table that is not written and must say something, all of them at once."""
    single = itself is not None and isinstance(itself.written, Mapping)
    if itself is not None and itself.kind == "rows" and not single:
        _rows(view, at)
        return
    fields = view.desk.describe(at)
    _reason(view)
    if itself is not None and itself.written is None and any(item.required for item in fields):
        adding(view, _("Not written yet"), at, fields, lambda row: view.desk.edit(at, row, by=view.by, why=_why(view)))
        return
    for item in fields:
        field_editor(view, item)
    if itself is None or (single and not itself.required):
        words = _("Take this row out") if itself is None else _("Take this table out")
        button(words, lambda: _take_out(view, at))
    if itself is not None and itself.kind == "rows":
        _one_more(view, at, 1)


async def _take_out(view: View, at: str) -> None:
    """Gone, and back to the table above."""
    change = await view.attempt(lambda: view.desk.remove(at, by=view.by, why=_why(view)))
    if change is not None:
        _go_on(view, next(reversed([path for path, _step in _above(at)]), ""))
        view.say(change.what)
        await view.draw()


def _go_on(view: View, at: str) -> None:
    """The same page at another table, also after a reload."""
    view.state["at"] = at
    ui.navigate.history.replace(field_address(at) if at else PAGE.path)


def _rows(view: View, at: str) -> None:
    """The rows by their names or what they say, and one more."""
    names, words = view.desk.rows(at), view.desk.row_words(at)
    with box("ul", "row"):
        for number, name in enumerate(names):
            key = json.dumps(name, ensure_ascii=False) if name and names.count(name) == 1 else str(number)
            with box("li"):
                link(words[number], field_address(f"{at}[{key}]"), "act")
    _reason(view)
    _one_more(view, at, len(names))


def _one_more(view: View, at: str, number: int) -> None:
    fields = view.desk.describe(f"{at}[{number}]")
    adding(view, _("One more"), at, fields, lambda row: view.desk.add(at, row, by=view.by, why=_why(view)))


def _reason(view: View) -> None:
    """Why something is changed, if a person cares to say: kept in the history with every change of this page."""

    def keep(words: str) -> None:
        view.state["why"] = words

    with box("div", "field"):
        text("label", _("Why (kept with each change)")).props["for"] = "why"
        made = typing(_why(view))
        made.props["id"] = "why"
        made.on("change", lambda event: keep(event.args), js_handler="(e) => emit(e.target.value)")


def _why(view: View) -> str:
    return str(view.state.get("why", ""))


def _top(view: View) -> None:
    """What stands before the first table; then every table, by the page that it is for."""
    fields = {item.key: item for item in view.desk.describe()}
    nested = {key: item for key, item in fields.items() if item.kind in NESTED}
    _reason(view)
    for key, item in fields.items():
        if key not in nested and key != "schema":
            field_editor(view, item)
    told: set[str] = set()
    for page in view.pages:
        _tables(page.name, [nested[name] for name in page.tables if name in nested and name not in told])
        told.update(page.tables)
    _tables(_("Everything else"), [item for name, item in nested.items() if name not in told])


def _tables(heading: str, items: Sequence[FieldView]) -> None:
    if items:
        text("h2", heading)
        with box("ul", "row"):
            for item in items:
                with box("li"):
                    _way(item)


def _way(item: FieldView) -> None:
    """The way to a table, with the number of its rows."""
    rows = f" ({len(item.written)})" if isinstance(item.written, list) else ""
    link(f"{item.label}{rows}", field_address(item.path), "act")


def field_editor(view: View, item: FieldView) -> None:
    """One field: label, where it is typed, limits and help, findings."""
    with box("div", "field"):
        name = f"field-{item.path}"
        if item.kind in NESTED:
            _way(item)
            text("p", item.help and _(item.help), "help")
            return
        refused: dict[str, tuple[str, str]] = view.state.setdefault("refused", {})
        written, why = refused.get(item.path, ("" if item.written is None else shown(item.written), ""))
        made = labelled(item, name, written)
        told = text("p", why, "refusal")
        told.props.update({"id": f"{name}-refused", "role": "alert"})
        made.props.update({"aria-describedby": f"{name}-refused {name}-help", "aria-invalid": str(bool(why)).lower()})

        async def changed(words: str) -> None:
            told.text = await _changed(view, item, words)
            made.props["aria-invalid"] = str(bool(told.text)).lower()
            if told.text and isinstance(made, TextElement):
                made.text = words
            elif told.text and made.tag == "input":
                made.props["^value"] = words
            made.update()

        made.on("change", lambda event: changed(event.args), js_handler="(e) => emit(e.target.value)")
        explained(item, name)
        finding_list(item.findings)


async def _changed(view: View, item: FieldView, words: str) -> str:
    """Written; or why not, to stand beside the field, where what was typed is kept to be corrected."""
    refused: dict[str, tuple[str, str]] = view.state.setdefault("refused", {})
    value = typed(item.kind, words)
    write = view.desk.rename if item.key == "name" and value else view.desk.edit
    change = await view.attempt(lambda: write(item.path, value, by=view.by, why=_why(view)))
    if change is None:
        refused[item.path] = (words, view.warned)
        view.warn("")
        return refused[item.path][1]
    refused.pop(item.path, None)
    at = str(view.state.get("at", ""))
    if item.path == f"{at}.name":  # the row is told by another name now
        _go_on(view, f"{at[: list(_STEP.finditer(at))[-1].start()]}[{json.dumps(words.strip(), ensure_ascii=False)}]")
    view.say(change.what)
    await view.draw()
    return ""


PAGE = Page("/fields", _("Build file"), _("What is written down?"), body)
