"""Writing a set of files: all or none, and earlier output stays whole whatever happens."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

import pytest

from cabinwright.errors import OutputError
from cabinwright.files import write_all

OLD = {"a.json": "old a\n", "b.html": "old b\n"}
NEW = {"a.json": "new a\n", "b.html": "new ä\n"}


def contents(folder: Path) -> dict[str, str]:
    return {path.name: path.read_bytes().decode("utf-8") for path in folder.iterdir()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_all(tmp_path / "out", OLD)
    return tmp_path / "out"


def test_writes_text_and_bytes_and_leaves_nothing_else(folder: Path) -> None:
    paths = write_all(folder, {**NEW, "c.bin": b"\x00\xff"})
    assert [path.name for path in paths] == ["a.json", "b.html", "c.bin"]
    assert (folder / "c.bin").read_bytes() == b"\x00\xff"
    (folder / "c.bin").unlink()
    assert contents(folder) == NEW


def test_newlines_are_written_as_given(folder: Path) -> None:
    write_all(folder, {"a.json": "x\ny\n"})
    assert (folder / "a.json").read_bytes() == b"x\ny\n"


def test_makes_missing_folders(tmp_path: Path) -> None:
    write_all(tmp_path / "one" / "two", NEW)
    assert contents(tmp_path / "one" / "two") == NEW


def fail_at(monkeypatch: pytest.MonkeyPatch, target: str, call: int, error: BaseException) -> None:
    """Let the given call of an operation fail, counted from 1."""
    owner, name = (os, target) if hasattr(os, target) and target == "fsync" else (Path, target)
    real = getattr(owner, name)
    count = 0

    def wrapped(*args: object, **kwargs: object) -> object:
        nonlocal count
        count += 1
        if count == call:
            raise error
        return real(*args, **kwargs)

    monkeypatch.setattr(owner, name, wrapped)


@pytest.mark.parametrize("call", [1, 2])
@pytest.mark.parametrize("target", ["fsync", "replace"])
@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full. Free some space"),
        (errno.EACCES, "writing there is not allowed. Close the file if another program"),
        (errno.EROFS, "the disk is read-only. Copy the build folder"),
        (errno.EIO, "Check that the folder exists"),
    ],
)
def test_failures_leave_the_earlier_set(
    folder: Path, monkeypatch: pytest.MonkeyPatch, target: str, call: int, code: int, words: str
) -> None:
    fail_at(monkeypatch, target, call, OSError(code, os.strerror(code)))
    with pytest.raises(OutputError, match=words) as caught:
        write_all(folder, NEW)
    assert str(folder) in str(caught.value)
    assert "unchanged" in str(caught.value)
    monkeypatch.undo()
    assert contents(folder) == OLD


@pytest.mark.parametrize("call", [1, 2])
@pytest.mark.parametrize("target", ["fsync", "replace"])
def test_interrupting_leaves_the_earlier_set(
    folder: Path, monkeypatch: pytest.MonkeyPatch, target: str, call: int
) -> None:
    fail_at(monkeypatch, target, call, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        write_all(folder, NEW)
    monkeypatch.undo()
    assert contents(folder) == OLD


def test_a_failed_first_set_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fail_at(monkeypatch, "replace", 2, OSError(errno.EIO, "broken"))
    with pytest.raises(OutputError):
        write_all(tmp_path / "out", NEW)
    assert contents(tmp_path / "out") == {}


@pytest.mark.skipif(
    sys.platform == "win32" or (hasattr(os, "geteuid") and os.geteuid() == 0), reason="rights do not bind this user"
)
def test_read_only_folder(folder: Path) -> None:
    folder.chmod(0o555)
    try:
        with pytest.raises(OutputError, match="writing there is not allowed"):
            write_all(folder, NEW)
    finally:
        folder.chmod(0o755)
    assert contents(folder) == OLD


def test_a_file_in_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("in the way", encoding="utf-8")
    with pytest.raises(OutputError, match="Move that file out of the way"):
        write_all(tmp_path / "out", NEW)
    assert (tmp_path / "out").read_text(encoding="utf-8") == "in the way"


def test_a_folder_in_place_of_a_file(folder: Path) -> None:
    (folder / "c.json").mkdir()
    with pytest.raises(OutputError, match=r"c\.json: cannot be written"):
        write_all(folder, {**NEW, "c.json": "x"})
    (folder / "c.json").rmdir()
    assert contents(folder) == OLD


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no endless device to link to")
def test_a_link_to_a_device_is_no_earlier_result(folder: Path) -> None:
    (folder / "c.json").symlink_to("/dev/full")
    with pytest.raises(OutputError, match="no plain file"):
        write_all(folder, {**NEW, "c.json": "x"})
    (folder / "c.json").unlink()
    assert contents(folder) == OLD


@pytest.mark.parametrize("name", ["../up.json", "a/b/x.json", "a/", "a/..", "/x.json", "", ".", ".."])
def test_only_plain_names(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="not a plain file name"):
        write_all(tmp_path, {name: "x"})


def test_a_disk_that_turns_read_only_is_the_persons_to_mend(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither writing nor cleaning up works there: the first reason is what counts."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.setattr(Path, "unlink", refuse)
    with pytest.raises(OutputError, match="read-only"):
        write_all(folder, NEW)


def test_one_folder_deep_all_or_none(tmp_path: Path) -> None:
    assert write_all(tmp_path, {"a.json": "1", "cut/b.dxf": b"2"}) == (tmp_path / "a.json", tmp_path / "cut" / "b.dxf")
    (tmp_path / "cut" / "c.dxf").mkdir()
    with pytest.raises(OutputError, match="no plain file"):
        write_all(tmp_path, {"a.json": "3", "cut/b.dxf": b"4", "cut/c.dxf": b"5"})
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == "1"
    assert (tmp_path / "cut" / "b.dxf").read_bytes() == b"2"
    assert sorted(path.name for path in (tmp_path / "cut").iterdir()) == ["b.dxf", "c.dxf"]
