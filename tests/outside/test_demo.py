"""The demo as a stranger meets it: marked as invented, small, one bad recording caught, the wrong entry found.

Its recordings come from an independent room simulator by ``demo/make_demo.py``; both mistakes were made on purpose.
"""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import load
from cabinwright.errors import RefusedError
from cabinwright.session import Session
from cabinwright.stages import survey
from cabinwright.stages.layout.keep_outs import keep_out_findings
from cars.room import _room

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


def test_the_cabin_is_the_room_that_the_recordings_were_made_in() -> None:
    """Walls and absorption as pyroomacoustics itself holds them, not as our script wrote them."""
    build = load(DEMO)
    assert build.cabin is not None
    materials = {item.name: dict(item.absorption) for item in build.cabin.materials}
    surfaces = {item.name: item for item in build.cabin.surfaces}
    every = np.vstack([np.array(item.corners_m) for item in surfaces.values()])
    corner, size = every.min(axis=0), np.ptp(every, axis=0)
    room = _room(1, size, np.random.default_rng(20_260 + 5))
    named = {
        "west": "front wall", "east": "rear wall", "south": "left wall", "north": "right wall", "floor": "floor",
        "ceiling": "roof",
    }  # fmt: skip
    bands = np.array(room.octave_bands.centers)  # type: ignore[attr-defined]
    for wall in room.walls:  # type: ignore[attr-defined]
        surface = surfaces[named[wall.name]]
        middle = np.mean(surface.corners_m, axis=0) - corner
        assert middle == pytest.approx(wall.corners.mean(axis=1), abs=1e-6)
        ours = materials[surface.material]
        for band, value in ours.items():
            theirs = float(wall.absorption[np.argmin(np.abs(bands - band))])
            assert value == pytest.approx(theirs, abs=2e-4)
            assert value != pytest.approx(theirs + 0.001, abs=2e-4)


def test_enough_places_are_compared_and_one_is_refused(estate: Path) -> None:
    build = load(DEMO)
    front = {(place.position_m, place.side) for place in build.places if place.role != "subwoofer"}
    assert len(front) >= 12 and sum(place.role == "subwoofer" for place in build.places) == 3
    heads = {seat.name for seat in build.seats}
    assert heads == {"driver", "passenger"}
    located = survey.locate(build)
    speakers = {item.name: item.position_m for item in build.speakers}
    places = {item.name: item.position_m for item in located.places}
    assert {name: places[name] for name in speakers} == speakers  # where the recordings were made
    stops = [item for item in keep_out_findings(located) if item.severity == "stop"]
    assert [item.details["place"] for item in stops] == ["right roof rail"]
    with pytest.raises(RefusedError, match="curtain airbag"):
        Session.open(estate).accept(["right roof rail"])


def test_the_misread_tape_is_found_and_does_no_harm() -> None:
    result = survey.run(load(DEMO))
    assert result is not None
    (tape,) = result.suspect_tapes
    assert {tape.from_, tape.to} == {"left pillar pod", "right belt anchor"}
    assert tape.excess_m == pytest.approx(0.1, abs=0.01)
    assert result.points["left pillar pod"].at_m == pytest.approx((0.52, -0.62, 1.07), abs=0.01)
