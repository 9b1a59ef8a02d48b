"""Invented cars with a whole signal chain, for the tests of the signal stage."""

from __future__ import annotations

from cabinwright.build.codec import parse
from cabinwright.build.document import Build

HEAD = """\
schema = 1
title = "An invented car"
[vehicle]
name = "invented hatchback"
driving_side = "left"
[processor]
output_v = 4.0
gain_step_db = 0.5
"""

SPEAKERS = "".join(
    f'[[speakers]]\nname = "{name}"\nrole = "{role}"\nside = "{side}"\n'
    f'[[channels]]\nname = "{name}"\nspeakers = ["{name}"]\n'
    for name, role, side in (
        ("left midbass", "midbass", "left"),
        ("right midbass", "midbass", "right"),
        ("left tweeter", "tweeter", "left"),
        ("right tweeter", "tweeter", "right"),
        ("subwoofer", "subwoofer", "centre"),
    )
)

SOURCES = """\
[[factory_outputs]]
name = "front left"
[[factory_outputs]]
name = "front right"
[[sources]]
name = "radio"
kind = "factory radio"
carries = ["music", "warnings", "navigation", "parking"]
output_v = 4.0
volume_controlled = true
loudness_lufs = -16
[[sources]]
name = "phone"
kind = "wireless"
sample_rate_hz = 44100
bits = 16
lossy = true
loudness_lufs = -14
[[sources]]
name = "player"
kind = "analogue"
output_v = 2.0
loudness_lufs = -10
[[converters]]
name = "receiver"
from = "phone"
sample_rate_hz = 48000
bits = 24
"""

INPUTS = """\
[[inputs]]
name = "in 1"
from = ["front left"]
side = "left"
input_v = 8.0
input_min_v = 2.0
[[inputs]]
name = "in 2"
from = ["front right"]
side = "right"
input_v = 8.0
input_min_v = 2.0
[[inputs]]
name = "in 3"
from = ["player"]
side = "left"
input_v = 4.0
[[inputs]]
name = "in 4"
from = ["player"]
side = "right"
input_v = 4.0
[[inputs]]
name = "stream"
from = ["receiver"]
sample_rate_hz = 48000
bits = 24
"""

AMPLIFIERS = """\
[[amplifiers]]
name = "front amplifier"
ratings = [{load_ohm = 4, power_w = 80}]
channels = [
  {name = "1", from = "left midbass", speakers = ["left midbass"]},
  {name = "2", from = "right midbass", speakers = ["right midbass"]},
  {name = "3", from = "left tweeter", speakers = ["left tweeter"]},
  {name = "4", from = "right tweeter", speakers = ["right tweeter"]},
]
[[amplifiers]]
name = "bass amplifier"
ratings = [{load_ohm = 4, power_w = 400}]
minimum_ohm = 2
channels = [{name = "1", from = "subwoofer", speakers = ["subwoofer"]}]
"""

PRESETS = """\
[[presets]]
name = "Radio"
source = "radio"
[[presets]]
name = "Phone"
source = "phone"
also = {source = "radio"}
[[presets]]
name = "Player"
source = "player"
also = {source = "radio", level_db = -6}
"""

CHAIN = SPEAKERS + SOURCES + INPUTS + AMPLIFIERS + PRESETS


def chained(*, replace: tuple[tuple[str, str], ...] = (), extra: str = "") -> Build:
    """The invented chain with pieces of its text replaced, each of which must be there, and more behind it."""
    text = HEAD + CHAIN
    for old, new in replace:
        assert old in text, old
        text = text.replace(old, new, 1)
    return parse(text + extra)
