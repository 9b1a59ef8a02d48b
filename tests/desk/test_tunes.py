"""Two tunes held against each other. What must hold whatever the tune is: level alone changes no curve, silence does."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.build.codec import read, source
from cabinwright.desk.tunes import tunes, tunes_beside
from cabinwright.errors import PersonError
from cabinwright.measure.loaded import MOST_TUNES, keep_tune

DEMO = Path(__file__).parents[2] / "demo" / "build"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, with the settings that were loaded for its second round as the newest tune."""
    made = tmp_path_factory.mktemp("tunes") / "build"
    shutil.copytree(DEMO, made)
    (made / "out").mkdir()
    shutil.copyfile(made / "verification" / "loaded_settings.json", made / "out" / "settings.json")
    return made


def changed(folder: Path, act: Any) -> str:
    """Keep today's tune and put a changed one in its place; returns the file of the kept one."""
    keep_tune(folder / "out")
    kept = {file: mark for file, mark in tunes(folder).items() if file == "out/settings.json"}["out/settings.json"]
    path = folder / "out" / "settings.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    for channel in data["channels"]:
        act(channel)
    path.write_text(json.dumps(data), encoding="utf-8")
    return f"out/tunes/{kept}.json"


def test_level_alone_changes_no_curve_and_silence_does(folder: Path) -> None:
    build = read(source(folder)[1], folder / "build.toml")

    def softer(channel: Any) -> None:
        channel["gain_db"] -= 3.0

    def silent(channel: Any) -> None:
        channel["gain_db"] -= 40.0 * (channel["name"] == "left tweeter")

    first = changed(folder, softer)
    found = tunes_beside(build, folder, first, "out/settings.json")
    assert {item.where for item in found.differences} == {f"{item.name}, gain" for item in build.channels}
    for sums in found.sums.values():
        np.testing.assert_allclose(sums.before_db, sums.after_db, atol=1e-9)
    second = changed(folder, silent)
    assert set(tunes(folder)) >= {"out/settings.json", second}
    found = tunes_beside(build, folder, second, "out/settings.json")
    assert [item.where for item in found.differences] == ["left tweeter, gain"]
    left, right = found.sums["left side"], found.sums["right side"]
    high = found.band_centres_hz > 8000.0
    apart = (left.after_db - left.before_db)[high].mean() - (right.after_db - right.before_db)[high].mean()
    assert apart < -15.0


def test_what_holds_no_settings_is_passed_over_and_refused(folder: Path) -> None:
    build = read(source(folder)[1], folder / "build.toml")
    (folder / "out" / "tunes").mkdir(exist_ok=True)
    (folder / "out" / "tunes" / "broken.json").write_text("{", encoding="utf-8")
    assert "out/tunes/broken.json" not in tunes(folder)
    with pytest.raises(PersonError, match="holds no settings"):
        tunes_beside(build, folder, "out/tunes/broken.json", "out/settings.json")
    with pytest.raises(PersonError, match="holds no settings"):
        tunes_beside(build, folder, "../elsewhere.json", "out/settings.json")


def test_of_the_tunes_put_aside_the_newest_stay(folder: Path, tmp_path: Path) -> None:
    data = json.loads((folder / "out" / "settings.json").read_text(encoding="utf-8"))
    (tmp_path / "tunes").mkdir()
    for number in range(MOST_TUNES + 5):
        old = tmp_path / "tunes" / f"{number}.json"
        old.write_text("{}", encoding="utf-8")
        os.utime(old, (number, number))
    (tmp_path / "settings.json").write_text(json.dumps(data), encoding="utf-8")
    keep_tune(tmp_path)
    left = {path.stem for path in (tmp_path / "tunes").iterdir()}
    assert len(left) == MOST_TUNES and {str(number) for number in range(6)}.isdisjoint(left)
    assert len(left - {str(number) for number in range(MOST_TUNES + 5)}) == 1  # the one put aside now
