"""One change in a person's text. Python's own tomllib judges what was written; every other line stays letter for letter."""

from __future__ import annotations

import copy
import difflib
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from build.samples import MINIMAL, PROMISED, square
from cabinwright.build.rewrite import added_row, literal, rewritten_value, without
from cabinwright.errors import RefusedError

DEMO = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")
TEXT = """# of mine
title = "t" # why
[[rows]] # first
name = "a"
at = [1, "2 cm", # mm
      3.0]
in = { x = 1, "y z" = [1, 2] }

# about others
[[others]]
name = "o"

[[rows]]
name = "b"
[rows.sub]
k = 1 # one
"""


def changed(old: str, new: str) -> list[str]:
    """Lines that are not in both."""
    found = difflib.ndiff(old.splitlines(), new.splitlines())
    return [line for line in found if line[:1] in "+-"]


def test_a_value_alone_is_replaced() -> None:
    assert changed(TEXT, rewritten_value(TEXT, ("rows", 0, "at", 1), -0.5)) == [
        '- at = [1, "2 cm", # mm',
        "+ at = [1, -0.5, # mm",
    ]
    assert changed(TEXT, rewritten_value(TEXT, ("rows", 1, "sub", "k"), "a\n“b”")) == [
        "- k = 1 # one",
        '+ k = "a\\n“b”" # one',
    ]


def test_a_key_comes_after_the_last_of_its_table() -> None:
    new = rewritten_value(TEXT, ("rows", 0, "more"), True)
    assert changed(TEXT, new) == ["+ more = true"]
    assert tomllib.loads(new)["rows"][0]["more"] is True
    inline = rewritten_value(TEXT, ("rows", 0, "in", "w"), 2)
    assert 'in = { x = 1, "y z" = [1, 2], w = 2}' in inline
    assert tomllib.loads(rewritten_value(TEXT, ("tuning", "seat"), "s"))["tuning"] == {"seat": "s"}


def test_rows_come_and_go() -> None:
    new = added_row(TEXT, ("others",), {"name": "p", "c d": [[1, 2.5]]})
    assert changed(TEXT, new) == ["+ [[others]]", '+ name = "p"', '+ "c d" = [[1, 2.5]]']
    gone = without(TEXT, ("rows", 1))
    assert changed(TEXT, gone) == ["- [[rows]]", '- name = "b"', "- [rows.sub]", "- k = 1 # one"]
    assert "rows" not in tomllib.loads(without(gone, ("rows", 0)))
    assert changed(TEXT, without(TEXT, ("rows", 0, "at", 0)))[1] == '+ at = ["2 cm", # mm'


def test_tables_within_a_row_that_is_not_the_last() -> None:
    """A head at the end of the text would make them parts of the last row."""
    row = tomllib.loads(added_row(TEXT, ("rows", 0, "parts"), {"k": 1}))["rows"]
    assert row[0]["parts"] == [{"k": 1}] and "parts" not in row[1]
    twice = added_row(added_row(TEXT, ("rows", 0, "parts"), {"k": 1}), ("rows", 0, "parts"), {"k": 2})
    assert tomllib.loads(twice)["rows"][0]["parts"] == [{"k": 1}, {"k": 2}]
    assert changed(TEXT, rewritten_value(TEXT, ("rows", 0, "sub", "k"), 2)) == ["+ sub = {k = 2}"]
    deep = rewritten_value(TEXT, ("rows", 0, "sub", "of", "k"), 2)
    assert changed(TEXT, deep) == ["+ sub = {of = {k = 2}}"]


def test_a_whole_table_gets_a_head_of_its_own() -> None:
    new = rewritten_value(TEXT, ("power",), {"nominal_v": 13.8, "a b": "c"})
    assert changed(TEXT, new) == ["+ [power]", "+ nominal_v = 13.8", '+ "a b" = "c"']


def test_tables_that_stand_among_one_another_are_kept() -> None:
    """The demo writes [[wires]] and [[fuses]] in turn; a writer that gathers rows of one kind would lose that."""
    new = added_row(DEMO, ("fuses",), {"name": "spare", "rating_a": 5})
    assert changed(DEMO, new) == ["+ [[fuses]]", '+ name = "spare"', "+ rating_a = 5"]


def test_what_cannot_be_is_refused() -> None:
    for path in (("rows", 7, "k"), ("title", "x"), ("rows", 0, "at", 9)):
        with pytest.raises(RefusedError, match=r"nothing of that name|no safe place"):
            rewritten_value(TEXT, path, 1)
    with pytest.raises(RefusedError, match="no value of a build"):
        literal(object())


def paths(data: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    found = [] if not path else [path]
    for key, value in pairs:
        found += paths(value, (*path, key))
    return found


VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=("Cs",)), max_size=12),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@given(
    text=st.sampled_from([TEXT, PROMISED, MINIMAL, square(3)]),
    data=st.data(),
    value=VALUES,
    windows=st.booleans(),
    take=st.booleans(),
)
def test_whatever_is_changed(text: str, data: st.DataObject, value: Any, windows: bool, take: bool) -> None:
    """It says what was meant and nothing else, with the ends of lines it had; or it is refused and says so."""
    old = text.replace("\n", "\r\n") if windows else text
    told = tomllib.loads(old)
    path = data.draw(st.sampled_from(paths(told)))
    wanted = copy.deepcopy(told)
    table = wanted
    for part in path[:-1]:
        table = table[part]  # type: ignore[index]
    try:
        new = without(old, path) if take else rewritten_value(old, path, value)
    except RefusedError:
        return
    if take:
        del table[path[-1]]  # type: ignore[arg-type]
        if table == [] and tomllib.loads(new) != wanted:  # the last [[row]] takes the word with it
            above = wanted
            for part in path[:-2]:
                above = above[part]  # type: ignore[index]
            del above[path[-2]]  # type: ignore[arg-type]
        assert tomllib.loads(new) == wanted
    else:
        table[path[-1]] = value  # type: ignore[index]
        assert tomllib.loads(new) == wanted
    assert ("\r\n" in new) == windows
