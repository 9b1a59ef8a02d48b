"""Answers kept from one build to the next, by what was read to find them.

Work on a build is a plain function of it. While it runs, the build that it is given notes which tables are read; the answer
then holds for every later build in which those tables, and whatever else the work was given, are the same. So nobody has to
keep a list of what depends on what, and none can go stale.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from cabinwright.build.document import Build

__all__ = ["Keeper", "Memory", "afresh", "same"]

Answer = TypeVar("Answer")
Keeper = Callable[..., Any]
"""``keep(name, work, build, *given)``: what ``work(build, *given)`` gives, worked out or remembered."""

_TABLES = frozenset(Build.model_fields)


def afresh(name: Hashable, work: Callable[..., Answer], build: Build, *given: Any) -> Answer:
    """The keeper that keeps nothing."""
    return work(build, *given)


class Watched:
    """A build that notes which of its tables are read. Anything but plain reading counts as reading all of it."""

    def __init__(self, build: Build, reads: set[str]) -> None:
        self._build = build
        self._reads = reads

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in _TABLES:
            self._reads.add(name)
        else:
            self._reads.update(_TABLES)
        return getattr(self._build, name)

    def __reduce__(self) -> tuple[Any, ...]:
        """Sent to another process or kept in a file it is the plain build: what is read there nobody can note here."""
        self._reads.update(_TABLES)
        return (_itself, (self._build,))


def _itself(build: Build) -> Build:
    return build


@dataclass(frozen=True)
class _Kept:
    build: Build
    reads: set[str]
    given: tuple[Any, ...]
    answer: Any

    def holds(self, build: Build, given: tuple[Any, ...]) -> bool:
        return same(self.given, given) and all(
            same(getattr(self.build, table), getattr(build, table)) for table in self.reads
        )


class Memory:
    """The keeper that keeps the last answer of each name. An exception is not kept: the work is tried again."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, _Kept] = {}
        self.worked: list[Hashable] = []  #: names in the order in which work was done, newest last

    def __call__(self, name: Hashable, work: Callable[..., Answer], build: Build, *given: Any) -> Answer:
        """The answer of ``work``; ``name`` tells it from other work."""
        outer = build if isinstance(build, Watched) else None
        plain = build._build if isinstance(build, Watched) else build
        kept = self._kept.get(name)
        if kept is None or not kept.holds(plain, given):
            self._kept.pop(name, None)
            self.worked.append(name)
            del self.worked[:-1000]
            reads: set[str] = set()
            answer = work(cast(Build, Watched(plain, reads)), *given)
            kept = _Kept(plain, reads, given, answer)
            self._kept[name] = kept
        if outer is not None:  # whoever asked has read what this answer stands on
            outer._reads.update(kept.reads)
        return cast(Answer, kept.answer)

    def copy(self) -> Memory:
        """A memory of its own that begins with what this one knows."""
        other = Memory()
        other._kept = dict(self._kept)
        return other

    def reads(self, name: Hashable) -> set[str] | None:
        """The tables that the last answer of this name stands on; None where there is none."""
        kept = self._kept.get(name)
        return None if kept is None else kept.reads


def same(one: Any, other: Any) -> bool:
    """Whether two things may stand for one another: one object, or equal numbers, words, tables and lists of such."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    plain = isinstance(one, str | int | float | bool) or type(one).__module__.startswith("cabinwright.build.")
    return plain and bool(one == other)
