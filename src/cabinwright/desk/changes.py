"""What a change is, what it outdates, and what happens when an editor wrote the same file meanwhile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinwright.build.checking import shown
from cabinwright.build.codec import place_of
from cabinwright.build.document import Build
from cabinwright.build.paths import Name, resolved, value_at
from cabinwright.errors import RefusedError
from cabinwright.history.design import design_differences
from cabinwright.pipeline import STAGES
from cabinwright.stages.memory import Memory, same

__all__ = ["Change", "Clash", "held_against", "outdated", "said", "same_place"]

Path = tuple[str | int, ...]
MOST_WORDS = 6  #: differences that are told one by one
TAKES = {
    "enclosure": ("layout",),
    "workshop": ("layout", "enclosure"),
    "voice": ("tuning",),
    "signal": ("tuning", "power", "enclosure"),
}


@dataclass(frozen=True, slots=True)
class Change:
    """One accepted change."""

    number: int  #: of its entry in the history; 0 where nothing was to change
    when: str
    by: str
    what: str
    why: str
    stages: tuple[str, ...]  #: whose answers must be asked for anew


class Clash(RefusedError):
    """An editor wrote what was to be changed here. Nothing was written; the desk shows the editor's version now."""

    def __init__(self, place: str, before: Any, outside: Any, wanted: Any) -> None:
        self.place, self.before, self.outside, self.wanted = place, before, outside, wanted
        super().__init__(
            f"{place}: an editor changed it meanwhile, from {_brief(before)} to {_brief(outside)}; here it was to become "
            f"{_brief(wanted)}. Nothing was written. Look at both and decide."
        )


def said(before: Build, after: Build) -> str:
    """What changed between two builds, in words."""
    words = [item.words for item in design_differences(before, after)]
    more = len(words) - MOST_WORDS
    told = "; ".join(words[:MOST_WORDS]) + (f"; and {more} more" if more > 0 else "")
    return told or "written differently, with the same meaning"


def outdated(memory: Memory, before: Build, after: Build) -> tuple[str, ...]:
    """Stages that read a table that differs, or take the answer of one that does."""
    tables = {key for key in Build.model_fields if not same(getattr(before, key), getattr(after, key))}
    stale: list[str] = []
    for stage in STAGES:
        reads = memory.reads(stage)
        taken = any(other in stale for other in TAKES.get(stage, ())) or "survey" in stale
        if reads is None or reads & tables or taken:
            stale.append(stage)
    return tuple(stale)


def same_place(path: Path, data: Any) -> Path:
    """The path with names in place of the numbers of rows that have one."""
    steps: list[str | int] = []
    here: Any = data
    for part in path:
        rows = here if isinstance(here, list) else None
        here = value_at((part,), here)
        name = here.get("name") if rows is not None and isinstance(here, Mapping) else None
        steps.append(Name(name) if isinstance(name, str) else part)
    return tuple(steps)


def held_against(place: Path, base: Any, now: Any, wanted: Any) -> Path:
    """Where ``place`` stands in the data that an editor may have written. Raises ``Clash`` where that touched it."""
    was = resolved(place, base)
    if now is base:
        return was
    words = place_of(was, base)
    try:
        at = resolved(place, now)
    except RefusedError:  # the row was renamed or taken out
        raise Clash(words, value_at(was, base), None, wanted) from None
    for end in range(1, len(was) + 1):  # a row without a name is known by what stands in it
        row = value_at(was[:end], base)
        numbered = isinstance(place[end - 1], int) and isinstance(row, Mapping | list)
        if (numbered or end == len(was)) and row != value_at(at[:end], now):
            raise Clash(words, value_at(was, base), value_at(at, now), wanted)
    return at


def _brief(value: Any) -> str:
    if isinstance(value, list | tuple) and len(value) <= 4 and not any(isinstance(x, Mapping | list) for x in value):
        return "[" + ", ".join(shown(item) for item in value) + "]"
    return "nothing" if value is None else shown(value)
