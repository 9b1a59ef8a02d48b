"""The demo's floor, fixings, masses and the way to each part, invented."""

from __future__ import annotations

__all__ = ["SERVICE"]

SERVICE = """\
[[sheets]]
name = "birch plywood 15 mm"
material = "birch plywood"
thickness_m = "14.8 mm"
length_m = 1.25
width_m = 1.25
grained = true
cutter = "router"
cutter_diameter_m = "6 mm"
[[panels]]
name = "rear floor"
sheet = "birch plywood 15 mm"
grain = "along x"
fillet_m = "25 mm"
outline = [[0, 0], {at_m = [0.96, 0], sagitta_m = "15 mm"}, [0.93, 0.46], [0.03, 0.46]]
[[panels.cut_outs]]
name = "grip"
at_m = [0.48, 0.40]
size_m = ["110 mm", "32 mm"]
fillet_m = "16 mm"
[[floors]]
name = "rear floor"
panel = "rear floor"
how = "hinged"
hinge = "bottom"
above_m = "52 cm"
below_m = "30 mm"
grip_m = ["110 mm", "32 mm"]
grip_depth_m = "45 mm"
supports = [{from_m = [0.48, 0.02], to_m = [0.48, 0.30]}]
loads = [
  {name = "suitcases", mass_kg = 60},
  {name = "a knee", mass_kg = 60, at_m = [0.24, 0.23], size_m = ["12 cm", "12 cm"]},
]
[[masses]]
name = "front amplifier"
mass_kg = 3.1
at_m = [2.35, -0.45, 0.30]
[[masses]]
name = "bass amplifier"
mass_kg = 4.4
at_m = [2.35, 0.45, 0.30]
[[masses]]
name = "processor"
mass_kg = 0.9
at_m = [2.35, 0.05, 0.30]
[[masses]]
name = "spare wheel"
mass_kg = 15.5
at_m = [3.10, 0.0, 0.16]
removed = true
[[masses]]
name = "rear floor"
at_m = [3.10, 0.0, 0.46]
[[masses]]
name = "cargo cover"
at_m = [2.75, 0.0, 0.46]
[payload]
limit_kg = 510
people_kg = 300
luggage_kg = 80
front_axle_x_m = 0.12
wheelbase_m = 2.70
rear_spare_kg = 260
[[fixings]]
name = "bay box to the floor"
holds = ["spare-wheel bay"]
body_m = ["56 cm", "56 cm", "17 cm"]
sheet_m = "0.8 mm"
washer_m = "60 mm"
[[fixings]]
name = "bass amplifier to its board"
holds = ["bass amplifier"]
body_m = ["22 cm", "32 cm", "6 cm"]
size = "M5"
count = 4
[[service_steps]]
name = "luggage"
minutes = 2
tools = ["hands"]
[[service_steps]]
name = "rear floor up"
of = ["rear floor"]
after = ["luggage"]
how = "by its grip; it stays up on its own stay"
minutes = 0.5
tools = ["hands"]
[[service_steps]]
name = "cargo cover"
after = ["luggage"]
how = "four screws; the lights' plug is on the left under its rear edge"
minutes = 4
tools = ["hex key 3 mm"]
[[service_steps]]
name = "fuse card lid"
after = ["rear floor up"]
how = "quarter turn"
minutes = 0.5
tools = ["hands"]
[[service_steps]]
name = "amplifier fuses"
kind = "fuse"
of = ["front amplifier", "bass amplifier", "processor", "boot lamps", "radio line", "bus adapter"]
after = ["rear floor up"]
how = "under the fuse card; the main fuse comes out first"
minutes = 1
tools = ["fuse puller"]
[[service_steps]]
name = "starter battery"
kind = "battery"
of = ["battery"]
how = "under the bonnet; negative first"
minutes = 3
tools = ["insulated spanner 10 mm"]
[[service_steps]]
name = "main fuse"
kind = "fuse"
of = ["main"]
after = ["starter battery"]
how = "beside the battery"
minutes = 3
tools = ["insulated spanner 10 mm"]
[[service_steps]]
name = "bay subwoofer"
of = ["subwoofer"]
after = ["cargo cover"]
how = "eight screws, lifted by a strap"
minutes = 8
tools = ["hex key 5 mm"]
[[service_steps]]
name = "bay box"
of = ["spare-wheel bay"]
after = ["bay subwoofer", "rear floor up"]
how = "four bolts through the wheel well, nuts from below"
minutes = 20
tools = ["spanner 13 mm", "a helper"]
[[service_steps]]
name = "rear seat cushion"
how = "pull up at its front edge"
minutes = 3
tools = ["hands"]
[[service_steps]]
name = "amplifier shroud"
after = ["rear seat cushion", "cargo cover"]
how = "six clips"
minutes = 4
tools = ["plastic wedge"]
[[service_steps]]
name = "gain controls"
kind = "control"
of = ["front amplifier", "bass amplifier"]
after = ["amplifier shroud"]
how = "under the flap on each amplifier's face"
minutes = 1
tools = ["small screwdriver"]
[[service_steps]]
name = "amplifiers"
of = ["front amplifier", "bass amplifier"]
after = ["gain controls", "main fuse"]
how = "four bolts each; mark the plugs first"
minutes = 15
tools = ["hex key 4 mm"]
"""
