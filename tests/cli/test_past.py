"""The commands ``history`` and ``compare`` as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cabinwright.cli.main import main
from cabinwright.history.log import Log
from desk.cars import TEXT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(TEXT, encoding="utf-8", newline="\n")
    assert main(["accept", str(tmp_path), "left pillar"]) == 0
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> tuple[str, str]:
    capsys.readouterr()
    assert main([str(word) for word in words]) == code
    told = capsys.readouterr()
    return told.out, told.err


def test_list_show_restore(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, _ = said(capsys, "history", folder)
    assert "   1  " in out and "accept: accepted left pillar" in out
    assert 'speakers["left pillar"]: added' in said(capsys, "history", folder, "--show", 0)[0]
    rows = json.loads(said(capsys, "history", folder, "--show", 0, "--json")[0])
    assert [row["what"] for row in rows] == ["added"]
    assert "as change 2" in said(capsys, "history", folder, "--restore", 0, "--why", "no")[0]
    assert (folder / "build.toml").read_text(encoding="utf-8") == TEXT
    assert "stands there already" in said(capsys, "history", folder, "--restore", 0)[0]
    told = json.loads(said(capsys, "history", folder, "--json")[0])
    assert [(row["by"], row["why"]) for row in told["entries"]] == [("accept", ""), ("history", "no")]
    assert told["damage"] == []


def test_a_build_that_was_broken_or_deleted_comes_back(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good = (folder / "build.toml").read_bytes()
    (folder / "build.toml").write_text("broken", encoding="utf-8")
    said(capsys, "history", folder, "--restore", 1)
    assert (folder / "build.toml").read_bytes() == good
    log = Log(folder)
    assert log.state(log.read().entries[-1].before) == b"broken"  # nothing was lost
    (folder / "build.toml").unlink()
    said(capsys, "history", folder, "--restore", 1)
    assert (folder / "build.toml").read_bytes() == good


def test_what_cannot_be_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "no state 7" in said(capsys, "history", folder, "--restore", 7, code=2)[1]
    assert "no such build folder" in said(capsys, "history", folder / "none", code=2)[1]
    assert "no such file" in said(capsys, "compare", folder, folder / "none", code=2)[1]
    log = Log(folder)
    log.file.write_bytes(b"{}\n" + log.file.read_bytes())
    out, err = said(capsys, "history", folder)
    assert "log.jsonl:1" in err and "accepted left pillar" in out


def test_compare(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path_factory: pytest.TempPathFactory) -> None:
    out, _ = said(capsys, "compare", "@0", folder)
    assert "design: 1 difference\n" in out and 'speakers["left pillar"]: added' in out
    other = tmp_path_factory.mktemp("other")
    text = TEXT.replace("length_m = 4.5", "length_m = 9").replace('volume_m3 = "24 L"', 'volume_m3 = "48 L"')
    (other / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    told = json.loads(said(capsys, "compare", f"{folder}@0", other, "--json")[0])
    assert {row["where"] for row in told["design"]} == {'wires["feed"].length_m', 'boxes["bay"].volume_m3'}
    result = {row["where"]: row for row in told["result"]}
    volume = result["enclosure: bay, net volume"]
    assert volume["after"] == pytest.approx(2 * volume["before"])
    # A sealed box twice as large lowers f3 and Qtc: Small, "Closed-box loudspeaker systems", JAES 20 (1972), eq. 8 and 9.
    assert result["enclosure: bay, Qtc"]["after"] < result["enclosure: bay, Qtc"]["before"]
    assert any(row["where"].startswith("power: ") for row in told["result"])
