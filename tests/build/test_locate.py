"""Line numbers, checked by texts in which every value is the number of the line it stands on."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.locate import Locator, Path

TEXT = '''# a comment with [brackets] and "quotes"
a = 2
"quoted key" = 3
'literal' = 4
b.c = 5
text = """
[not.a.table]
not = "a key" # nor a comment
"""
raw = \'\'\'
x = [1, 2\'\'\'
quotes = """"two\\""" "\'"""""
list = [
  14, # a comment, with a ] in it
  [15, 15], { in = 15 },
  "]", 16,
]
inline = { x = 18, "y z" = [18, 18], n = { m = 18 } }
date = 1979-05-27 07:32:00
[table] # comment
k = 21
[table."sub table"]
k = 23
[[rows]]
k = 25

[[rows]]
k = 28
[rows.inner]
k = 30
[[rows.nested]]
k = 32
[[rows.nested]]
k = 34
[ spaced . out ]
k =   36
'''


def numbers(data: Any, path: Path = ()) -> Iterator[tuple[Path, int]]:
    """Every whole number in the data with its path."""
    if isinstance(data, int) and not isinstance(data, bool):
        yield path, data
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in pairs:
        yield from numbers(value, (*path, key))


def test_every_number_stands_on_its_line() -> None:
    locator, found = Locator(TEXT), list(numbers(tomllib.loads(TEXT)))
    assert len(found) == 21
    for path, line in found:
        assert locator.line(path) == line, path


def test_windows_line_ends_count_the_same() -> None:
    locator = Locator(TEXT.replace("\n", "\r\n"))
    assert all(locator.line(path) == line for path, line in numbers(tomllib.loads(TEXT)))


def test_what_is_missing_is_sought_in_its_table() -> None:
    locator = Locator(TEXT)
    assert locator.line(("rows", 1, "absent")) == 27
    assert locator.line(("rows", 1, "nested", 1)) == 33
    assert locator.line(("inline", "absent")) == 18
    assert locator.line(("nowhere",)) is None


gaps = st.lists(st.sampled_from(["", "# comment = 1", "  # [x]", "\t"]), max_size=3)


@given(st.lists(st.tuples(st.sampled_from(["pair", "table", "rows", "list", "inline"]), gaps), max_size=12))
def test_any_layout(blocks: list[tuple[str, list[str]]]) -> None:
    lines: list[str] = []

    def here() -> int:
        return len(lines) + 1

    for number, (kind, gap) in enumerate(blocks):
        lines.extend(gap)
        if kind in ("table", "rows"):
            lines.append(f"[t{number}.x]" if kind == "table" else "[[rows]]")
            lines.append(f"k{number} = {here()}")
        elif kind == "list":
            lines.append(f"k{number} = [ {here()},")
            lines.extend(gap)
            lines.append(f"  {here()}, [{here()}], ]")
        elif kind == "inline":
            lines.append(f"k{number} = {{ a = {here()}, b.c = {here()} }}")
        else:
            lines.append(f"k{number} = {here()}")
    text = "\n".join(lines)
    locator = Locator(text)
    for path, line in numbers(tomllib.loads(text)):
        assert locator.line(path) == line, (path, text)


@given(st.text())
def test_text_that_is_no_toml_does_no_harm(text: str) -> None:
    line = Locator(text).line(("a", 0, "b"))
    assert line is None or line >= 1
