"""The demo's signal chain, invented: a radio with two ways a side, a wireless phone, a portable player with its converter."""

from __future__ import annotations

from enclosure import MODEL

__all__ = ["CHAIN", "with_electrics"]

PROCESSOR = "output_v = 4.0\noutput_ohm = 100\noutput_noise_v = 20e-6\n"

SPEAKERS = {
    "midbass": "impedance_ohm = 4\npe_w = 70\nsensitivity_db = 88",
    "tweeter": "impedance_ohm = 4\npe_w = 30\nsensitivity_db = 91",
    "subwoofer": f'model = "{MODEL}"',
}  #: by role

SOURCES = """\
[[factory_outputs]]
name = "front left low"
[[factory_outputs]]
name = "front left high"
[[factory_outputs]]
name = "front right low"
[[factory_outputs]]
name = "front right high"

[[sources]]
name = "radio"
kind = "factory radio"
carries = ["music", "warnings", "navigation", "parking", "calls"]
connector = "radio plug, loudspeaker outputs"
balanced = true
volume_controlled = true
output_v = 6.0
output_ohm = 0.1
noise_v = 80e-6
loudness_lufs = -15

[[sources]]
name = "phone"
kind = "wireless"
sample_rate_hz = 44100
bits = 16
lossy = true
volume_controlled = true
loudness_lufs = -11

[[sources]]
name = "player"
kind = "wired digital"
connector = "USB"
sample_rate_hz = 96000
bits = 24
loudness_lufs = -18

[[converters]]
name = "phone receiver"
from = "phone"
connector = "optical"
sample_rate_hz = 48000
bits = 24

[[converters]]
name = "player converter"
from = "player"
connector = "two cinch sockets"
sample_rate_hz = 96000
bits = 24
output_v = 2.0
output_ohm = 150
noise_v = 5e-6
"""

INPUTS = "".join(
    f"""\
[[inputs]]
name = "{name}"
from = ["{feed}"]
side = "{side}"
connector = "{connector}"
balanced = {balanced}
input_v = {high}
input_min_v = {low}
input_ohm = 10000
noise_v = {noise}
"""
    for name, feed, side, connector, balanced, high, low, noise in (
        ("high level 1", "front left low", "left", "16-pin plug, 1 and 2", "true", 12.0, 2.0, "60e-6"),
        ("high level 2", "front left high", "left", "16-pin plug, 3 and 4", "true", 12.0, 2.0, "60e-6"),
        ("high level 3", "front right low", "right", "16-pin plug, 5 and 6", "true", 12.0, 2.0, "60e-6"),
        ("high level 4", "front right high", "right", "16-pin plug, 7 and 8", "true", 12.0, 2.0, "60e-6"),
        ("line left", "player converter", "left", "cinch", "false", 4.0, 0.5, "10e-6"),
        ("line right", "player converter", "right", "cinch", "false", 4.0, 0.5, "10e-6"),
    )
) + """\
[[inputs]]
name = "optical"
from = ["phone receiver"]
connector = "optical"
sample_rate_hz = 48000
bits = 24
"""  # fmt: skip

AMPLIFIERS = """\
[[amplifiers]]
name = "front amplifier"
connector = "cinch"
channel_count = 6
minimum_ohm = 2
input_min_v = 0.3
input_max_v = 5.0
noise_v = 15e-6
ratings = [{load_ohm = 4, power_w = 85}, {load_ohm = 2, power_w = 130}]
channels = [
  {name = "1", from = "left midbass", speakers = ["left midbass"]},
  {name = "2", from = "right midbass", speakers = ["right midbass"]},
  {name = "3", from = "left tweeter", speakers = ["left tweeter"]},
  {name = "4", from = "right tweeter", speakers = ["right tweeter"]},
]

[[amplifiers]]
name = "bass amplifier"
connector = "cinch"
channel_count = 1
minimum_ohm = 2
input_min_v = 0.3
input_max_v = 8.0
noise_v = 15e-6
ratings = [{load_ohm = 8, power_w = 220}, {load_ohm = 4, power_w = 400}]
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
also = {source = "radio", level_db = -3}
"""

TURN_ON = """\
[[turn_on]]
device = "radio"
wakes_s = 1.5
thump = false

[[turn_on]]
device = "phone"
thump = false

[[turn_on]]
device = "phone receiver"
by = "radio"
wakes_s = 1.0
thump = false

[[turn_on]]
device = "player"
thump = false

[[turn_on]]
device = "player converter"
by = "radio"
wakes_s = 0.5
thump = false

[[turn_on]]
device = "processor"
by = "radio"
wakes_s = 3.0
sleeps_s = 2.0
jumps_off_s = 1.5

[[turn_on]]
device = "front amplifier"
by = "processor"
wakes_s = 2.0
sleeps_s = 0.2
thump = false

[[turn_on]]
device = "bass amplifier"
by = "processor"
wakes_s = 2.0
sleeps_s = 0.2
thump = false
"""

BYPASS = """\
[[states]]
name = "service"
values = ["off", "on"]

[[fuses]]
name = "bus adapter"
from = "block"
to = "bus adapter fuse out"
rating_a = 1
breaking_a = 2500

[[wires]]
name = "bus adapter feed"
from = "bus adapter fuse out"
to = "bus adapter contact"
length_m = 0.4
gauge = "18 AWG"
colour = "grey"
from_terminal = "ferrule"
to_terminal = "blade 6.3"
allowance_m = 0.1

[[switches]]
name = "bus adapter"
from = "bus adapter contact"
to = "bus adapter plus"
closed_when = {service = "off"}

[[loads]]
name = "bus adapter"
from = "bus adapter plus"
to = "chassis"
current_a = 0.15
asleep_a = 0.001

[[switches]]
name = "service bypass"
from = "radio bus, car side"
to = "radio bus, socket"
closed_when = {service = "on"}

[[service_bypasses]]
name = "scan tool at the radio bus"
bus = "radio bus"
from = "radio bus, car side"
to = "radio bus, socket"
when = {service = "on"}
silent = ["bus adapter"]
steps = [
  "Switch the car off and wait two minutes, until its buses sleep.",
  "Turn the service switch in the boot to on: the bus adapter loses its feed, and the bus goes straight to the socket.",
  "Work with the scan tool. Music may be silent meanwhile.",
  "Switch the car off, turn the service switch back, and see that warnings are heard again.",
]
"""

CHAIN = "\n".join((SOURCES, INPUTS, AMPLIFIERS, PRESETS, TURN_ON, BYPASS))


def with_electrics(text: str) -> str:
    """The car's part of ``build.toml`` with what processor and loudspeakers are electrically."""
    text = text.replace("[processor]\n", f"[processor]\n{PROCESSOR}", 1)
    for role, lines in SPEAKERS.items():
        text = text.replace(f'\nrole = "{role}"\n', f'\nrole = "{role}"\n{lines}\n')
    return text
