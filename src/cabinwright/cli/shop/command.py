"""What one command of the shop is, and how its arguments are read."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.errors import OutputError, PersonError

if TYPE_CHECKING:
    from cabinwright.shop.rows import Row
    from cabinwright.shop.store import Store
    from cabinwright.shop.trail import Work

__all__ = [
    "Command",
    "a_count",
    "a_day",
    "a_number",
    "an_amount",
    "argument",
    "content_of",
    "count_of",
    "listing",
    "option",
    "row_of",
]

LARGEST = 2**31 - 1  #: id of a row in either database
Argument = tuple[tuple[str, ...], dict[str, Any]]


@dataclass(frozen=True)
class Command:
    """``cabinwright shop NOUN VERB``. ``run`` gives plain values: a list of rows, a row, or a line of words."""

    noun: str
    verb: str
    says: str
    run: Callable[[Store, argparse.Namespace], Any]
    arguments: tuple[Argument, ...] = ()


def argument(name: str, says: str, **more: Any) -> Argument:
    """One that stands by its place."""
    return (name,), {"help": says, "metavar": name.upper(), **more}


def option(name: str, says: str, **more: Any) -> Argument:
    """One that is named."""
    return (f"--{name}",), {"help": says, **more}


def listing(*more: Argument) -> tuple[Argument, ...]:
    """Those of a list: where it begins and how long it is."""
    return (
        *more,
        option("after", "leave out so many at the beginning", type=a_count, default=0, metavar="N"),
        option("most", "list at most so many; 50", type=a_number, default=50, metavar="N"),
    )


def a_day(text: str) -> date:
    """2026-03-31."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text}: write a day as 2026-03-31") from None


def a_number(text: str, least: int = 1) -> int:
    """Number (id) of a row, or with ``least=0`` how many of them."""
    if not (text.isascii() and text.isdecimal() and least <= int(text[:12]) <= LARGEST):
        raise argparse.ArgumentTypeError(f"{text[:40]}: write a whole number from {least} to {LARGEST}")
    return int(text)


def a_count(text: str) -> int:
    """How many rows; nothing is one too."""
    return a_number(text, 0)


def an_amount(text: str) -> Decimal:
    """1234.50, 1,234.50 or 1 234,50."""
    from cabinwright.shop.money import read_amount

    try:
        return read_amount(text)
    except PersonError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def content_of(path: Path, *, most: int) -> bytes:
    """A file that a person names. Raises ``PersonError``, ``OutputError``."""
    try:
        if path.exists() and not path.is_file():  # a pipe or a device may never end
            raise PersonError(f"{path}: this is no plain file. Name the file itself.")
        with path.open("rb") as stream:
            content = stream.read(most + 1)
    except FileNotFoundError:
        raise PersonError(f"{path}: there is no such file. Check its name.") from None
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or error
        raise OutputError(f"{path}: cannot be read: {words}. Check the disk and its rights.") from error
    if len(content) > most:
        raise PersonError(f"{path}: larger than {most // 2**20} MB. Make it smaller.")
    return content


def row_of(work: Work, kind: type[Row], row_id: int) -> Any:
    """A row by its id. Raises ``PersonError`` where there is none."""
    row = work.get(kind, row_id)
    if row is None:
        raise PersonError(f"There is no {row_id} among {kind.__tablename__}. Look at the list again.")
    return row


def count_of(store: Store, kind: type[Row], row_id: int) -> int:
    """How often a row was written, as it stands now: the command changes what it sees now."""
    with store.read() as work:
        return int(row_of(work, kind, row_id).count)
