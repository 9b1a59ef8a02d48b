"""The log of a build: only ever added to, damage named and left, and nothing lost to a process that is killed."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from cabinwright.errors import PersonError, RefusedError
from cabinwright.history.log import Log, mark_of

A, B, C = b"a = 1\n", b"a = 2\n", b"a = 3\n"


@pytest.fixture
def log(tmp_path: Path) -> Log:
    file = tmp_path / "build.toml"
    file.write_bytes(A)
    made = Log(tmp_path)
    with made.held():
        made.commit(file, A, B, by="screen", what="a: 1 → 2", why="because")
        made.commit(file, B, C, by="accept", what="a: 2 → 3")
    return made


def test_what_when_why_and_every_state(log: Log) -> None:
    found = log.read()
    assert found.damage == ()
    assert [(entry.number, entry.by, entry.what, entry.why) for entry in found.entries] == [
        (1, "screen", "a: 1 → 2", "because"),
        (2, "accept", "a: 2 → 3", ""),
    ]
    assert [log.state(found.mark(number)) for number in (0, 1, 2)] == [A, B, C]
    assert found.entries[0].before == hashlib.sha256(A).hexdigest()
    with pytest.raises(RefusedError, match=r"no state 3\. It holds 0 to 2"):
        found.mark(3)
    with pytest.raises(RefusedError, match="nothing was changed"):
        Log(log.folder / "other").read().mark(0)


@pytest.mark.parametrize(
    ("spoil", "words", "left"),
    [
        (lambda lines: [lines[0][:40], lines[1]], r":1: this line is no entry", [2]),
        (lambda lines: [lines[1]], r":1: what stands before this line was changed or lost", [2]),
        (lambda lines: [lines[0].replace(b"because", b"betause"), lines[1]], r":2: what stands before", [1, 2]),
        (lambda lines: [b"\xff\x00", *lines], r":1: this line is no entry", [1, 2]),
        (lambda lines: [lines[0], lines[1].replace(b'"after": "', b'"after": "../')], r":2: this line is no entry", [1]),
    ],
)  # fmt: skip
def test_damage_is_named_and_left(log: Log, spoil, words: str, left: list[int]) -> None:  # type: ignore[no-untyped-def]
    spoilt = b"\n".join(spoil(log.file.read_bytes().splitlines())) + b"\n"
    log.file.write_bytes(spoilt)
    found = log.read()
    assert found.damage and any(re.search(words, item) for item in found.damage)
    assert [entry.number for entry in found.entries] == left
    with log.held():
        log.add(by="screen", what="on", before=mark_of(C), after=mark_of(C))
    assert log.file.read_bytes().startswith(spoilt)  # nothing was mended
    assert log.read().entries[-1].what == "on"
    assert len(log.read().damage) == len(found.damage)


def test_a_torn_line_does_not_swallow_the_next(log: Log) -> None:
    whole = log.file.read_bytes()
    log.file.write_bytes(whole[:-20])
    with log.held():
        log.add(by="screen", what="on", before=mark_of(B), after=mark_of(B))
    assert [entry.what for entry in log.read().entries] == ["a: 1 → 2", "on"]
    assert len(log.read().damage) == 1


def test_a_copy_that_was_changed_is_not_given(log: Log) -> None:
    path = log.folder / "states" / f"{mark_of(B)}.toml"
    path.write_bytes(b"a = 4\n")
    with pytest.raises(PersonError, match="was changed after it was kept"):
        log.state(mark_of(B))
    path.unlink()
    with pytest.raises(PersonError, match="cannot be read"):
        log.state(mark_of(B))


def test_lines_are_json(log: Log) -> None:
    rows = [json.loads(line) for line in log.file.read_bytes().splitlines()]
    assert rows[1]["previous"] == hashlib.sha256(log.file.read_bytes().splitlines()[0]).hexdigest()
