"""Paths to the fields of a build as people and messages write them: ``places["left pillar"].position_m[1]``."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from cabinwright.build.checking import did_you_mean, shown
from cabinwright.build.locate import Path
from cabinwright.errors import RefusedError

__all__ = ["read_path", "resolved", "value_at"]

_STEP = re.compile(r'(?:\A|\.)(?P<key>[A-Za-z0-9_-]+)|\[(?P<number>\d{1,6})\]|\[(?P<name>"(?:\\.|[^"\\])*")\]')
LONGEST = 2000


class Name(str):
    """The name of a row, in place of its number."""

    __slots__ = ()


def read_path(text: str) -> tuple[str | int, ...]:
    """The steps of a path; a row that is told by its name stays a ``Name``. Raises ``RefusedError``."""
    steps: list[str | int] = []
    at = 0
    while at < len(text):
        step = _STEP.match(text, at) if len(text) <= LONGEST else None
        if step is None:
            break
        at = step.end()
        if step["key"] is not None:
            steps.append(step["key"])
        elif step["number"] is not None:
            steps.append(int(step["number"]))
        else:
            steps.append(Name(json.loads(step["name"], strict=False)))
    if not steps or at < len(text):
        raise RefusedError(f'{shown(text)} is no path. Write for example places["left pillar"].position_m[1].')
    return tuple(steps)


def resolved(text: str | Path, data: Any) -> Path:
    """The path with numbers in place of names, as they stand in ``data``. Raises ``RefusedError`` for an unknown name."""
    steps = read_path(text) if isinstance(text, str) else text
    path: list[str | int] = []
    here = data
    for step in steps:
        part: str | int = _row(here, step) if isinstance(step, Name) else step
        path.append(part)
        try:
            here = here[part]
        except (KeyError, IndexError, TypeError):
            here = None
    return tuple(path)


def value_at(path: Path, data: Any) -> Any:
    """What stands at ``path``; None where nothing does."""
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _row(rows: Any, name: str) -> int:
    names = [row.get("name") if isinstance(row, Mapping) else None for row in rows] if isinstance(rows, list) else []
    if name in names:
        return names.index(name)
    near = did_you_mean(name, [word for word in names if isinstance(word, str)])
    cure = f"Did you mean {shown(near)}?" if near else "Look at the build again: it may have been taken out."
    raise RefusedError(f"no row is called {shown(str(name))}. {cure}")
