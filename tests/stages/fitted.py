"""A small build with a floor, a box, fixings and masses, for tests of the workshop."""

from __future__ import annotations

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'
FLOOR = """
[[sheets]]
name = "ply 12"
material = "birch plywood"
thickness_m = 0.012
length_m = 1.25
width_m = 1.25
[[panels]]
name = "lid"
sheet = "ply 12"
size_m = [0.9, 0.5]
fillet_m = 0
[[floors]]
name = "cargo floor"
panel = "lid"
grip_m = ["90 mm", "30 mm"]
grip_depth_m = "40 mm"
loads = [{name = "suitcases", mass_kg = 50}, {name = "knee", mass_kg = 40, size_m = [0.12, 0.12]}]
"""
FIXED = """
[[fixings]]
name = "box to floor"
mass_kg = 20
body_m = [0.5, 0.4, 0.3]
pattern_m = [0.4, 0.3]
size = "M8"
count = 4
washer_m = 0.04
sheet_m = 0.001
"""
