"""The demo's enclosure, invented: a subwoofer in a box of rings for a round bay, and its impedance as "measured" on the bench."""

from __future__ import annotations

import numpy as np

__all__ = ["ENCLOSURE", "sweep_files"]

MODEL = "invented 10 inch"
PARTS = {"mms": 0.182, "cms": 0.000175, "rms": 4.6, "bl": 15.2, "re": 3.3, "le": 0.0013, "sd": 0.0345}
MASS_KG = 0.06
NOISE = 0.008  #: of each reading
SEED = 10

SHAPE = """\
[boxes.shape]
outline = [
  {at_m = [-0.18, -0.24], via_m = [-0.28, 0.1077]},
  [0.18, -0.24],
  {at_m = [0.0, 0.30], via_m = [0.28, 0.1077]},
]
fillet_m = "40 mm"
offset_m = "7 mm"
height_m = "235 mm"
sheet = "MDF 18 mm"
double_baffle = true
speakers_at_m = [[0.0, 0.02]]
cover_gap_m = "32 mm"
cable_holes = [{at_m = [0.08, -0.19], diameter_m = "16 mm"}]
braces = [
  {from_m = [-0.165, -0.18], to_m = [-0.165, 0.20]},
  {from_m = [0.165, -0.18], to_m = [0.165, 0.20]},
]
amplifiers = [{name = "bass amplifier", at_m = [0.47, -0.05], size_m = [0.20, 0.26, 0.055]}]
[boxes.shape.opening]
size_m = [0.74, 0.62]
fillet_m = "60 mm"
at_m = [-0.37, -0.31]
[[sheets]]
name = "MDF 18 mm"
material = "MDF"
thickness_m = "18.2 mm"
length_m = 2.44
width_m = 1.22
cutter = "router"
cutter_diameter_m = "6 mm"
"""

ENCLOSURE = f"""
# THE ENCLOSURE, invented: no maker sells this drive unit, and its impedance was computed, with noise on it.
[[speaker_models]]
name = "{MODEL}"
fs_hz = 28.2
qes = 0.46
qms = 7.0
vas_m3 = "29.5 L"
re_ohm = 3.3
le_h = "1.3 mH"
sd_m2 = "345 cm²"
xmax_m = "14 mm"
xmech_m = "21 mm"
pe_w = 500
coils = 2
cut_out_m = "233 mm"
mounting_circle_m = "249 mm"
screws = 8
outer_diameter_m = "264 mm"
depth_m = "128 mm"
displacement_m3 = "2.1 L"
mass_kg = 7.4
[[impedance_curves]]
model = "{MODEL}"
file = "impedance/free-air.csv"
[[impedance_curves]]
model = "{MODEL}"
file = "impedance/with-60-g.csv"
method = "added mass"
added_mass_kg = "60 g"
[[boxes]]
name = "spare-wheel bay"
speakers = ["subwoofer"]
model = "{MODEL}"
kind = "sealed"
power_w = 200
wire_resistance_ohm = "12 mΩ"
{SHAPE}"""


def sweep_files() -> dict[str, str]:
    """The two sweeps: path in the build, and text. From mass, spring and force factor, 24 points to the octave."""
    rng = np.random.default_rng(SEED)
    frequency = np.geomspace(8.0, 1000.0, 168)
    omega = 2j * np.pi * frequency
    files = {}
    for path, mass in (("impedance/free-air.csv", 0.0), ("impedance/with-60-g.csv", MASS_KG)):
        motion = PARTS["rms"] + omega * (PARTS["mms"] + mass) + 1.0 / (omega * PARTS["cms"])
        size = np.abs(PARTS["re"] + omega * PARTS["le"] + PARTS["bl"] ** 2 / motion)
        read = size * (1.0 + NOISE * rng.standard_normal(size.size))
        rows = [f"{f:.3f};{z:.3f}" for f, z in zip(frequency, read, strict=True)]
        files[path] = "\n".join(["invented, no measurement: frequency in Hz; magnitude in ohm", *rows]) + "\n"
    return files
