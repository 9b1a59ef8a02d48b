"""What a command of the shop answers, as lines or as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from cabinwright.cli.terminal import say

__all__ = ["show"]

WIDEST = 48
QUIET = ("count", "made_at", "words", "rows")  #: columns that only machines want


def show(answer: Any, *, machine: bool) -> None:
    """``answer``: words, a row, or rows, of plain values."""
    if machine:
        say(json.dumps(answer, indent=1, ensure_ascii=False, default=str))
    elif isinstance(answer, str):
        for line in answer.splitlines():
            say(line)
    elif isinstance(answer, Mapping):
        _row(answer)
    elif answer:
        _rows(answer)
    else:
        say("None.")


def _row(row: Mapping[str, Any], indent: str = "") -> None:
    """Line by line; what is empty is left out, what is nested stands below its name."""
    for name, value in row.items():
        if value in (None, "", [], (), {}) or name in QUIET:
            continue
        head = f"{indent}{name.replace('_', ' ')}:"
        if not isinstance(value, (list, tuple)):
            say(f"{head} {_plain(value)}")
            continue
        say(head)
        for item in value:
            if isinstance(item, Mapping) and any(isinstance(part, (list, tuple)) and part for part in item.values()):
                _row(item, indent + "  ")
            else:
                say(f"{indent}  {_line(item) if isinstance(item, Mapping) else _plain(item)}")


def _line(row: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {_plain(value)}" for name, value in row.items() if value not in ("", None, [], {})
    )


def _rows(rows: Sequence[Mapping[str, Any]]) -> None:
    names = [name for name in rows[0] if name not in QUIET and any(row.get(name) not in (None, "", {}) for row in rows)]
    cells = [[_short(_plain(row.get(name))) for name in names] for row in rows]
    heads = [name.replace("_", " ") for name in names]
    wide = [max(len(line[k]) for line in (heads, *cells)) for k in range(len(names))]
    for line in (heads, *cells):
        say("  ".join(cell.ljust(size) for cell, size in zip(line, wide, strict=True)).rstrip())


def _short(words: str) -> str:
    words = " ".join(words.split())
    return words if len(words) <= WIDEST else words[: WIDEST - 1] + "…"


def _plain(value: Any) -> str:
    """Times are shown local, however they are kept."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and len(value) >= 20 and value[10:11] == "T":
        try:
            return f"{datetime.fromisoformat(value).astimezone():%Y-%m-%d %H:%M}"
        except ValueError:
            return value
    if isinstance(value, Mapping):
        return _line(value)
    return ", ".join(map(_plain, value)) if isinstance(value, (list, tuple)) else str(value)
