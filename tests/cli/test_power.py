"""The command that plans says what became of the wiring, and writes the page to wire from."""

from __future__ import annotations

from pathlib import Path

import pytest

from cabinwright.cli.main import main
from stages.wired import CAR


def planned(folder: Path, text: str, capsys: pytest.CaptureFixture[str]) -> str:
    (folder / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    assert main(["plan", str(folder)]) == 0
    return capsys.readouterr().out


def test_a_sound_wiring_is_told_and_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = planned(tmp_path, CAR, capsys)
    assert "solved in 4 combinations of states; 1 of 1 promises hold" in told
    assert "plan.json" in told and "power.html" in told
    assert (tmp_path / "out" / "power.html").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_wrong_interlock_and_a_fuse_too_large_are_told_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = CAR.replace('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}')
    told = planned(tmp_path, wrong.replace("rating_a = 100", "rating_a = 300"), capsys)
    assert "0 of 1 promises hold" in told
    flat = " ".join(told.split())
    assert "boot lights burn only while the boot is open" in flat and "fuse “main” is too large" in flat
