"""Write a decision into the text of a build, and leave everything else in it as the person wrote it.

Comments, order, blanks, line ends and units stay (tomlkit). The new text is read back with Python's own reader and must
say what the old one said and the new speakers, nothing else; a file that tomlkit cannot handle is refused with the
table to paste.
"""

from __future__ import annotations

import re
import tomllib
from codecs import BOM_UTF8
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.container import Container
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, Item, Table, Whitespace

from cabinwright.errors import RefusedError

__all__ = ["rewritten", "speaker_table", "with_speakers"]

Row = Mapping[str, Any]
KEY = "speakers"
ORIGIN = "accepted from the place of this name"


def speaker_table(row: Row) -> str:
    """The speaker as a ``[[speakers]]`` table to paste."""
    tables = tomlkit.aot()
    tables.append(_table(row))
    document = tomlkit.document()
    document.append(KEY, tables)
    return tomlkit.dumps(document)


def rewritten(content: bytes, rows: Sequence[Row], *, file: str) -> bytes:
    """The bytes of ``build.toml`` with ``rows`` added; a byte order mark stays where it was. Raises as ``with_speakers``."""
    mark = BOM_UTF8 if content.startswith(BOM_UTF8) else b""
    return mark + with_speakers(content[len(mark) :].decode("utf-8"), rows, file=file).encode("utf-8")


def with_speakers(text: str, rows: Sequence[Row], *, file: str) -> str:
    """The build in ``text`` (without a byte order mark) with ``rows`` after its last speaker; plain TOML values each.

    Raises ``RefusedError`` where the shape of the file defeats it; the message holds what to paste, and ``file``.
    """
    wanted = tomllib.loads(text)
    wanted[KEY] = [*wanted.get(KEY, []), *(dict(row) for row in rows)]
    try:
        written = _written(text, rows)
        told = tomllib.loads(written)
    except (TOMLKitError, ValueError, TypeError, RecursionError) as error:
        raise _paste(file, rows, str(error)) from error
    if told != wanted:
        raise _paste(file, rows, "its tables stand in an order that leaves no safe place for another")
    return written


def _written(text: str, rows: Sequence[Row]) -> str:
    ended = text if text.endswith("\n") else text + "\n"
    document = tomlkit.parse(ended)
    speakers = document.get(KEY)
    if isinstance(speakers, Array):
        for row in rows:
            _extend(speakers, row)
    elif isinstance(speakers, AoT):
        for row in rows:
            _append(speakers, row)
    new = tomlkit.dumps(document)
    if speakers is None or (isinstance(speakers, AoT) and not _only_inserted(ended, new)):
        new = ended + "".join("\n" + speaker_table(row) for row in rows)  # speakers here and there: the end is safe
    only_windows_ends = "\r\n" in text and not re.search(r"(?<!\r)\n", text)
    return re.sub(r"(?<!\r)\n", "\r\n", new) if only_windows_ends else new


def _only_inserted(old: str, new: str) -> bool:
    """Whether ``new`` is ``old`` with one piece put in."""
    shared = next((n for n, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), min(len(old), len(new)))
    return len(new) >= len(old) and new.endswith(old[shared:])


def _extend(speakers: Array, row: Row) -> None:
    """One more inline table, on a line of its own where the others stand so."""
    inline = tomlkit.inline_table()
    inline.update(row)
    if "\n" in speakers.as_string():
        speakers.add_line(inline)
    else:
        speakers.append(inline)


def _append(speakers: AoT, row: Row) -> None:
    """One more table. What follows a blank line after the last one heads the next part of the file, and stays there."""
    last = speakers[-1]
    table = _table(row)
    tail = _take_tail(last.value)
    if tail or any("\n\n" in item.as_string().replace("\r", "") for item in speakers[:-1]):
        last.value.body.append((None, Whitespace("\n")))
    table.value.body.extend((None, item) for item in tail)
    speakers.append(table)


def _take_tail(table: Container) -> list[Item]:
    """Take what ends a table away from it: all from the first blank line after its last key on."""
    body = table.body
    last_key = max((number for number, (key, _) in enumerate(body) if key is not None), default=-1)
    blanks = (n for n in range(last_key + 1, len(body)) if isinstance(body[n][1], Whitespace))
    first = next(blanks, len(body))
    tail = [item for _, item in body[first:]]
    del body[first:]
    return tail


def _table(row: Row) -> Table:
    table = tomlkit.table()
    table.comment(ORIGIN)
    for key, value in row.items():
        table.add(key, value)
    return table


def _paste(file: str, rows: Sequence[Row], reason: str) -> RefusedError:
    blocks = "\n".join(speaker_table(row) for row in rows)
    return RefusedError(
        f"{file}: the file was left as it is, because nothing could be added to it safely ({reason}). Paste this in "
        f"by hand, after the other speakers:\n\n{blocks}"
    )
