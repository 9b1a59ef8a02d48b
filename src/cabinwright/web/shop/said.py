"""How the shop's values are said: moments local, amounts without empty digits, money with its currency."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from cabinwright.shop.money import digits
from cabinwright.shop.money import typed as money_typed
from cabinwright.web.words import _, counted

__all__ = ["STATE_WORDS", "amount", "lasting", "measured", "moment", "money", "plain", "typed"]

STATE_WORDS = {
    "asked": _("asked"),
    "offered": _("offered"),
    "agreed": _("agreed"),
    "building": _("building"),
    "proving": _("proving"),
    "handed over": _("handed over"),
    "closed": _("closed"),
    "called off": _("called off"),
}
"""States of a job."""


def moment(value: Any) -> str:
    """A moment of the database, as this place's clocks have it."""
    if not value:
        return ""
    when = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return f"{when.astimezone():%Y-%m-%d %H:%M}"


def plain(value: Decimal | str | None) -> str:
    """A number without digits that say nothing; empty for none."""
    return "" if value is None or value == "" else digits(Decimal(value))


def typed(value: Decimal | str | None) -> str:
    """The same, as it may be typed again."""
    return "" if value is None or value == "" else money_typed(Decimal(value))


def amount(value: Decimal | str | None, unit: str) -> str:
    """So much of something: a piece is counted, anything else measured."""
    return counted(int(Decimal(value or 0)), "piece", "pieces") if unit == "piece" else measured(value, unit)


def measured(value: Decimal | str | None, unit: str) -> str:
    """The same, with a piece as a unit like others, as it stands in a column."""
    return f"{plain(value)} {unit.replace('m2', 'm²')}"


def lasting(hours: Decimal | str) -> str:
    """A time: below an hour in minutes."""
    value = Decimal(hours)
    return f"{plain(value)} h" if value >= 1 else f"{60 * value:.0f} min"


def money(value: Decimal | str | None, currency: str) -> str:
    """An amount with two digits at the least; empty for none."""
    text = plain(value)
    if not text:
        return ""
    return f"{text} {currency}" if len(text.partition(".")[2]) > 2 else f"{Decimal(text):.2f} {currency}"
