"""Recordings that were put into the folder by hand. File names are those that people give; common practice, no source."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.desk import Desk
from cabinwright.desk.dropped import Inbox, whose

DEMO = Path(__file__).parents[2] / "demo" / "build"
CHANNELS = ("left tweeter", "right tweeter", "left midbass", "midbass", "subwoofer")
POSITIONS = tuple(f"p{number}" for number in range(1, 13))


@pytest.mark.parametrize(
    ("file", "channel", "position"),
    [
        ("recordings/left-tweeter_p1.flac", "left tweeter", "p1"),
        ("Left Tweeter P12.wav", "left tweeter", "p12"),
        ("LEFTMIDBASS p 2.wav", "left midbass", "p2"),
        ("rear_midbass-p3.wav", "midbass", "p3"),
        ("p4 subwoofer take 2.wav", "subwoofer", "p4"),
        ("subwoofers_p4.wav", "", "p4"),
        ("left tweeter right tweeter.wav", "right tweeter", ""),
        ("left_p1_p2.wav", "", ""),
        ("2026-01-01.wav", "", ""),
    ],
)
def test_a_name_tells_whose_a_recording_is(file: str, channel: str, position: str) -> None:
    assert whose(file, CHANNELS) == channel
    assert whose(file, POSITIONS) == position


def test_two_names_of_one_length_tell_nothing() -> None:
    assert whose("p1_p2.wav", POSITIONS) == ""
    assert whose("p1_p12.wav", POSITIONS) == "p12"


@given(st.text(max_size=40), st.lists(st.text(min_size=1, max_size=10), max_size=4))
def test_any_name_gets_an_answer_that_was_offered(file: str, names: list[str]) -> None:
    assert whose(f"{file}.wav", names) in ("", *names)


def test_a_good_take_is_listed_and_a_clipped_one_is_not(tmp_path: Path) -> None:
    """The demo's right midbass at p5 was made with clipping (demo/make_demo.py); its right tweeter at p1 was not."""
    folder = tmp_path / "build"
    shutil.copytree(DEMO, folder)
    desk = Desk.open(folder)
    for number, row in reversed(list(enumerate(desk.build.recordings))):
        take = (row.channel, row.position)
        if take not in (("right tweeter", "p5"), ("right midbass", "p1")):
            desk.remove(f"recordings[{number}]")
    inbox = Inbox(desk)
    assert "recordings/right-tweeter_p1.flac" in inbox.strays()
    good = inbox.take("recordings/right-tweeter_p1.flac")
    assert good.joined and good.good
    assert inbox.listed("right tweeter", "p1") == "recordings/right-tweeter_p1.flac"
    assert "recordings/right-tweeter_p1.flac" not in inbox.strays()
    bad = inbox.take("recordings/right-midbass_p5.flac")
    assert not bad.joined and bad.heard is not None and "clipped" in bad.heard.verdict.reason
    assert inbox.listed("right midbass", "p5") == ""
    other = inbox.take("recordings/left-tweeter_p1.flac", "right tweeter", "p1")
    assert not other.joined and "listed for this take already" in other.note
    desk.undo()
    assert inbox.listed("right tweeter", "p1") == ""
