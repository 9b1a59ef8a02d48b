"""``cabinwright accept``: a chosen place becomes a speaker of the build, or is refused with the reason."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from build.samples import MINIMAL
from cabinwright.build.codec import load
from cabinwright.cli.main import main
from cabinwright.history.log import Log
from cabinwright.session import Session

CAR = (
    MINIMAL
    + """
[[seats]] # where I sit
name = "driver"
head_m = "head"

[[survey.points]]
name = "head"
at_m = [1.2, -0.4, 1.0]
[[survey.points]]
name = "hinge"
at_m = [0.2, "-60 cm", 1.0]
[[survey.points]]
name = "sill"
at_m = [0.2, 0.6, 0.2]

[[cabin.keep_outs]]
name = "left curtain"
kind = "airbag path"
corners_m = [[0.5, -0.7, 1.0], [2, -0.7, 1.0], [0.5, -0.5, 1.2], [2, -0.5, 1.2], [0.5, -0.7, 1.2], [2, -0.7, 1.2]]
[[cabin.keep_outs]]
name = "driver's knees"
kind = "knees"
corners_m = [[0.5, -0.6, 0.3], [0.8, -0.6, 0.3], [0.5, -0.2, 0.3], [0.8, -0.2, 0.3], [0.5, -0.6, 0.5], [0.8, -0.2, 0.5]]

[[places]] # liked best
name = "left pillar"
role = "coaxial"
side = "left"
position_m = "hinge"
aim = "driver"
[[places]]
name = "Türgriff – links"
role = "midrange"
side = "left"
position_m = ["40 cm", -0.65, 0.6]
aim = [1, 2, 3]
[[places]]
name = "under the roof"
role = "tweeter"
side = "left"
position_m = [0.9, -0.6, 1.15]
[[places]]
name = "under the dash"
role = "midrange"
side = "left"
position_m = [0.6, -0.4, 0.4]
"""
)
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(CAR, encoding="utf-8", newline="\n")
    return tmp_path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def once(*words: str | Path) -> tuple[int, str, str]:
        code = main([str(word) for word in words])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return code, said.out, said.err

    return once


def test_places_become_speakers(folder: Path, run: Run) -> None:
    code, out, err = run("accept", folder, "left pillar", "Türgriff – links", "left pillar")
    assert (code, err) == (0, "")
    assert '"left pillar" into' in out and "[[channels]]" in out and "To undo it" in out
    text = (folder / "build.toml").read_text(encoding="utf-8")
    assert text.startswith(CAR)
    assert 'position_m = "hinge"' in text[len(CAR) :] and '["40 cm", -0.65, 0.6]' in text[len(CAR) :]
    pillar, grip = load(folder).speakers
    assert (pillar.name, pillar.role, pillar.side, grip.aim) == ("left pillar", "coaxial", "left", (1.0, 2.0, 3.0))
    assert pillar.aim == pytest.approx((0.9806, 0.1961, 0.0), abs=6e-5)  # from (0.2, -0.6) to (1.2, -0.4): 5 to 1
    assert sorted(path.name for path in folder.iterdir()) == ["build.toml", "history"]
    (entry,) = Log(folder).read().entries
    assert (entry.by, entry.what) == ("accept", "accepted left pillar, Türgriff – links")
    assert Log(folder).state(entry.before).decode() == CAR


def test_again_changes_nothing(folder: Path, run: Run) -> None:
    run("accept", folder, "left pillar")
    once = (folder / "build.toml").read_bytes()
    code, out, _ = run("accept", folder / "build.toml", "left pillar")
    assert code == 0 and "nothing to write" in out and "To undo" not in out
    assert (folder / "build.toml").read_bytes() == once


def test_an_airbag_has_the_last_word(folder: Path, run: Run) -> None:
    code, out, err = run("accept", folder, "left pillar", "under the roof")
    assert (code, out) == (2, "")
    assert "left curtain" in err and "cannot be waived" in err and "car maker" in err and "Nothing was written" in err
    assert (folder / "build.toml").read_text(encoding="utf-8") == CAR


def test_a_caution_is_told_and_written(folder: Path, run: Run) -> None:
    code, out, _ = run("accept", folder, "under the dash")
    assert code == 0 and "caution" in out and "driver's knees" in out
    assert load(folder).speakers[0].name == "under the dash"


@pytest.mark.parametrize(
    ("old", "new", "place", "message"),
    [
        ("", "", "left piller", 'no place has this name: "left piller". Did you mean "left pillar"'),
        ("[[places]] # liked", "[[speakers]]\nname = 'left pillar'\nrole = 'coaxial'\nside = 'left'\n"
         "position_m = [0.2, -0.6, 0.95]\n[[places]] # liked", "left pillar", "already, 50 mm from this place. Give"),
        ("[[places]] # liked", "[[speakers]]\nname = 'left pillar'\nrole = 'tweeter'\nside = 'left'\n"
         "position_m = 'hinge'\n[[places]] # liked", "left pillar", "for another role or side"),
        ("[[places]] # liked", "[[speakers]]\nname = 'left pillar'\nrole = 'coaxial'\nside = 'left'\n"
         "[[places]] # liked", "left pillar", "already, without a position"),
        ("[[places]] # liked", "[[speakers]]\nname = 'left pillar'\nrole = 'coaxial'\nside = 'left'\n"
         "position_m = 'hinge'\naim = [1, 0, 1]\n[[places]] # liked", "left pillar", "points another way"),
        ('at_m = [0.2, "-60 cm", 1.0]', "", "left pillar", "hinge"),
    ],
)  # fmt: skip
def test_refused_with_the_cure(folder: Path, run: Run, old: str, new: str, place: str, message: str) -> None:
    text = CAR.replace(old, new, 1) if old else CAR
    assert text != CAR or not old
    (folder / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    code, out, err = run("accept", folder, place)
    assert (code, out) == (2, "") and message in err
    assert (folder / "build.toml").read_text(encoding="utf-8") == text


def test_windows_ends_and_a_byte_order_mark_stay(folder: Path, run: Run) -> None:
    content = b"\xef\xbb\xbf" + CAR.replace("\n", "\r\n").encode()
    (folder / "build.toml").write_bytes(content)
    assert run("accept", folder, "left pillar")[0] == 0
    now = (folder / "build.toml").read_bytes()
    assert now.startswith(content) and now.count(b"\n") == now.count(b"\r\n")


def test_a_folder_that_may_not_be_written(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(self: Path, mode: str = "r", *more: object, **words: object) -> object:
        if "w" in mode:
            raise PermissionError(13, "Permission denied", str(self))
        return opened(self, mode, *more, **words)  # type: ignore[arg-type]

    opened = Path.open
    monkeypatch.setattr(Path, "open", locked)
    code, _, err = run("accept", folder, "left pillar")
    assert code == 2 and "not allowed" in err
    monkeypatch.undo()
    assert (folder / "build.toml").read_text(encoding="utf-8") == CAR


def test_a_file_that_may_not_be_written(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda *asked: False)
    code, _, err = run("accept", folder, "left pillar")
    assert code == 2 and "may not be written" in err
    assert (folder / "build.toml").read_text(encoding="utf-8") == CAR


@pytest.mark.skipif(sys.platform == "win32", reason="no such rights there")
def test_it_keeps_who_may_read_it(folder: Path, run: Run) -> None:
    (folder / "build.toml").chmod(0o600)
    assert run("accept", folder, "left pillar")[0] == 0
    assert (folder / "build.toml").stat().st_mode & 0o777 == 0o600


@pytest.mark.skipif(sys.platform == "win32", reason="links want rights there")
def test_a_link_stays_a_link(folder: Path, run: Run, tmp_path: Path) -> None:
    (folder / "other.toml").symlink_to(folder / "build.toml")
    assert run("accept", folder / "other.toml", "left pillar")[0] == 0
    assert (folder / "other.toml").is_symlink()
    assert load(folder).speakers[0].name == "left pillar"


def test_what_would_grow_too_large_is_refused(folder: Path, run: Run) -> None:
    content = CAR + "#" * (1_000_000 - len(CAR.encode()) - 2) + "\n"
    (folder / "build.toml").write_text(content, encoding="utf-8", newline="\n")
    code, _, err = run("accept", folder, "left pillar")
    assert code == 2 and "larger than a build may be" in err
    assert (folder / "build.toml").read_text(encoding="utf-8") == content


def test_the_file_may_have_changed_since_it_was_opened(folder: Path) -> None:
    session = Session.open(folder)
    with (folder / "build.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write("# a late thought\n")
    session.accept(["left pillar"])
    assert "# a late thought" in (folder / "build.toml").read_text(encoding="utf-8")
