"""Every command uses located points: a tune from named places is the tune from their coordinates."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cabinwright.build.fields import NamedPoint
from cabinwright.errors import RefusedError
from cabinwright.session import Session
from cars import make_car, write_recordings

FIRST = re.compile(r"(?m)^at_m = (\[[^\]]*\])$")


def test_a_tune_from_named_places(tmp_path: Path) -> None:
    write_recordings(make_car(3, layout="one channel", positions=3), tmp_path, timing="impulse", snr_db=50.0)
    plain, _, _ = Session.open(tmp_path).tune()
    file = tmp_path / "build.toml"
    text = file.read_text(encoding="utf-8")
    place = FIRST.search(text)
    assert place is not None
    named = text.replace(place[0], 'at_m = "where the first one stood"', 1)
    points = f'\n[[survey.points]]\nname = "where the first one stood"\nat_m = {place[1]}\n'
    corners = "".join(
        f'[[survey.points]]\nname = "{name}"\nat_m = {at}\n' for name, at in (("a", "[0, 0, 0]"), ("b", "[0, 1, 0]"))
    )
    file.write_text(named + points + corners, encoding="utf-8", newline="\n")
    session = Session.open(tmp_path)
    assert isinstance(session.build.microphone_positions[0].at_m, NamedPoint)
    assert not isinstance(session.located.microphone_positions[0].at_m, NamedPoint)
    assert session.tune()[0].settings == plain.settings
    file.write_text(named + points.replace(f"at_m = {place[1]}", ""), encoding="utf-8", newline="\n")
    with pytest.raises(RefusedError, match="no point is known"):
        Session.open(tmp_path).tune()
    results, _ = Session.open(tmp_path).plan()
    assert {"survey", "tuning"} <= set(results.stopped)
