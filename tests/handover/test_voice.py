"""Where a voice stands, drawn and said: read back from the picture and held against plane geometry worked out here."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from cabinwright.drawings.picture_svg import draw
from cabinwright.handover.voice import voice_picture, voice_rows
from cabinwright.stages.voice.result import Dashboard, SeatVoice, VoiceImage, VoiceResult
from handover import invented

HEAD_M = (1.3, 0.4, 1.0)
LINE = Dashboard(at_m=0.6, known_from="the build", middle_m=0.05)


def image(version: str, at_deg: float, spread_deg: float = 5.0) -> VoiceImage:
    """A voice in this direction; what each band does is not shown."""
    bands = np.zeros(1)
    at = 0.4 + 0.7 * math.tan(math.radians(at_deg))
    return VoiceImage(version, "f00", *[bands] * 5, at_deg, spread_deg, 1.0, at, 0.06)


def result(*images: VoiceImage) -> VoiceResult:
    """One seat that is tuned for straight ahead."""
    seat = SeatVoice("driver", HEAD_M, "round the head", ("p1",), 0.0, images)
    return VoiceResult(np.array([1000.0]), LINE, (seat,), ())


def test_dots_and_lines_of_sight_lie_where_trigonometry_has_them() -> None:
    """10° left of a head 0.7 m behind the dashboard: 0.7 tan 10° = 12.3 cm beside it."""
    picture = voice_picture(invented.build(), result(image("before", 20.0), image("proposed", -10.0)))
    svg, scale = draw(picture), picture.mm_per_m
    dots = [float(x) for x in re.findall(r'<circle cx="([\d.]+)" cy="[\d.]+" r="1.3"', svg)]
    want = [0.4 + 0.7 * math.tan(math.radians(angle)) for angle in (-10.0, 20.0)]
    assert sorted(dots) == pytest.approx([1.0 + (at - picture.low[0]) * scale for at in want], abs=0.01)
    head = (1.0 + (0.4 - picture.low[0]) * scale, 1.0 + (picture.high[1] + 1.3) * scale)
    sights = [
        tuple(float(part) for part in found)
        for found in re.findall(r'<path d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)" stroke-linejoin', svg)
    ]
    from_head = [row for row in sights if row[:2] == pytest.approx(head, abs=0.01)]
    assert sorted(math.degrees(math.atan2(x - head[0], head[1] - y)) for _, _, x, y in from_head) == pytest.approx(
        [-10.0, 20.0], abs=0.05
    )


def test_rows_say_the_same_in_words_and_in_either_unit() -> None:
    shown = result(image("before", 20.0), image("proposed", -10.0))
    build = invented.build()
    # 0.4 + 0.7 tan(20°) - 0.05 = 60.5 cm; 0.4 - 0.7 tan(10°) - 0.05 = 22.7 cm or 8.9 in
    assert voice_rows(build, shown) == [
        ("driver", "by tape alone", "20° right", "± 5°", "60 cm right", "+20°"),
        ("", "proposed", "10° left", "± 5°", "23 cm right", "−10°"),
    ]
    there = build.model_copy(update={"workshop": build.workshop.model_copy(update={"units": "US"})})
    assert voice_rows(there, shown)[1][4] == "9 in right"
    spoken = voice_picture(build, shown).says
    assert "driver, by tape alone: 20° right" in spoken and "driver, proposed: 10° left" in spoken


def test_a_voice_beside_the_car_or_not_heard_has_words_and_no_dot() -> None:
    gone = VoiceImage("proposed", "f00", *[np.zeros(1)] * 5, 80.0, 5.0, 1.0, math.nan, math.nan)
    silent = VoiceImage("before", "f00", *[np.zeros(1)] * 5, math.nan, math.nan, math.nan, math.nan, math.nan)
    shown = result(silent, gone)
    rows = voice_rows(invented.build(), shown)
    assert rows[0][2:] == ("–", "–", "–", "–") and rows[1][2:5] == ("80° right", "± 5°", "beside the car")
    assert 'r="1.3"' not in draw(voice_picture(invented.build(), shown))
