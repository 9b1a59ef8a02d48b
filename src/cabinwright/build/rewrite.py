"""Change one thing in the text of a build, and leave every other letter of it as the person wrote it.

The text itself is cut and joined at the places that ``Locator`` finds: comments, order, blanks, line ends and units stay.
The new text is read back with Python's own reader and must say what was meant and nothing else; where the shape of a file
defeats that, nothing is changed and the person is asked to do it by hand.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from cabinwright.build.codec import toml_data, toml_string
from cabinwright.build.locate import Locator, Path
from cabinwright.errors import RefusedError

__all__ = ["added_row", "literal", "rewritten_value", "without"]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_LINE = re.compile(r"[^\n]*(?:\n|\Z)")
Data = dict[str, Any]


def literal(value: Any) -> str:
    """A value as TOML writes it in a line. Raises ``RefusedError`` for what a build cannot hold."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        words = repr(value)  # nan and inf are TOML too; the build's own rules refuse them
        return words if re.search(r"[.n]", words) or "e" not in words else words.replace("e", ".0e")
    if isinstance(value, str):
        return toml_string(value).replace("\x7f", "\\u007F")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(str(key))} = {literal(item)}" for key, item in value.items()) + "}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(literal(item) for item in value) + "]"
    raise RefusedError(f"{type(value).__name__}: no value of a build. Give a number, text, true or false, or a list.")


def rewritten_value(text: str, path: Path, value: Any) -> str:
    """``text`` with ``value`` at ``path``, which may be a key that its table does not hold yet. Raises ``RefusedError``."""

    def mean(data: Data) -> None:
        table = _at(data, path[:-1], make=True)
        if isinstance(table, list):
            table[int(path[-1])] = _plain(value)
        else:
            table[path[-1]] = _plain(value)

    def cut(found: Locator) -> str:
        if path in found.values:
            start, end = found.values[path]
            return text[:start] + literal(value) + text[end:]
        return _with_key(text, found, path, value)

    return _checked(text, mean, cut)


def without(text: str, path: Path) -> str:
    """``text`` without the key, the element or the whole table at ``path``. Raises ``RefusedError``."""

    def mean(data: Data) -> None:
        table = _at(data, path[:-1])
        del table[path[-1]]
        if table == [] and path not in Locator(text).values:  # the last [[row]] of its kind takes the word with it
            del _at(data, path[:-2])[path[-2]]

    def cut(found: Locator) -> str:
        if path in found.keys and path in found.values:
            return _without_lines(text, found.keys[path], found.values[path][1])
        if path in found.values:
            return _without_element(text, found, path)
        return _without_table(text, found, path)

    return _checked(text, mean, cut)


def added_row(text: str, table: Path, row: Mapping[str, Any], *, comment: str = "") -> str:
    """``text`` with one more ``[[table]]`` after the last of its kind, or at the end. Raises ``RefusedError``."""
    dotted = ".".join(_key(str(part)) for part in table if isinstance(part, str))
    lines = [f"[[{dotted}]]" + (f" # {comment}" if comment else "")]
    lines += [f"{_key(key)} = {literal(value)}" for key, value in row.items()]

    def mean(data: Data) -> None:
        _at(data, table[:-1], make=True).setdefault(table[-1], []).append(_plain(row))

    def cut(found: Locator) -> str:
        inline = found.values.get(table)
        if inline is not None:
            return _with_element(text, found, table, inline, literal(row))
        end = _end_of_rows(text, found, table)
        if end is None and _in_a_row(table):
            return _with_key(text, found, table, [row])
        end = len(text) if end is None else end
        before = text[:end] if text[:end].endswith("\n") else text[:end] + "\n"
        return before + "\n".join(lines) + "\n" + text[end:]

    return _checked(text, mean, cut)


def _checked(text: str, mean: Callable[[Data], None], cut: Callable[[Locator], str]) -> str:
    """What ``cut`` makes of the text, if it says what ``mean`` makes of its data and nothing else."""
    windows = "\r\n" in text and not re.search(r"(?<!\r)\n", text)
    wanted = _plain(toml_data(text))
    try:
        mean(wanted)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError):
        raise RefusedError("There is nothing of that name in the build. Look at the file again.") from None
    new = cut(Locator(text))
    new = re.sub(r"(?<!\r)\n", "\r\n", new) if windows else new
    try:
        told = toml_data(new)
    except ValueError:
        told = {}
    if not _alike(told, wanted):
        raise RefusedError(
            "The file was left as it is: its lines stand in a shape that leaves no safe place for this change. "
            "Make it by hand in an editor."
        )
    return new


def _alike(one: Any, other: Any) -> bool:
    """Equal, and of one kind: 1 is not 1.0 in TOML, nor true."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_alike(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other or one != one)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def _at(data: Any, path: Path, *, make: bool = False) -> Any:
    for part in path:
        data = data.setdefault(part, {}) if make and isinstance(part, str) else data[part]
    return data


def _key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else toml_string(name)


def _line_end(text: str, at: int) -> int:
    found = _LINE.match(text, at)
    return found.end() if found else at


def _in_a_row(table: Path) -> bool:
    """Whether a table stands within one of several rows: a head of its own at the end of the text would be of the last row."""
    return any(isinstance(part, int) for part in table)


def _with_key(text: str, found: Locator, path: Path, value: Any) -> str:
    """One more key after the last of its table's own; a table that has no line of its own gets one at the end.

    Within a row it is written in braces, as a key of the row.
    """
    table, line = path[:-1], f"{_key(str(path[-1]))} = {literal(value)}\n"
    if table in found.values:  # a table in braces
        start, end = found.values[table]
        empty = not text[start + 1 : end - 1].strip()
        return f"{text[: end - 1].rstrip()}{'' if empty else ', '}{line[:-1]}{text[end - 1 :]}"
    if not table and isinstance(value, Mapping):
        lines = [f"{_key(key)} = {literal(item)}" for key, item in value.items()]
        return text + ("" if text.endswith("\n") else "\n") + "\n".join([f"[{_key(str(path[-1]))}]", *lines]) + "\n"
    own = [found.values[key][1] for key in found.keys if key[:-1] == table and key in found.values]
    head = next((at for at, at_path in found.heads if at_path == table), None)
    if own or head is not None:
        at = _line_end(text, max(own) if own else head or 0)
        return text[:at] + ("" if text[:at].endswith("\n") else "\n") + line + text[at:]
    if not table:
        return line + text
    if _in_a_row(table[:-1]):
        return _with_key(text, found, table, {path[-1]: value})
    dotted = ".".join(_key(part) for part in table if isinstance(part, str))
    return text + ("" if text.endswith("\n") else "\n") + f"[{dotted}]\n{line}"


def _block_end(text: str, found: Locator, path: Path) -> int:
    """Where the lines of the table ``path`` and of those within it end: after its last value, or its head."""
    inside = [end for key, (_, end) in found.values.items() if key[: len(path)] == path]
    inside += [at for at, at_path in found.heads if at_path[: len(path)] == path]
    return _line_end(text, max(inside))


def _end_of_rows(text: str, found: Locator, table: Path) -> int | None:
    """After the last row of ``table``; or None where another row would not be safe but at the end."""
    rows = [path for _, path in found.heads if len(path) == len(table) + 1 and path[:-1] == table]
    return _block_end(text, found, rows[-1]) if rows else None


def _without_lines(text: str, start: int, end: int) -> str:
    """A pair taken out with its line, or out of a table in braces with its comma."""
    first = text.rfind("\n", 0, start) + 1
    after = _line_end(text, end)
    alone = not text[first:start].strip() and re.fullmatch(r"[ \t]*(?:#[^\n]*)?\r?\n?", text[end:after])
    if alone:
        return text[:first] + text[after:]
    return _without_comma(text, start, end)


def _without_comma(text: str, start: int, end: int) -> str:
    after = re.compile(r"[ \t]*,[ \t]*").match(text, end)
    if after:
        return text[:start] + text[after.end() :]
    before = re.search(r"[ \t]*,\s*\Z", text[:start])
    return text[: before.start() if before else start] + text[end:]


def _without_element(text: str, found: Locator, path: Path) -> str:
    start, end = found.values[path]
    return _without_comma(text, start, end)


def _with_element(text: str, found: Locator, table: Path, span: tuple[int, int], words: str) -> str:
    """One more element of a list in brackets, after the last."""
    elements = [end for key, (_, end) in found.values.items() if key[:-1] == table]
    at = max(elements) if elements else span[0] + 1
    return f"{text[:at]}{', ' if elements else ''}{words}{text[at:]}"


def _without_table(text: str, found: Locator, path: Path) -> str:
    """All lines of a table, those of the tables within it too; comments above its head go with it, save past a blank line."""
    heads = [(at, at_path) for at, at_path in found.heads]
    for number in range(len(heads) - 1, -1, -1):
        at, at_path = heads[number]
        if at_path[: len(path)] != path:
            continue
        inside = [end for key, (start, end) in found.values.items() if key[: len(at_path)] == at_path and start > at]
        following = heads[number + 1][0] if number + 1 < len(heads) else len(text)
        own = [end for end in inside if end <= following]
        text = text[: text.rfind("\n", 0, at) + 1] + text[_line_end(text, max(own, default=at)) :]
    return text
