"""The demo as a stranger meets it: marked as invented, small, one bad recording caught, the wrong entry found.

Its recordings come from an independent room simulator by ``demo/make_demo.py``; both mistakes were made on purpose.
"""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import pytest

from cabinwright.session import Session

DEMO = Path(__file__).parents[2] / "demo" / "build"
BAD = ("right midbass", "p5")
WRONG_WAY = "left midbass"


@pytest.fixture(scope="module")
def estate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "estate"
    shutil.copytree(DEMO, folder)
    return folder


def test_everything_says_that_it_is_invented() -> None:
    data = tomllib.loads((DEMO / "build.toml").read_text(encoding="utf-8"))
    assert "invented" in data["title"]
    assert "invented" in data["vehicle"]["name"]
    assert "Nothing in this folder was recorded in a real car" in (DEMO / "README.md").read_text(encoding="utf-8")
    assert (DEMO / "build.toml").read_text(encoding="utf-8").startswith("# Invented")
    assert len(data["channels"]) == 5
    assert len(data["microphone_positions"]) == 6


def test_recordings_are_listed_and_small() -> None:
    data = tomllib.loads((DEMO / "build.toml").read_text(encoding="utf-8"))
    listed = {row["file"] for table in ("recordings", "verification_recordings") for row in data[table]}
    files = {file.relative_to(DEMO).as_posix(): file.stat().st_size for file in DEMO.rglob("*.flac")}
    assert set(files) == listed
    assert sum(files.values()) < 8_000_000


def test_the_bad_recording_and_no_other_is_left_out(estate: Path) -> None:
    bad = [item for item in Session.open(estate).recordings().verdicts if not item.good]
    assert [(item.channel, item.position) for item in bad] == [BAD]
    assert "clipped" in bad[0].reason


def test_verifying_names_the_channel_that_was_entered_wrongly(estate: Path) -> None:
    """Against the settings that were loaded when the second round was made, whatever the tune gives now."""
    result, _ = Session.open(estate).verify(settings_file=DEMO / "verification" / "loaded_settings.json")
    assert not result.passed
    assert [(cause.kind, cause.channels) for cause in result.causes] == [("polarity", (WRONG_WAY,))]
    assert result.causes[0].confidence == "clear"
