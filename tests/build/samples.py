"""Builds for the tests: the format as it is promised, and a large one."""

from __future__ import annotations

PROMISED = """\
schema = 1
title = "An invented estate"
[vehicle]
name = "invented five-door estate"
driving_side = "right"            # or "left"
[[seats]]
name = "driver"
head_m = [1.28, 0.36, 0.98]
[processor]
sample_rate_hz = 48000
peaking_filters = 10              # per channel
delay_step_s = 2.0833333e-5
delay_max_s = 0.02
gain_step_db = 0.1
[[speakers]]
name = "left tweeter"
role = "tweeter"
side = "left"
position_m = [0.5, -0.6, 1]
aim = [0.6, 0.7, 0]
[[speakers]]
name = "right tweeter"
role = "tweeter"
side = "right"
[[channels]]
name = "left tweeter"
speakers = ["left tweeter"]
[[channels]]
name = "right tweeter"
speakers = ["right tweeter"]
[[microphone_positions]]
name = "p1"
at_m = [1.28, 0.36, 0.98]
seat = "driver"
[[recordings]]
channel = "left tweeter"
position = "p1"
kind = "sweep"                    # or "impulse"
file = "recordings/left-tweeter_p1.wav"
[[verification_recordings]]
channel = "left side"
position = "p1"
kind = "sweep"
file = "recordings/left-side_p1.wav"
[tuning]
seat = "driver"
timing = "loopback"
house_curve = [[20, 8.0], [100, 5], [20000, -6.0]]
"""

MINIMAL = """\
schema = 1
title = "t"
[vehicle]
name = "v"
driving_side = "left"
"""


def square(size: int) -> str:
    """A build of ``size`` channels recorded at ``size`` positions."""
    parts = [MINIMAL, '[[seats]]\nname = "driver"\nhead_m = [1, 0, 1]\n']
    for n in range(size):
        parts.append(f'[[speakers]]\nname = "s{n}"\nrole = "fullrange"\nside = "left"\nposition_m = [1, {n / 10}, 1]\n')
        parts.append(f'[[channels]]\nname = "c{n}"\nspeakers = ["s{n}"]\n')
        parts.append(f'[[microphone_positions]]\nname = "p{n}"\nat_m = ["{n} cm", 0, "1 ft"]\nseat = "driver"\n')
    for n in range(size * size):
        channel, position = n % size, n // size
        parts.append(
            f'[[recordings]]\nchannel = "c{channel}"\nposition = "p{position}"\nkind = "impulse"\nfile = "r/{n}.wav"\n'
        )
    return "".join(parts)
