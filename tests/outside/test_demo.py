"""The demo as a stranger meets it: marked as invented, small, one bad recording caught, the wrong entry found.

Its recordings come from an independent room simulator by ``demo/make_demo.py``; both mistakes were made on purpose.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import pytest

from cabinwright.session import Session

DEMO = Path(__file__).parents[2] / "demo" / "build"
BAD = ("right midbass", "p5")
WRONG_WAY = "left midbass"


@pytest.fixture(scope="module")
def tuned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "estate"
    shutil.copytree(DEMO, folder)
    Session.open(folder).tune()
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


def test_the_bad_recording_and_no_other_is_left_out(tuned: Path) -> None:
    bad = [item for item in Session.open(tuned).recordings().verdicts if not item.good]
    assert [(item.channel, item.position) for item in bad] == [BAD]
    assert "clipped" in bad[0].reason


def test_verification_was_made_with_the_settings_of_today(tuned: Path) -> None:
    """If this fails, the tune has changed: run ``python demo/make_demo.py --verification`` and look at the result."""
    now = json.loads((tuned / "out" / "settings.json").read_text(encoding="utf-8"))
    then = json.loads((DEMO / "verification" / "loaded_settings.json").read_text(encoding="utf-8"))
    keyed_in = ("name", "gain_db", "polarity", "delay_s")
    assert [[row[key] for key in keyed_in] for row in now["channels"]] == [
        [row[key] for key in keyed_in] for row in then["channels"]
    ]


def test_verifying_names_the_channel_that_was_entered_wrongly(tuned: Path) -> None:
    result, _ = Session.open(tuned).verify()
    assert not result.passed
    assert [(cause.kind, cause.channels) for cause in result.causes] == [("polarity", (WRONG_WAY,))]
