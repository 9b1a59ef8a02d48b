"""One field of the build: how it is labelled, what may stand in it, and what was typed."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from cabinwright.build.rewrite import literal
from cabinwright.web.parts import box, text, typing
from cabinwright.web.words import _

if TYPE_CHECKING:
    from nicegui.element import Element

    from cabinwright.desk import FieldView

__all__ = ["NESTED", "explained", "labelled", "shown", "typed"]

NESTED = ("table", "rows")  #: kinds that have a page of their own
YES_NO = {"yes": _("yes"), "no": _("no")}
LONG, MOST_LINES = 40, 8  #: letters that a line holds, lines at first
_FIGURE = re.compile(r"[\"']?[-+]?\.?\d")


def labelled(item: FieldView, name: str, written: str) -> Element:
    """The label of a field and where it is typed or chosen."""
    unit = f" ({item.unit})" if item.unit else ""
    text("label", f"{item.label}{unit}").props["for"] = name
    options = list(YES_NO) if item.kind == "yes/no" else list(item.choices) if item.kind == "choice" else []
    made = box("select") if options else _line(item, written)
    made.props["id"] = name
    if not options:
        made.props["placeholder"] = "" if item.default is None else shown(item.default)
        return made
    with made:
        for option in ["", *options]:
            one = text("option", YES_NO.get(option, option) or _("(not written)"))
            one.props["value"] = option
            one.props["selected"] = option == written
    return made


def _line(item: FieldView, written: str) -> Element:
    """A line, or several for what is long: corners and curves are read whole."""
    if item.accepts.startswith("list of [") or (item.kind == "list" and len(written) > LONG):
        made = text("textarea", written)
        made.props["rows"] = min(len(written) // LONG + 2, MOST_LINES)
        return made
    return typing(written)


def explained(item: FieldView, name: str) -> None:
    """Its help, whether it must be there, and what it accepts within which limits."""
    told = item.kind not in ("text", "choice", "yes/no") and item.accepts
    accepts = f"{item.accepts[0].upper()}{item.accepts[1:]}." if told else ""
    words = " ".join(filter(None, (item.help and _(item.help), _("Required.") if item.required else "", accepts)))
    text("p", words.replace("`", ""), "help").props["id"] = f"{name}-help"


def shown(value: Any) -> str:
    """A value as it is typed: as the file writes it, but text alone without quotes."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else literal(value)


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
        return _parted(kind, words)


def _parted(kind: str, words: str) -> Any:
    """Lists without brackets, states without braces: what a finger leaves out on a tablet."""
    parts = [part.strip() for part in words.split(",")]
    if kind == "states" and all("=" in part for part in parts):
        pairs = (part.split("=", 1) for part in parts)
        return {name.strip(): value.strip().strip('"') for name, value in pairs}
    if kind in ("list", "point") and len(parts) > 1 and all(map(_FIGURE.match, parts)):
        return [typed("number", part) for part in parts]
    return parts if kind == "list" and words[0] not in "[{" else words
