"""The starter: it loads as it is, and never writes over a build."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cabinwright.build import starter
from cabinwright.build.codec import load, parse
from cabinwright.build.document import Recording
from cabinwright.build.starter import create, starter_text
from cabinwright.errors import BuildError, OutputError


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_starter_loads_and_the_driver_sits_on_the_driving_side(side: str) -> None:
    build = parse(starter_text(title='A "quoted" \\ tîtle', driving_side=side))  # type: ignore[arg-type]
    assert build.title == 'A "quoted" \\ tîtle'
    assert build.vehicle.driving_side == side
    sign = -1 if side == "left" else 1
    assert all(sign * point.at_m[1] > 0 for point in build.microphone_positions)
    assert sign * build.seats[0].head_m[1] > 0
    for speaker in build.speakers:  # the axes it teaches are the axes it uses
        y = speaker.position_m[1] if speaker.position_m else 0.0
        assert {"left": y < 0, "right": y > 0, "centre": y == 0}[speaker.side]


def test_what_is_commented_out_works_when_it_is_put_in() -> None:
    text = starter_text()
    opened = re.sub(r"(?m)^# ((?:\[\[?[a-z_.]+\]\]?|[a-z_]+ = ).*)$", r"\1", text)
    assert opened != text
    build = parse(opened)
    assert build.recordings == (
        Recording(channel="left tweeter", position="p1", kind="sweep", file="recordings/left-tweeter_p1.wav"),
    )
    assert build.tuning is not None and build.tuning.crossovers and build.tuning.house_curve
    assert build.tuning.marker_channel == "right tweeter"
    assert build.tuning.microphone_calibration == "microphone.txt"


def test_the_text_teaches() -> None:
    text = starter_text()
    for word in (
        "x towards the rear",
        "y is negative on the left",
        "z up",
        "invented",
        "14 3/8 in",
        "cabinwright sweep",
    ):
        assert word in text
    assert "@" not in text and max(map(len, text.splitlines())) <= 120


@pytest.mark.parametrize("title", ["", " x", "two\nlines", "x" * 500])
def test_a_title_that_is_none_is_refused(title: str) -> None:
    with pytest.raises(BuildError, match="title"):
        starter_text(title=title)


def test_create_writes_a_build_and_a_folder_for_recordings(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "one"
    made = create(folder, title="Mine", driving_side="right")
    assert made == [folder / "build.toml", folder / "recordings"]
    assert all(path.exists() for path in made)
    assert load(folder).title == "Mine"
    assert sorted(path.name for path in folder.iterdir()) == ["build.toml", "recordings"]


def test_create_leaves_a_build_alone(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="left as it is"):
        create(tmp_path)
    assert (tmp_path / "build.toml").read_text(encoding="utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["build.toml"]


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        create(tmp_path / "file" / "sub")


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(starter.Path, "replace", full)
    with pytest.raises(OutputError, match="disk is full"):
        create(tmp_path)
    assert list(tmp_path.iterdir()) == []
