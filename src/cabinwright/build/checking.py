"""What all checks of a build share: the fault they report, and how they read plain data.

Whatever has the wrong type is passed over; the models speak about it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import islice
from typing import Any

from cabinwright.build.locate import Path

__all__ = ["Fault", "did_you_mean", "folded", "names_of", "repeated", "rows_of", "shown", "unknown"]

_MOST_CHOICES = 300  # more than most tables hold; comparing words is slow

Rows = list[tuple[int, Mapping[str, Any]]]


@dataclass(frozen=True, slots=True)
class Fault:
    """One broken rule, before it is known where in the file it stands."""

    path: Path
    rule: str
    got: str
    cure: str


def shown(value: Any, limit: int = 60) -> str:
    """A value as a person wrote it, cut to one short line."""
    if isinstance(value, str):
        text = '"' + "".join(letter if letter.isprintable() else "�" for letter in value[: limit + 1]) + '"'
        return text if len(value) <= limit else f'{text[:limit]}…"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, int) and abs(value) > 10**18:
        return "a huge whole number"
    return str(value)


def folded(words: str) -> str:
    """In small letters without accents, so that Zoe finds Zoë. Source: Unicode Standard Annex 15 (NFKD)."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", words.casefold()) if not unicodedata.combining(sign))


def did_you_mean(word: str, choices: Iterable[str]) -> str | None:
    """The choice that looks most like ``word``, blanks, hyphens and case aside; ``None`` if none comes near."""
    plain = _plain(word)
    best, best_score = None, 0.6
    for choice in islice(choices, _MOST_CHOICES):
        other = _plain(choice)
        score = SequenceMatcher(None, plain, other).ratio()
        if len(plain) >= 3 and (other.startswith(plain) or plain.startswith(other)):
            score = max(score, 0.8)
        if score > best_score:
            best, best_score = choice, score
    return best


def rows_of(data: Any, *tables: str) -> Rows:
    """The tables of an array of tables (``"cabin", "surfaces"``) with their numbers; whatever is no table is passed over."""
    for key in tables:
        data = data.get(key) if isinstance(data, Mapping) else None
    return [(i, row) for i, row in enumerate(data) if isinstance(row, Mapping)] if isinstance(data, list) else []


def names_of(data: Any, *tables: str) -> list[str]:
    """The names in an array of tables."""
    return [row["name"] for _, row in rows_of(data, *tables) if isinstance(row.get("name"), str)]


def repeated(rows: Rows, path: Path, kind: str) -> Iterator[Fault]:
    """Entries that have the name of an earlier one."""
    seen: set[str] = set()
    for number, row in rows:
        name = row.get("name")
        if not isinstance(name, str):
            continue
        if name in seen:
            rule = f"two {kind}s have the same name"
            yield Fault((*path, number, "name"), rule, shown(name), f"Give each {kind} a name of its own.")
        seen.add(name)


def unknown(path: Path, word: str, choices: list[str], kind: str, table: str) -> Fault:
    """The fault of a name that no entry of ``table`` has."""
    near = did_you_mean(word, choices)
    if near:
        cure = f"Did you mean {shown(near)}?"
    elif choices:
        listed = ", ".join(shown(choice) for choice in choices[:8]) + (", …" if len(choices) > 8 else "")
        cure = f"Write one of {listed}, or add a [[{table}]] of that name."
    else:
        cure = f"Add a [[{table}]] of that name; the file has none yet."
    return Fault(path, f"no {kind} has this name", shown(word), cure)


def _plain(word: str) -> str:
    return word[:80].casefold().translate({ord("-"): " ", ord("_"): " "})
