"""What stands in the build: every field with its unit, limits and help, and what was found about it."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

from cabinwright.errors import CabinwrightError
from cabinwright.web.frame import Page, View, field_address
from cabinwright.web.parts import box, button, finding_list, link, text, typing
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.desk import FieldView

__all__ = ["PAGE", "field_editor", "typed"]

NESTED = ("table", "rows")
YES_NO = {"yes": _("yes"), "no": _("no")}


def body(view: View) -> None:
    """Tables first; in one of them its rows; in a row its fields."""
    at = view.state.get("at", "")
    if not at:
        _tables(view)
        return
    link(_("◀ All tables"), PAGE.path, "act")
    text("h2", at)
    names = _rows(view, at)
    if names is None:
        try:
            fields = view.desk.describe(at)
        except CabinwrightError as error:
            text("p", str(error), "empty")
            return
        _reason(view)
        for item in fields:
            field_editor(view, item)
        if at.endswith("]"):
            button(_("Take this row out"), lambda: view.do(lambda: view.desk.remove(at)))
        return
    with box("ul", "row"):
        for number, name in enumerate(names):
            key = json.dumps(name, ensure_ascii=False) if name else str(number)
            with box("li"):
                link(name or f"{at} {number}", field_address(f"{at}[{key}]"), "act")


def _reason(view: View) -> None:
    """Why something is changed, if a person cares to say: kept in the history with every change of this page."""

    def keep(words: str) -> None:
        view.state["why"] = words

    with box("div", "field"):
        text("label", _("Why (kept with each change)")).props["for"] = "why"
        made = typing(view.state.get("why", ""))
        made.props["id"] = "why"
        made.on("change", lambda event: keep(event.args), js_handler="(e) => emit(e.target.value)")


def _rows(view: View, at: str) -> list[str] | None:
    try:
        return None if at.endswith("]") else list(view.desk.rows(at))
    except (CabinwrightError, KeyError, TypeError):
        return None


def _tables(view: View) -> None:
    tables = dict.fromkeys(name for page in view.pages for name in page.tables)
    with box("ul", "row"):
        for name in tables:
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
        unit = f" ({item.unit})" if item.unit else ""
        text("label", f"{item.label}{unit}").props["for"] = name
        options = list(YES_NO) if item.kind == "yes/no" else list(item.choices)
        refused: dict[str, tuple[str, str]] = view.state.setdefault("refused", {})
        written, why = refused.get(item.path, ("" if item.written is None else _shown(item.written), ""))
        made = box("select") if options else typing(written)
        made.props["id"] = name
        if options:
            with made:
                for option in ["", *options]:
                    one = text("option", YES_NO.get(option, option) or _("(not written)"))
                    one.props["value"] = option
                    one.props["selected"] = option == written
        else:
            made.props["placeholder"] = "" if item.default is None else _shown(item.default)
        told = text("p", why, "refusal")
        told.props.update({"id": f"{name}-refused", "role": "alert"})
        made.props.update({"aria-describedby": f"{name}-refused {name}-help", "aria-invalid": str(bool(why)).lower()})

        async def changed(words: str) -> None:
            told.text = await _changed(view, item, words)
            made.props["aria-invalid"] = str(bool(told.text)).lower()
            if told.text and not options:
                made.props["^value"] = words
            made.update()

        made.on("change", lambda event: changed(event.args), js_handler="(e) => emit(e.target.value)")
        text("p", " ".join(filter(None, (_limits(item), item.help and _(item.help)))), "help").props["id"] = (
            f"{name}-help"
        )
        finding_list(item.findings)


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
    accepts = item.accepts if isinstance(item.accepts, str) else ""
    return " ".join(filter(None, (_("Required.") if item.required else "", low, high, accepts)))


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)


PAGE = Page("/fields", _("Build file"), _("What is written down?"), body)
