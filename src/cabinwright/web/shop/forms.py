"""Forms of the shop: a label, a field, a help beside it; all of it is sent at once when it is sent at all."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import count
from typing import TYPE_CHECKING, Any

from cabinwright.errors import PersonError
from cabinwright.shop.money import read_amount
from cabinwright.web.parts import box, text, typing
from cabinwright.web.words import _

if TYPE_CHECKING:
    from nicegui.element import Element

__all__ = ["PASSWORD", "Ask", "amount_of", "day_of", "form", "tax_rule", "whole_of"]

SEND = """(event) => {
  event.preventDefault();
  const told = {};
  for (const one of event.target.elements) {
    if (!one.name) continue;
    if (one.dataset.several) (told[one.name] ||= []).push(...(one.checked ? [one.value] : []));
    else if (one.type === "checkbox") told[one.name] = one.checked;
    else if (one.type !== "radio") told[one.name] = one.value;
    else if (one.checked) told[one.name] = one.value;
    else told[one.name] ||= "";
  }
  emit(told);
}"""
LONGEST = 20_000  #: characters of one answer
_numbers = count(1)


@dataclass(frozen=True)
class Ask:
    """One field. ``kind``: text, long, number, date, password, search, yes/no, choice (one of), several (any of)."""

    key: str
    label: str
    value: Any = ""
    kind: str = "text"
    choices: Sequence[tuple[str, str]] = ()  #: value, and what it is called
    help: str = ""
    needed: bool = False
    unit: str = ""


PASSWORD = Ask("password", _("Password"), kind="password", needed=True, help=_("10 characters or more."))


def tax_rule(label: str, now: str, rules: Sequence[str], *, help: str = "") -> Ask:
    """Which of the shop's tax rules; the one that is named now, until there are any."""
    known = [(rule, rule) for rule in rules or (now,)]
    chosen = [] if now in rules or not rules else [("", _("choose one"))]
    return Ask("tax", label, now, "select", [*chosen, *known], help=help)


def form(
    asks: Sequence[Ask], words: str, act: Callable[[dict[str, Any]], Awaitable[Any]], *, main: bool = True
) -> None:
    """Fields and a button; ``act`` is given the answers: text, True or False, or a list of what was ticked."""
    known = {ask.key: ask for ask in asks}

    async def sent(event: Any) -> None:
        given = event.args if isinstance(event.args, Mapping) else {}
        await act({key: _held(known[key], value) for key, value in given.items() if key in known})

    made = box("form", "shop-form")
    made.on("submit", sent, js_handler=SEND)
    with made:
        for ask in asks:
            _field(ask)
        with box("div", "row"):
            button = text("button", words, "act main" if main else "act")
            button.props["type"] = "submit"


def _held(ask: Ask, value: Any) -> Any:
    """What a browser sent, as the field's kind has it and no other way."""
    if ask.kind == "yes/no":
        return value is True
    allowed = {name for name, _words in ask.choices}
    if ask.kind == "several":
        return [item for item in value if item in allowed] if isinstance(value, list) else []
    words = str(value)[:LONGEST] if isinstance(value, str) else ""
    return words if not ask.choices or words in allowed else ""


def _field(ask: Ask) -> None:
    name = f"{ask.key}-{next(_numbers)}"
    label = f"{ask.label} ({ask.unit})" if ask.unit else ask.label
    if ask.kind in ("choice", "several"):
        with box("fieldset", "field asks"):
            text("legend", label)
            _boxes(ask, name)
            if ask.help:
                text("p", ask.help, "help")
        return
    with box("div", "field"):
        text("label", label).props["for"] = name
        if ask.kind == "select":
            made = box("select")
            with made:
                for value, words in ask.choices:
                    one = text("option", words)
                    one.props["value"] = value
                    one.props["selected"] = value == ask.value
        else:
            made = _typed(ask)
        made.props.update({"id": name, "name": ask.key, "autocomplete": "off"})
        if ask.needed:
            made.props["required"] = True
        if ask.help:
            made.props["aria-describedby"] = f"{name}-help"
            text("p", ask.help, "help").props["id"] = f"{name}-help"


def _typed(ask: Ask) -> Element:
    """Where an answer is typed, or a box that is ticked."""
    if ask.kind == "long":
        made: Element = text("textarea", "" if ask.value is None else str(ask.value))
        made.props["rows"] = 3
    elif ask.kind == "yes/no":
        made = box("input")
        made.props.update({"type": "checkbox", "checked": bool(ask.value), "value": "yes"})
    else:
        made = typing(ask.value, ask.kind if ask.kind in ("search", "date", "password") else "text")
        if ask.kind == "number":
            made.props["inputmode"] = "decimal"
    return made


def _boxes(ask: Ask, name: str) -> None:
    chosen = ask.value if isinstance(ask.value, (list, tuple)) else [ask.value]
    with box("div", "row"):
        for number, (value, words) in enumerate(ask.choices):
            with box("label", "act pick") as made:
                made.props["for"] = f"{name}-{number}"
                one = box("input")
                one.props.update(
                    {"id": f"{name}-{number}", "name": ask.key, "value": value, "checked": value in chosen}
                )
                one.props["type"] = "checkbox" if ask.kind == "several" else "radio"
                if ask.kind == "several":
                    one.props["data-several"] = "yes"
                text("span", words)


def amount_of(words: str, what: str) -> Decimal | None:
    """A typed amount; None for nothing. Raises ``PersonError``."""
    return read_amount(words, what=what) if words.strip() else None


def day_of(words: str) -> date | None:
    """A typed day; None for nothing. Raises ``PersonError``."""
    if not words.strip():
        return None
    try:
        return date.fromisoformat(words.strip())
    except ValueError:
        raise PersonError(_("{words}: write a day as 2026-03-31.").format(words=words[:40])) from None


def whole_of(words: str, what: str) -> int:
    """A typed number of something in a list. Raises ``PersonError``."""
    if not words.strip().isdecimal() or len(words) > 9:
        raise PersonError(_("{what}: choose one of the list.").format(what=what))
    return int(words)
