"""What holds the demo's front loudspeakers, invented: a ring on the left door, a pod in the left sail panel, their jigs."""

from __future__ import annotations

__all__ = ["MOUNTS"]

MOUNTS = """\
[[speaker_models]]
name = "invented 6.5 inch"
fs_hz = 61
qes = 0.58
qms = 4.4
vas_m3 = "9.2 L"
re_ohm = 3.4
sd_m2 = "133 cm²"
xmax_m = "4.5 mm"
pe_w = 70
cut_out_m = "143 mm"
mounting_circle_m = "156 mm"
screws = 4
outer_diameter_m = "166 mm"
depth_m = "66 mm"
mass_kg = 1.6
[[speaker_models]]
name = "invented 25 mm dome"
cut_out_m = "45 mm"
mounting_circle_m = "52 mm"
screws = 3
outer_diameter_m = "58 mm"
depth_m = "21 mm"
mass_kg = 0.09
[[sheets]]
name = "poplar plywood 4 mm"
material = "poplar plywood"
thickness_m = "3.9 mm"
length_m = 0.6
width_m = 0.4
kerf_m = "0.15 mm"
[[rings]]
name = "left midbass ring"
place = "left midbass"
model = "invented 6.5 inch"
surface = "left wall"
sheet = "birch plywood 9 mm"
trim = {sheet = "black acrylic 3 mm", sight_diameter_m = "150 mm"}
[[pods]]
name = "left tweeter pod"
place = "left tweeter"
model = "invented 25 mm dome"
surface_points_m = [[0.560, -0.657, 0.900], [0.700, -0.687, 0.900], [0.620, -0.684, 1.080]]
sheet = "poplar plywood 4 mm"
flare_m = "12 mm"
trim = {sheet = "black acrylic 3 mm", sight_diameter_m = "48 mm", rebate_m = "4 mm"}
[[jigs]]
name = "angle of the left door"
kind = "angle"
of = "left midbass ring"
sheet = "poplar plywood 4 mm"
[[jigs]]
name = "drill for midbass"
kind = "drill"
of = "left midbass ring"
sheet = "poplar plywood 4 mm"
[[jigs]]
name = "hole in the left door"
kind = "surface"
of = "left midbass ring"
sheet = "poplar plywood 4 mm"
"""
