"""Where in a TOML text each key and element stands. ``tomllib`` reads the values but keeps no places.

The scanner is loose on purpose: it runs only on text that ``tomllib`` has accepted, so it need not judge, only count.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Sequence
from contextlib import suppress

__all__ = ["Locator", "Path"]

Path = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\r\n,]|#[^\n]*)*")
_STRING = re.compile(
    r'''"""(?:\\.|[^\\])*?""""{0,2}|"(?:\\.|[^"\\])*"|''' + r"'''.*?''''{0,2}|'[^']*'",
    re.DOTALL,
)
_KEY = re.compile(r"""[ \t]*([A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')[ \t]*""")
_BARE = re.compile(r"[^,\]}#\r\n]*")
_DEEPEST = 8  # no key of a build stands deeper; what is deeper is told by the line of its table


class _LostError(Exception):
    """The scanner met something it does not know."""


class Locator:
    """Lines of one text. ``line(path)`` answers for the nearest thing written down at or above ``path``."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._starts = [match.end() for match in re.finditer("\n", text)]
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self.heads: list[tuple[int, Path]] = []  #: each [table] and [[table]]: where it begins, and its path
        self.keys: dict[Path, int] = {}  #: each key of a pair: where it begins
        self.values: dict[Path, tuple[int, int]] = {}  #: each value and each element of a list: from where to where
        with suppress(_LostError, IndexError, RecursionError):
            # A line number is a courtesy; text too odd for the scanner loses it, and nothing else.
            self._scan()

    def line(self, path: Sequence[str | int]) -> int | None:
        """1-based line of ``path`` or of the table that should hold it; ``None`` where nothing is known."""
        for end in range(len(path), 0, -1):
            found = self._lines.get(tuple(path[:end]))
            if found is not None:
                return found
        return None

    def _note(self, path: Path, at: int) -> None:
        if len(path) <= _DEEPEST:
            self._lines.setdefault(path, bisect_right(self._starts, at) + 1)

    def _skip(self, at: int) -> int:
        match = _GAP.match(self._text, at)
        return match.end() if match else at

    def _scan(self) -> None:
        text, at = self._text, self._skip(0)
        prefix: Path = ()
        while at < len(text):
            if text[at] == "[":
                many = text.startswith("[[", at)
                keys, end = self._keys(at + (2 if many else 1))
                prefix = self._enter(keys, at, many=many)
                self.heads.append((at, prefix))
                at = end + (2 if many else 1)
            else:
                at = self._pair(prefix, at)
            at = self._skip(at)

    def _keys(self, at: int) -> tuple[list[str], int]:
        """Dotted key from ``at``; the parts and where they end."""
        keys = []
        while True:
            match = _KEY.match(self._text, at)
            if match is None:
                raise _LostError
            keys.append(_plain(match[1]))
            at = match.end()
            if self._text[at : at + 1] != ".":
                return keys, at
            at += 1

    def _enter(self, keys: list[str], at: int, *, many: bool) -> Path:
        """The path a table header opens; a part that names an array of tables means its latest table."""
        path: Path = ()
        for number, key in enumerate(keys, start=1):
            path = (*path, key)
            self._note(path, at)
            if many and number == len(keys):
                self._counts[path] = self._counts.get(path, 0) + 1
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
                self._note(path, at)
        return path

    def _pair(self, prefix: Path, at: int) -> int:
        keys, end = self._keys(at)
        path = prefix
        for key in keys:
            path = (*path, key)
            self._note(path, at)
        self.keys[path] = at
        return self._value(path, self._skip(end + 1))  # past the equals sign

    def _value(self, path: Path, at: int) -> int:
        """Note the value that starts at ``at`` and everything inside it; returns where it ends."""
        end = self._end(path, at)
        bare = at + len(self._text[at:end].rstrip())  # a bare value runs on over blanks
        self.values[path] = (at, bare)
        return end

    def _end(self, path: Path, at: int) -> int:
        text = self._text
        string = _STRING.match(text, at)
        if string:
            return string.end()
        if text[at] not in "[{":
            bare = _BARE.match(text, at)
            return bare.end() if bare else at
        closing, index = {"[": "]", "{": "}"}[text[at]], 0
        at = self._skip(at + 1)
        while text[at] != closing:
            if closing == "]":
                element: Path = (*path, index)
                self._note(element, at)
                at, index = self._value(element, at), index + 1
            else:
                at = self._pair(path, at)
            at = self._skip(at)
        return at + 1


def _plain(key: str) -> str:
    """A key without its quotes."""
    if key[0] == "'":
        return key[1:-1]
    return str(tomllib.loads(f"k = {key}")["k"]) if key[0] == '"' else key
