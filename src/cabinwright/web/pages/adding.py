"""What is not in the build yet: a row, or a table that must say several things. Nothing is written before all of it is there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from cabinwright.web.field import NESTED, explained, labelled, typed
from cabinwright.web.parts import box, button, text
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.desk import FieldView
    from cabinwright.web.frame import View

__all__ = ["adding"]

Given = dict[str, str]  #: what was typed, by the keys that lead there; kept until it is added, whatever is drawn anew


def adding(
    view: View, heading: str, at: str, fields: Sequence[FieldView], put: Callable[[dict[str, Any]], Any]
) -> None:
    """What it must say, then what it may, and the tables within it; ``put`` writes it."""
    given: Given = view.state.setdefault("new", {}).setdefault(at, {})
    text("h3", heading)
    _group(view, fields, given, "", deep=True)

    def add() -> Any:
        change = put(_table(view, fields, given, ""))
        given.clear()
        return change

    async def complete() -> None:
        missing = ", ".join(_missing(view, fields, given, ""))
        if missing:
            view.warn(_("Still to be filled in: ") + missing)
        else:
            await view.do(add)

    button(_("Add it"), complete, "main")


def _group(view: View, fields: Sequence[FieldView], given: Given, above: str, *, deep: bool) -> None:
    for item in fields:
        if item.required:
            _part(view, item, given, f"{above}{item.key}")
    rest = [item for item in fields if not item.required and (deep or item.kind not in NESTED)]
    if rest:
        with box("details") as fold:
            fold.props["open"] = any(_said(given, f"{above}{item.key}") for item in rest)
            text("summary", _("What else it may say"), "act")
            for item in rest:
                _part(view, item, given, f"{above}{item.key}")


def _part(view: View, item: FieldView, given: Given, name: str) -> None:
    """A field, or a table within: open where it is required, else folded."""
    if item.kind not in NESTED:
        _field(item, given, name)
        return
    with box("fieldset" if item.required else "details", "part") as part:
        if not item.required:
            part.props["open"] = _said(given, name)
        text("legend" if item.required else "summary", item.label, "" if item.required else "act")
        text("p", item.help and _(item.help), "soft")
        for number in range(_count(given, name)):
            _group(view, _inner(view, item), given, f"{name}.{number}.", deep=False)
        if item.kind == "rows":
            button(_("One more of these"), lambda: _more(view, given, name), says=_("One more: ") + item.label)


async def _more(view: View, given: Given, name: str) -> None:
    given[f"{name}.#"] = str(_count(given, name) + 1)
    await view.draw()


def _field(item: FieldView, given: Given, name: str) -> None:
    with box("div", "field"):
        made = labelled(item, f"new-{name}", given.get(name, ""))
        made.on(
            "change",
            lambda event: given.__setitem__(name, event.args),
            js_handler="(e) => emit(e.target.value)",
        )
        explained(item, f"new-{name}")
        made.props["aria-describedby"] = f"new-{name}-help"


def _table(view: View, fields: Sequence[FieldView], given: Given, above: str) -> dict[str, Any]:
    """What was typed, as a table of the build."""
    made = {item.key: _value(view, item, given, f"{above}{item.key}") for item in fields}
    return {key: value for key, value in made.items() if value is not None}


def _value(view: View, item: FieldView, given: Given, name: str) -> Any:
    if item.kind not in NESTED:
        return typed(item.kind, given.get(name, ""))
    if not _said(given, name):
        return None
    rows = [_table(view, _inner(view, item), given, f"{name}.{number}.") for number in range(_count(given, name))]
    full = [row for row in rows if row]
    return (full if item.kind == "rows" else full[0]) if full else None


def _missing(view: View, fields: Sequence[FieldView], given: Given, above: str) -> Iterator[str]:
    """Labels of what is required and empty; of a table within that need not be, only where something of it was typed."""
    for item in fields:
        name = f"{above}{item.key}"
        if item.kind not in NESTED:
            if item.required and not given.get(name, "").strip():
                yield item.label
            continue
        for number in range(_count(given, name)):
            if _said(given, f"{name}.{number}") or (item.required and number == 0):
                within = _missing(view, _inner(view, item), given, f"{name}.{number}.")
                yield from (f"{item.label}: {label}" for label in within)


def _inner(view: View, item: FieldView) -> Sequence[FieldView]:
    return view.desk.describe(f"{item.path}[0]" if item.kind == "rows" else item.path)


def _count(given: Given, name: str) -> int:
    return int(given.get(f"{name}.#", "1"))


def _said(given: Given, name: str) -> bool:
    """Whether anything was typed there, or within."""
    return any(words and (key == name or key.startswith(f"{name}.")) for key, words in given.items())
