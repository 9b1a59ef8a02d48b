"""How the shop's values are said: moments local, amounts without empty digits, money with its currency."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from cabinwright.web.words import counted

__all__ = ["amount", "moment", "money", "plain", "typed"]


def moment(value: Any) -> str:
    """A moment of the database, as this place's clocks have it."""
    if not value:
        return ""
    when = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return f"{when.astimezone():%Y-%m-%d %H:%M}"


def plain(value: Decimal | str | None) -> str:
    """A number without digits that say nothing."""
    if value is None or value == "":
        return ""
    number = Decimal(value)
    return f"{number.normalize():f}" if number else "0"


def typed(value: Decimal | str | None) -> str:
    """The same, as it may be typed again: one with three digits behind the point could be read as thousands."""
    text = plain(value)
    return f"{text}0" if len(text.rpartition(".")[2]) == 3 and "." in text else text


def amount(value: Decimal | str | None, unit: str) -> str:
    """So much of something: a piece is counted, anything else measured."""
    return counted(int(Decimal(value or 0)), "piece", "pieces") if unit == "piece" else f"{plain(value)} {unit}"


def money(value: Decimal | str | None, currency: str) -> str:
    """An amount with two digits at the least."""
    if value is None or value == "":
        return ""
    number = Decimal(value)
    text = f"{number.normalize():f}" if number else "0"
    return f"{number:.2f} {currency}" if "." not in text or len(text.split(".")[1]) < 3 else f"{text} {currency}"
