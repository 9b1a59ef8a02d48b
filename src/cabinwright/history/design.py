"""What two builds differ in as designs: which fields, by name and with units. How a value is written does not count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from cabinwright.build.checking import shown
from cabinwright.build.document import Build
from cabinwright.build.fields import NamedPoint
from cabinwright.build.shape import keys_of
from cabinwright.units import UNITS, suffix_of

__all__ = ["Difference", "design_differences"]

_TELLING = ("name", "from", "to", "channel", "position", "kind", "file", "speaker", "place", "what", "role", "side")
"""What tells rows apart, the first of these that do."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs. ``before`` or ``after`` is None where it is not there."""

    where: str  #: ``places["left pillar"].position_m``, or the stage and what it speaks of
    what: str  #: "changed", "added" or "removed"
    before: Any
    after: Any
    unit: str
    words: str

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {name: getattr(self, name) for name in ("where", "what", "before", "after", "unit", "words")}


def design_differences(before: Build, after: Build) -> tuple[Difference, ...]:
    """Every field that differs, in the order of the file. Rows are matched by their names, not by where they stand."""
    return tuple(_models(before, after, ""))


def _models(before: BaseModel, after: BaseModel, where: str) -> Iterator[Difference]:
    for key, field in keys_of(type(after)).items():
        name = next(name for name, item in type(after).model_fields.items() if item is field)
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            yield from _values(old, new, f"{where}.{key}" if where else key)


def _values(old: Any, new: Any, where: str) -> Iterator[Difference]:
    if isinstance(old, BaseModel) and type(old) is type(new):
        yield from _models(old, new, where)
    elif _rows(old) or _rows(new):
        yield from _tables(old or (), new or (), where)
    elif isinstance(old, BaseModel) or isinstance(new, BaseModel):
        yield from _whole(old, new, where)
    else:
        unit = _unit(where)
        yield Difference(
            where, "changed", _plain(old), _plain(new), unit, f"{where}: {_words(old, unit)} → {_words(new, unit)}"
        )


def _tables(old: Sequence[Any], new: Sequence[Any], where: str) -> Iterator[Difference]:
    names = _names([*old], [*new])
    was = dict(zip(names[0], old, strict=True))
    now = dict(zip(names[1], new, strict=True))
    for name in [*now, *(name for name in was if name not in now)]:
        place = f"{where}[{name}]"
        if name in was and name in now:
            if was[name] != now[name]:
                yield from _values(was[name], now[name], place)
        else:
            yield from _whole(was.get(name), now.get(name), place)
    kept = [name for name in names[0] if name in now]
    if kept != [name for name in names[1] if name in was]:
        yield Difference(where, "changed", names[0], names[1], "", f"{where}: the order of the rows changed")


def _whole(old: Any, new: Any, where: str) -> Iterator[Difference]:
    what = "removed" if new is None else "added" if old is None else "changed"
    yield Difference(where, what, _plain(old), _plain(new), "", f"{where}: {what}")


def _names(*lists: list[Any]) -> list[list[str]]:
    """What to call the rows of each list: the first telling words that are different for all; else their number."""
    for count in range(1, len(_TELLING) + 1):
        named = [[_telling(row, _TELLING[:count]) for row in rows] for rows in lists]
        if all("" not in names and max(Counter(names).values(), default=0) <= 1 for names in named):
            return named
    return [[str(number) for number, _ in enumerate(rows)] for rows in lists]


def _telling(row: Any, keys: Sequence[str]) -> str:
    known = keys_of(type(row))
    given = {
        key: getattr(row, f"{key}_" if f"{key}_" in type(row).model_fields else key) for key in keys if key in known
    }
    words = [value for value in given.values() if isinstance(value, str)]
    return ", ".join(shown(word) for word in words)


def _rows(value: Any) -> bool:
    return isinstance(value, tuple) and bool(value) and all(isinstance(item, BaseModel) for item in value)


def _unit(where: str) -> str:
    suffix = suffix_of(where.rsplit(".", 1)[-1])
    return UNITS[suffix][0].symbol if suffix else ""


def _plain(value: Any) -> Any:
    if isinstance(value, NamedPoint):
        return value.name
    if isinstance(value, BaseModel):
        return {
            key: _plain(getattr(value, name))
            for (key, field) in keys_of(type(value)).items()
            for name, item in type(value).model_fields.items()
            if item is field and getattr(value, name) not in (None, ())
        }
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value if isinstance(value, str | int | float | bool | None) else str(value)


def _words(value: Any, unit: str) -> str:
    if isinstance(value, NamedPoint):
        return f"the surveyed point {shown(value.name)}"
    if value is None or value == ():
        return "not stated"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        bare = ", ".join(_words(item, "") for item in value)
        return f"({bare})" + (f" {unit}" if unit else "")
    if isinstance(value, int | float):
        return f"{value:.6g}" + (unit if unit == "°" else f" {unit}" if unit else "")
    return shown(value) if isinstance(value, str) else str(getattr(value, "text", value))
