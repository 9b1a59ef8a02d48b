"""What stands in the build: every field with its unit, limits and help, and what was found about it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cabinwright.errors import CabinwrightError
from cabinwright.web.frame import Page, View, field_address
from cabinwright.web.parts import box, button, finding_list, link, text, typing
from cabinwright.web.words import _

if TYPE_CHECKING:
    from nicegui.element import Element

    from cabinwright.desk import FieldView

__all__ = ["PAGE", "field_editor", "typed"]

NESTED = ("table", "rows")
YES_NO = {"yes": _("yes"), "no": _("no")}


def body(view: View) -> None:
    """Tables first; in one of them its rows, or its fields; in a row its fields."""
    at = view.state.get("at", "")
    if not at:
        _top(view)
        return
    link(_("◀ All tables"), PAGE.path, "act")
    text("h2", at)
    try:
        if _is_rows(view, at):
            _rows(view, at)
            return
        fields = view.desk.describe(at)
    except CabinwrightError as error:
        text("p", str(error), "empty")
        return
    _reason(view)
    for item in fields:
        field_editor(view, item)
    if at.endswith("]"):
        button(_("Take this row out"), lambda: view.do(lambda: view.desk.remove(at)))


def _is_rows(view: View, at: str) -> bool:
    """Whether a path leads to several rows of one kind, and not to one table or one row."""
    above, _dot, key = at.rpartition(".")
    return not at.endswith("]") and any(item.key == key and item.kind == "rows" for item in view.desk.describe(above))


def _rows(view: View, at: str) -> None:
    """The rows by their names, and one more."""
    names = view.desk.rows(at)
    with box("ul", "row"):
        for number, name in enumerate(names):
            key = json.dumps(name, ensure_ascii=False) if name else str(number)
            with box("li"):
                link(name or f"{at} {number}", field_address(f"{at}[{key}]"), "act")
    _one_more(view, at, view.desk.describe(f"{at}[{len(names)}]"))


def _one_more(view: View, at: str, fields: Sequence[FieldView]) -> None:
    """A row that is not there yet: what it must say, then what it may. Nothing is written before all of it is."""
    given: dict[str, str] = view.state.setdefault("new", {}).setdefault(at, {})
    plain = [item for item in fields if item.kind not in NESTED]
    text("h3", _("One more"))
    for item in plain:
        if item.required:
            _new_field(item, given)
    with box("details"):
        text("summary", _("What else it may say"), "act")
        for item in plain:
            if not item.required:
                _new_field(item, given)

    def add() -> Any:
        row = {item.key: typed(item.kind, given.get(item.key, "")) for item in plain}
        change = view.desk.add(at, {key: value for key, value in row.items() if value is not None}, by=view.by)
        given.clear()
        return change

    button(_("Add it"), lambda: view.do(add), "main")


def _new_field(item: FieldView, given: dict[str, str]) -> None:
    """What is typed is kept until the row is added, whatever is drawn anew meanwhile."""
    with box("div", "field"):
        made = _typed_in(item, f"new-{item.path}", given.get(item.key, ""))
        made.on(
            "change",
            lambda event: given.__setitem__(item.key, event.args),
            js_handler="(e) => emit(e.target.value)",
        )
        _help(item, f"new-{item.path}")
        made.props["aria-describedby"] = f"new-{item.path}-help"


def _reason(view: View) -> None:
    """Why something is changed, if a person cares to say: kept in the history with every change of this page."""

    def keep(words: str) -> None:
        view.state["why"] = words

    with box("div", "field"):
        text("label", _("Why (kept with each change)")).props["for"] = "why"
        made = typing(view.state.get("why", ""))
        made.props["id"] = "why"
        made.on("change", lambda event: keep(event.args), js_handler="(e) => emit(e.target.value)")


def _top(view: View) -> None:
    """What stands before the first table; then every table, by the page that it is for."""
    fields = {item.key: item for item in view.desk.describe()}
    nested = [key for key, item in fields.items() if item.kind in NESTED]
    _reason(view)
    for key, item in fields.items():
        if key not in nested and key != "schema":
            field_editor(view, item)
    told: set[str] = set()
    for page in view.pages:
        _tables(page.name, [name for name in page.tables if name not in told])
        told.update(page.tables)
    _tables(_("Everything else"), [name for name in nested if name not in told])


def _tables(heading: str, names: Sequence[str]) -> None:
    if names:
        text("h2", heading)
        with box("ul", "row"):
            for name in names:
                with box("li"):
                    link(name.replace("_", " "), field_address(name), "act")


def field_editor(view: View, item: FieldView) -> None:
    """One field: label, where it is typed, limits and help, findings."""
    with box("div", "field"):
        name = f"field-{item.path}"
        if item.kind in NESTED:
            link(item.label, field_address(item.path), "act")
            text("p", item.help and _(item.help), "help")
            return
        refused: dict[str, tuple[str, str]] = view.state.setdefault("refused", {})
        written, why = refused.get(item.path, ("" if item.written is None else _shown(item.written), ""))
        made = _typed_in(item, name, written)
        told = text("p", why, "refusal")
        told.props.update({"id": f"{name}-refused", "role": "alert"})
        made.props.update({"aria-describedby": f"{name}-refused {name}-help", "aria-invalid": str(bool(why)).lower()})

        async def changed(words: str) -> None:
            told.text = await _changed(view, item, words)
            made.props["aria-invalid"] = str(bool(told.text)).lower()
            if told.text and made.tag == "input":
                made.props["^value"] = words
            made.update()

        made.on("change", lambda event: changed(event.args), js_handler="(e) => emit(e.target.value)")
        _help(item, name)
        finding_list(item.findings)


def _typed_in(item: FieldView, name: str, written: str) -> Element:
    """The label of a field and where it is typed or chosen."""
    unit = f" ({item.unit})" if item.unit else ""
    text("label", f"{item.label}{unit}").props["for"] = name
    options = list(YES_NO) if item.kind == "yes/no" else list(item.choices)
    made = box("select") if options else typing(written)
    made.props["id"] = name
    if not options:
        made.props["placeholder"] = "" if item.default is None else _shown(item.default)
        return made
    with made:
        for option in ["", *options]:
            one = text("option", YES_NO.get(option, option) or _("(not written)"))
            one.props["value"] = option
            one.props["selected"] = option == written
    return made


def _help(item: FieldView, name: str) -> None:
    words = " ".join(filter(None, (item.help and _(item.help), _limits(item))))
    text("p", words, "help").props["id"] = f"{name}-help"


async def _changed(view: View, item: FieldView, words: str) -> str:
    """Written; or why not, to stand beside the field, where what was typed is kept to be corrected."""
    refused: dict[str, tuple[str, str]] = view.state.setdefault("refused", {})
    change = await view.attempt(
        lambda: view.desk.edit(item.path, typed(item.kind, words), by=view.by, why=view.state.get("why", ""))
    )
    if change is None:
        refused[item.path] = (words, view.warned)
        view.warn("")
        return refused[item.path][1]
    refused.pop(item.path, None)
    view.say(change.what)
    await view.draw()
    return ""


def typed(kind: str, words: str) -> Any:
    """What was typed, as the build takes it: a number, a list, a text with its unit; None for nothing."""
    words = words.strip()
    if not words:
        return None
    if kind == "yes/no":
        return {"yes": True, "no": False}.get(words, words)
    if kind in ("text", "choice", "file"):
        return words
    try:
        return tomllib.loads(f"value = {words}")["value"]
    except tomllib.TOMLDecodeError:
        return words


def _limits(item: FieldView) -> str:
    unit = f" {item.unit}" if item.unit else ""
    low = "" if item.low is None else _("At least {low}{unit}.").format(low=f"{item.low:g}", unit=unit)
    high = "" if item.high is None else _("At most {high}{unit}.").format(high=f"{item.high:g}", unit=unit)
    told = item.kind not in ("text", "choice", "yes/no") and item.accepts
    accepts = f"{item.accepts[0].upper()}{item.accepts[1:]}." if told else ""
    return " ".join(filter(None, (_("Required.") if item.required else "", low, high, accepts)))


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


PAGE = Page("/fields", _("Build file"), _("What is written down?"), body)
