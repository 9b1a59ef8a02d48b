"""An invented build small enough to be designed many times: a cabin with places, a survey, a box and wires."""

from __future__ import annotations

from stages.cabin_build import cabin_text

__all__ = ["TEXT"]

MORE = """
[[speaker_models]]
name = "invented ten"
sd_m2 = 0.033
fs_hz = 28
qts = 0.42
qes = 0.46
vas_m3 = "60 L"
re_ohm = 3.4
xmax_m = 0.009
pe_w = 250

[[boxes]] # of the bay
name = "bay"
model = "invented ten"
kind = "sealed"
volume_m3 = "24 L"
power_w = 100

[[survey.points]]
name = "hinge"
at_m = [0.5, -0.7, 0.6]
[[survey.points]]
name = "lever"
at_m = [1.0, 0.0, 0.5]
[[survey.points]]
name = "anchor"
at_m = [1.7, -0.68, 0.98]
[[survey.points]]
name = "pod"
near_m = [0.5, -0.6, 1.1]
[[survey.tapes]]
from = "hinge"
to = "pod"
distance_m = 0.51
[[survey.tapes]]
from = "lever"
to = "pod"
distance_m = 0.985
[[survey.tapes]]
from = "anchor"
to = "pod"
distance_m = 1.209

[supply]
nominal_v = 12.6
[supply.battery]
capacity_ah = 70
resistance_ohm = 0.006
[supply.alternator]
rated_a = 120
idle_a = 60
[[fuses]]
name = "main"
from = "battery plus"
to = "fused"
rating_a = 80
[[wires]]
name = "feed"
from = "fused"
to = "amp plus"
length_m = 4.5
[[wires]]
name = "return"
from = "amp minus"
to = "chassis"
length_m = 0.5
[[loads]]
name = "amplifier"
from = "amp plus"
to = "amp minus"
power_w = 300
"""
TEXT = cabin_text(extra=MORE)
