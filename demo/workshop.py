"""The demo's lit cargo cover, invented: a dark face with a graded hole field and two lit sweeps over the bay's subwoofer."""

from __future__ import annotations

__all__ = ["WORKSHOP"]

WORKSHOP = """\
[workshop]
border_m = "8 mm"
[[sheets]]
name = "black acrylic 3 mm"
material = "acrylic"
thickness_m = "2.9 mm"
length_m = 1.2
width_m = 0.8
kerf_m = "0.2 mm"
[[sheets]]
name = "clear acrylic 5 mm"
material = "acrylic"
thickness_m = "4.8 mm"
length_m = 1.2
width_m = 0.8
kerf_m = "0.25 mm"
[[sheets]]
name = "birch plywood 9 mm"
material = "birch plywood"
thickness_m = "9.1 mm"
length_m = 1.25
width_m = 1.25
grained = true
cutter = "router"
cutter_diameter_m = "6 mm"
[[sheets]]
name = "black steel mesh"
material = "steel"
thickness_m = "1 mm"
length_m = 1.0
width_m = 0.6
cutter = "knife"
[[panels]]
name = "cargo cover"
fillet_m = 0.05
grain = "along x"
outline = [
  [0.00, 0.02],
  {at_m = [0.92, 0.02], sagitta_m = 0.02},
  {at_m = [0.88, 0.56], sagitta_m = 0.006},
  {at_m = [0.04, 0.56], sagitta_m = 0.03},
]
[[panels.layers]]
name = "dark face"
sheet = "black acrylic 3 mm"
look = "dark face"
cut_outs = false
[[panels.layers]]
name = "light rim"
sheet = "clear acrylic 5 mm"
look = "clear"
offset_m = 0.0015
frame_m = 0.0155
cut_outs = false
slots = false
holes = false
drills = false
[[panels.layers]]
name = "light guide"
sheet = "clear acrylic 5 mm"
look = "clear"
offset_m = -0.017
cut_outs = false
slots = false
opening_offset_m = 0.00025
[[panels.layers]]
name = "carrier"
sheet = "birch plywood 9 mm"
offset_m = -0.017
opening_offset_m = 0.003
holes = false
[[panels.layers]]
name = "mesh"
sheet = "black steel mesh"
look = "mesh"
offset_m = -0.045
cut_outs = false
slots = false
holes = false
drills = false
[[panels.cut_outs]]
name = "air of the subwoofer"
at_m = [0.60, 0.235]
diameter_m = 0.30
[[panels.slots]]
name = "upper sweep"
width_m = "5 mm"
fillet_m = 0.15
curve = [[0.070, 0.105], {at_m = [0.2571, 0.4164], via_m = [0.1099, 0.2929]}, {at_m = [0.7957, 0.5211], via_m = [0.5218, 0.4923]}]
[[panels.slots]]
name = "lower sweep"
width_m = "2.5 mm"
fillet_m = 0.15
curve = [[0.104, 0.105], {at_m = [0.2702, 0.3815], via_m = [0.1395, 0.2719]}, {at_m = [0.6344, 0.4723], via_m = [0.4495, 0.4381]}]
[[panels.perforations]]
name = "field"
rows = "concentric"
focus_m = [0.60, 0.235]
diameter_m = "7 mm"
diameter_far_m = "1.6 mm"
pitch_m = "9.4 mm"
reach_m = 0.36
least_web_m = "1.8 mm"
margin_m = "9 mm"
fillet_m = 0.04
within = [
  {at_m = [0.165, 0.065]},
  {at_m = [0.86, 0.065], sagitta_m = 0.012},
  {at_m = [0.825, 0.465], sagitta_m = 0.003},
  {at_m = [0.39, 0.395], sagitta_m = 0.008},
]
[[panels.drills]]
diameter_m = "4.2 mm"
at_m = [[0.06, 0.062], [0.86, 0.062], [0.08, 0.53], [0.845, 0.53]]
[[panels.behind]]
speaker = "subwoofer"
at_m = [0.60, 0.235]
diameter_m = 0.26
[[lights]]
name = "rim"
panel = "cargo cover"
distance_m = "14 mm"
pitch_m = "8.3 mm"
strip_m = ["8 mm", "2 mm"]
watts_per_metre = 9.6
target_xy = [0.27, 0.30]
primaries = [
  {name = "red", xy = [0.690, 0.305], lumens_per_metre = 120},
  {name = "green", xy = [0.170, 0.700], lumens_per_metre = 310},
  {name = "blue", xy = [0.135, 0.075], lumens_per_metre = 75},
]
[[lights]]
name = "upper sweep"
panel = "cargo cover"
along = "upper sweep"
distance_m = "14 mm"
medium = "air"
pitch_m = "8.3 mm"
strip_m = ["8 mm", "2 mm"]
watts_per_metre = 9.6
target_xy = [0.27, 0.30]
primaries = [
  {name = "red", xy = [0.690, 0.305], lumens_per_metre = 120},
  {name = "green", xy = [0.170, 0.700], lumens_per_metre = 310},
  {name = "blue", xy = [0.135, 0.075], lumens_per_metre = 75},
]
[[lights]]
name = "lower sweep"
panel = "cargo cover"
along = "lower sweep"
distance_m = "14 mm"
medium = "air"
pitch_m = "8.3 mm"
strip_m = ["8 mm", "2 mm"]
watts_per_metre = 9.6
target_xy = [0.27, 0.30]
primaries = [
  {name = "red", xy = [0.690, 0.305], lumens_per_metre = 120},
  {name = "green", xy = [0.170, 0.700], lumens_per_metre = 310},
  {name = "blue", xy = [0.135, 0.075], lumens_per_metre = 75},
]
"""
